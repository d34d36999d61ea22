//! From checked tables to the package as resolved.

use joulestep_engine::thermal::field::property::Law;
use joulestep_models::materials::Material;
use joulestep_models::package::{
    Cooled, Cooling, Face, Heated, Layer, Package, PackageError, Subject, ViaField,
};

use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::fields::Fields;

/// °C, where a file says nothing.
const ROOM: f64 = 25.0;

/// The package, placed and checked; what is wrong is reported at its place.
pub(super) fn package(root: &Fields, diagnostics: &mut Vec<Diagnostic>) -> Option<Package> {
    let before = diagnostics.len();
    let layers = root.tables("layer");
    let mut package = Package {
        title: root.text("title").unwrap_or("").to_string(),
        temperature: root.number("temperature").unwrap_or(ROOM),
        layers: layers.iter().filter_map(|f| layer(f, diagnostics)).collect(),
        cooling: root.tables("cooling").iter().filter_map(cooling).collect(),
        materials: root.tables("material").iter().filter_map(material).collect(),
    };
    // Which table became which via field of which layer.
    let mut fields: Vec<(usize, usize, &Fields)> = Vec::new();
    for f in root.tables("via-field") {
        let Some(named) = f.named("layer") else { continue };
        let Some(at) = package.layer(&named.name) else {
            let names: Vec<&str> = package.layers.iter().map(|l| l.name.as_str()).collect();
            let found = format!("no layer is named `{}`", named.name);
            let d = Diagnostic::new(&named.place, f.key("layer"), found, names.join(", "));
            diagnostics.push(d.suggest(nearest(&named.name, names)));
            continue;
        };
        let Some(via) = via_field(f, diagnostics) else { continue };
        package.layers[at].vias.push(via);
        fields.push((at, package.layers[at].vias.len() - 1, f));
    }
    if package.temperature <= -273.15 {
        let found = format!("{} °C is not above absolute zero", package.temperature);
        let d = Diagnostic::new(root.place_of("temperature"), "temperature", found, "above -273.15 degC");
        diagnostics.push(d);
    }
    if diagnostics.len() > before {
        return None;
    }
    let Err(wrong) = package.place() else { return Some(package) };
    for PackageError { subject, key, found, expected, suggestion } in wrong {
        let of = match subject {
            Subject::Whole => Some(root),
            Subject::Layer(k) => layers.get(k),
            Subject::Via(k, j) => fields.iter().find(|f| (f.0, f.1) == (k, j)).map(|f| f.2),
            Subject::Cooling(k) => root.tables("cooling").get(k),
        };
        let of = of.unwrap_or(root);
        let d = of.wrong(key, found, expected);
        diagnostics.push(d.suggest(suggestion));
    }
    None
}

/// Two lengths.
fn offset(f: &Fields, diagnostics: &mut Vec<Diagnostic>) -> [f64; 2] {
    match f.numbers("offset") {
        [x, y] => [*x, *y],
        [] if !f.has("offset") => [0.0, 0.0],
        other => {
            let found = format!("{} lengths", other.len());
            diagnostics.push(f.wrong("offset", found, "two: along x and y"));
            [0.0, 0.0]
        }
    }
}

fn layer(f: &Fields, diagnostics: &mut Vec<Diagnostic>) -> Option<Layer> {
    let offset = offset(f, diagnostics);
    if f.has("heated-margin") && !f.has("heated-depth") {
        let expected = "`heated-depth` beside it: only a die is heated";
        let found = "a rim of nothing heated";
        diagnostics.push(f.wrong("heated-margin", found, expected));
    }
    Some(Layer {
        name: f.text("name")?.to_string(),
        material: f.text("material")?.to_string(),
        length: f.number("length")?,
        width: f.number("width")?,
        thickness: f.number("thickness")?,
        offset,
        on: f.text("on").map(ToString::to_string),
        contact: f.number("contact").unwrap_or(0.0),
        heated: f
            .number("heated-depth")
            .map(|depth| Heated { depth, margin: f.number("heated-margin").unwrap_or(0.0) }),
        case: f.flag("case").unwrap_or(false),
        vias: Vec::new(),
    })
}

fn via_field(f: &Fields, diagnostics: &mut Vec<Diagnostic>) -> Option<ViaField> {
    Some(ViaField {
        length: f.number("length")?,
        width: f.number("width")?,
        offset: offset(f, diagnostics),
        pitch: f.number("pitch")?,
        drill: f.number("drill")?,
        plating: f.number("plating")?,
        fill: f.text("fill").map(ToString::to_string),
    })
}

fn cooling(f: &Fields) -> Option<Cooling> {
    let by = match f.kind.as_str() {
        "convection" => Cooled::Film(f.number("coefficient")?),
        "resistance" => Cooled::Resistance(f.number("resistance")?),
        _ => Cooled::Held,
    };
    Some(Cooling {
        layer: f.text("layer")?.to_string(),
        face: if f.text("face") == Some("top") { Face::Top } else { Face::Bottom },
        by,
        boundary: f.text("boundary").unwrap_or("ambient").to_string(),
        temperature: f.number("temperature").unwrap_or(ROOM),
    })
}

fn material(f: &Fields) -> Option<Material> {
    let exponent = f.number("conductivity-exponent").unwrap_or(0.0);
    let law = |at_300: f64| match exponent {
        0.0 => Law::Constant(at_300),
        exponent => Law::Power { at_300, exponent },
    };
    let along = f.number("conductivity")?;
    Some(Material {
        name: f.text("name")?.to_string(),
        along: law(along),
        through: law(f.number("through-conductivity").unwrap_or(along)),
        density: f.number("density")?,
        heat_capacity: Law::Constant(f.number("heat-capacity")?),
    })
}
