//! From checked tables to the package as resolved.

use joulestep_engine::thermal::field::property::Law;
use joulestep_models::materials::Material;
use joulestep_models::package::{
    Cooled, Cooling, Face, Heated, Layer, Package, PackageError, Subject, ViaField,
};

use super::sections as typed;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::fields::Fields;
use crate::input::keys::shape::Key;

/// The package, placed and checked; what is wrong is reported at its span.
pub(super) fn package(root: &Fields, diagnostics: &mut Vec<Diagnostic>) -> Option<Package> {
    let before = diagnostics.len();
    let tables = typed::Package::read(root)?;
    let mut package = Package {
        title: tables.title.map_or(String::new(), |title| title.name),
        temperature: tables.temperature,
        layers: tables.layer.iter().filter_map(|f| layer(f, diagnostics)).collect(),
        cooling: tables.cooling.iter().filter_map(cooling).collect(),
        materials: tables.material.iter().filter_map(material).collect(),
    };
    // Which table became which via field of which layer.
    let mut fields: Vec<(usize, usize, &Fields)> = Vec::new();
    for f in &tables.via_field {
        let Some(stated) = typed::ViaField::read(f) else { continue };
        let named = stated.layer.clone();
        let Some(at) = package.layer(&named.name) else {
            let names: Vec<&str> = package.layers.iter().map(|l| l.name.as_str()).collect();
            let found = format!("no layer is named `{}`", named.name);
            let d = Diagnostic::new(&named.span, f.key(typed::ViaField::layer), found, names.join(", "));
            diagnostics.push(d.suggest(nearest(&named.name, names)));
            continue;
        };
        package.layers[at].vias.push(via_field(f, stated, diagnostics));
        fields.push((at, package.layers[at].vias.len() - 1, f));
    }
    if package.temperature <= -273.15 {
        let found = format!("{} °C is not above absolute zero", package.temperature);
        diagnostics.push(root.wrong(typed::Package::temperature, found, "above -273.15 degC"));
    }
    if diagnostics.len() > before {
        return None;
    }
    let Err(wrong) = package.place() else { return Some(package) };
    for PackageError { subject, key, found, expected, suggestion } in wrong {
        let of = match subject {
            Subject::Whole => Some(root),
            Subject::Layer(k) => tables.layer.get(k),
            Subject::Via(k, j) => fields.iter().find(|f| (f.0, f.1) == (k, j)).map(|f| f.2),
            Subject::Cooling(k) => tables.cooling.get(k),
        };
        let of = of.unwrap_or(root);
        let d = of.wrong(key, found, expected);
        diagnostics.push(d.suggest(suggestion));
    }
    None
}

/// Two lengths; `key` is theirs.
fn offset(f: &Fields, key: Key, stated: &[f64], diagnostics: &mut Vec<Diagnostic>) -> [f64; 2] {
    match stated {
        [x, y] => [*x, *y],
        [] if !f.has(key) => [0.0, 0.0],
        other => {
            diagnostics.push(f.wrong(key, format!("{} lengths", other.len()), "two: along x and y"));
            [0.0, 0.0]
        }
    }
}

fn layer(f: &Fields, diagnostics: &mut Vec<Diagnostic>) -> Option<Layer> {
    let stated = typed::Layer::read(f)?;
    if f.has(typed::Layer::heated_margin) && stated.heated_depth.is_none() {
        let expected = "`heated-depth` beside it: only a die is heated";
        diagnostics.push(f.wrong(typed::Layer::heated_margin, "a rim of nothing heated", expected));
    }
    Some(Layer {
        name: stated.name.name,
        material: stated.material.name,
        length: stated.length,
        width: stated.width,
        thickness: stated.thickness,
        offset: offset(f, typed::Layer::offset, &stated.offset, diagnostics),
        on: stated.on.map(|on| on.name),
        contact: stated.contact,
        heated: stated.heated_depth.map(|depth| Heated { depth, margin: stated.heated_margin }),
        case: stated.case,
        vias: Vec::new(),
    })
}

fn via_field(f: &Fields, stated: typed::ViaField, diagnostics: &mut Vec<Diagnostic>) -> ViaField {
    ViaField {
        length: stated.length,
        width: stated.width,
        offset: offset(f, typed::ViaField::offset, &stated.offset, diagnostics),
        pitch: stated.pitch,
        drill: stated.drill,
        plating: stated.plating,
        fill: stated.fill.map(|fill| fill.name),
    }
}

fn cooling(f: &Fields) -> Option<Cooling> {
    let stated = typed::Cooling::read(f)?;
    Some(Cooling {
        layer: stated.layer.name,
        face: if stated.face.as_deref() == Some("top") { Face::Top } else { Face::Bottom },
        by: match stated.kind {
            typed::Cooled::Held => Cooled::Held,
            typed::Cooled::Convection(film) => Cooled::Film(film.coefficient),
            typed::Cooled::Resistance(path) => Cooled::Resistance(path.resistance),
        },
        boundary: stated.boundary,
        temperature: stated.temperature,
    })
}

fn material(f: &Fields) -> Option<Material> {
    let stated = typed::Material::read(f)?;
    let law = |at_300: f64| match stated.conductivity_exponent {
        0.0 => Law::Constant(at_300),
        exponent => Law::Power { at_300, exponent },
    };
    Some(Material {
        name: stated.name.name,
        along: law(stated.conductivity),
        through: law(stated.through_conductivity.unwrap_or(stated.conductivity)),
        density: stated.density,
        heat_capacity: Law::Constant(stated.heat_capacity),
    })
}
