//! Where the heat of a part goes: a package solved and reduced, or the part's own impedance to its case.

use std::sync::Arc;

use joulestep_engine::thermal::column::Plate;
use joulestep_engine::thermal::compact::Compact;
use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::field::error::FieldError;
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::reduce::{
    Near, Reduced, Span, Work, reduce, reduce_for_others, reduce_near,
};
use joulestep_engine::thermal::field::study::{MeshStudy, finest, study};
use joulestep_engine::thermal::field::system::System;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, NetworkBuilder};
use joulestep_engine::units::{people, people_digits};

use super::{HeatPath, RatingError};
use crate::package::{Cooled, Package, Solid, to_ambient};
use crate::part::Part;

/// Divisions that the finest mesh may have.
const FINEST: usize = 6;

/// Asked now and then: whether to stop.
pub type Stop<'a> = &'a (dyn Fn() -> bool + Sync);

fn until(stop: Stop<'_>) -> Work<'_> {
    Work { span: Span::default(), stop }
}

/// A heat path before the part's dies are found in it.
#[derive(Clone, Debug)]
pub struct Heat {
    modal: Modal<f64>,
    /// Names of the inputs that are dies.
    dies: Vec<String>,
    /// By how much the hottest point rises more than each die per watt in it, K/W; `None`: it is not known.
    above: Option<Vec<f64>>,
    /// The dies as plates whose properties follow their temperature, where they are known.
    plates: Vec<Option<Plate>>,
    /// How far its impedances may be wrong; `None`: they are given.
    pub mesh: Option<MeshError>,
    /// In words.
    pub words: String,
}

/// How far the mesh and the reduction of a package may have its impedances wrong.
#[derive(Clone, Debug)]
pub struct MeshError {
    /// `None`: only one mesh fits into the cells, and nothing is known of its error.
    study: Option<Arc<MeshStudy>>,
    dies: usize,
}

impl MeshError {
    /// The largest share of any die's own impedance after a time, s, or since a quarter of it.
    pub fn at(&self, time: f64) -> f64 {
        let Some(study) = &self.study else { return f64::INFINITY };
        let span = Span::default();
        let of = |t: f64| {
            let t = t.clamp(span.shortest, span.longest);
            (0..self.dies).map(|die| study.mesh_error(t, die)).fold(0.0, f64::max)
        };
        of(time).max(of(0.25 * time)) + study.finest.error
    }

    /// Whether anything is known of it.
    pub fn is_known(&self) -> bool {
        self.study.is_some()
    }

    /// Whether the meshes approach a limit in an order that can be believed.
    pub fn converges(&self) -> bool {
        self.study.as_ref().is_none_or(|s| s.order.is_some())
    }
}

impl Heat {
    /// By how much the hottest point is hotter than a die's mean per watt in it, in the steady state, K/W; `None` where the
    /// impedance is given.
    pub fn hottest_point(&self, die: &str) -> Option<f64> {
        self.above.as_ref()?.get(self.number(die)?).copied()
    }

    /// The path of a part's dies: found by name, or (where both have only one) the one there is.
    ///
    /// # Errors
    /// A die without an input.
    pub fn path(&self, dies: &[&str]) -> Result<HeatPath, RatingError> {
        let path = match (dies, self.dies.as_slice()) {
            ([_], [only]) => HeatPath::new(self.modal.clone(), &[only]),
            _ => HeatPath::new(self.modal.clone(), dies),
        };
        let plate = |die: &&str| self.plates.get(self.number(die)?)?.clone();
        path?.with_plates(dies.iter().map(plate).collect())
    }

    /// Number of a die among these, by its name or as the only one.
    fn number(&self, die: &str) -> Option<usize> {
        self.dies.iter().position(|d| d == die).or((self.dies.len() == 1).then_some(0))
    }

    /// With the dies as plates whose properties follow their temperature, in the order of the package.
    #[must_use]
    pub fn with_plates(self, plates: Vec<Option<Plate>>) -> Self {
        Self { plates, ..self }
    }
}

/// A package, solved and reduced to a compact network: the part of its heat path that does not depend on the
/// heatsink's temperature.
#[derive(Clone, Debug)]
pub struct PackageHeat {
    network: Compact,
    dies: Vec<String>,
    above: Vec<f64>,
    mesh: Option<MeshError>,
    words: String,
}

joulestep_engine::packed!(MeshError: study, dies);
joulestep_engine::packed!(PackageHeat: network, dies, above, mesh, words);

impl PackageHeat {
    /// The same path with what is known of the errors of another solution of it.
    pub fn with_errors_of(&self, other: &Self) -> Self {
        Self { network: self.network.clone(), ..other.clone() }
    }

    /// With all its fixed temperatures at `heatsink`, °C.
    pub fn at(&self, heatsink: f64) -> Heat {
        let fixed = vec![heatsink; self.network.boundaries().len()];
        let modal = Modal::of_compact(&self.network.clone().at(&fixed));
        let words = format!("{}, held at {heatsink} °C", self.words);
        let above = Some(self.above.clone());
        let plates = Vec::new();
        Heat { modal, dies: self.dies.clone(), above, plates, mesh: self.mesh.clone(), words }
    }
}

/// A package on a mesh of at most `cells` cells. The package is
/// solved on three meshes, of which the finest counts, and reduced to a compact network with a known error.
///
/// # Errors
/// A package that is wrong; a solution that fails.
pub fn heat_of_package(
    name: &str,
    package: &Package,
    cells: usize,
    stop: Stop<'_>,
) -> Result<PackageHeat, RatingError> {
    let (solid, sizing, refused) = prepared(name, package, cells)?;
    let study = match study(&solid.body, &sizing, until(stop), solid.kelvin) {
        Ok(study) => study,
        // One mesh may fit where two do not.
        Err(FieldError::TooManyCells { .. }) => {
            let mesh = Some(MeshError { study: None, dies: solid.dies });
            return Ok(PackageHeat { mesh, ..solve_package(name, package, cells, stop)? });
        }
        Err(e) => return Err(refused(&e)),
    };
    let order = study.order.map_or("in no clear order".to_string(), |p| format!("of order {p:.2}"));
    let errors = format!("meshes {order}, ");
    let reduced = study.finest.clone();
    let mesh = MeshError { study: Some(Arc::new(study)), dies: solid.dies };
    Ok(package_heat(name, package, reduced, Some(mesh), &errors))
}

/// Solves a package on a mesh of at most `cells` cells and reduces it; the error of the mesh is not found.
///
/// # Errors
/// A package that is wrong; a solution that fails.
pub fn solve_package(
    name: &str,
    package: &Package,
    cells: usize,
    stop: Stop<'_>,
) -> Result<PackageHeat, RatingError> {
    solved(name, package, cells, |system| Ok((reduce(system, until(stop))?, ()))).map(|found| found.0)
}

/// The same, with what packages near by can begin with.
///
/// # Errors
/// A package that is wrong; a solution that fails.
pub fn solve_package_for_others(
    name: &str,
    package: &Package,
    cells: usize,
    stop: Stop<'_>,
) -> Result<(PackageHeat, Near), RatingError> {
    solved(name, package, cells, |system| reduce_for_others(system, until(stop)))
}

/// The same, beginning with what a package near by left: of other materials or films, say.
///
/// # Errors
/// A package that is wrong; a solution that fails.
pub fn solve_package_near(
    name: &str,
    package: &Package,
    cells: usize,
    near: &Near,
    stop: Stop<'_>,
) -> Result<PackageHeat, RatingError> {
    let reduced = |system: &System| Ok((reduce_near(system, until(stop), near)?, ()));
    solved(name, package, cells, reduced).map(|found| found.0)
}

fn solved<T>(
    name: &str,
    package: &Package,
    cells: usize,
    reduce: impl Fn(&System) -> Result<(Reduced, T), FieldError>,
) -> Result<(PackageHeat, T), RatingError> {
    let (solid, sizing, refused) = prepared(name, package, cells)?;
    // That of a study of meshes; one mesh may fit where two do not.
    let mesh = finest(&solid.body, &sizing, solid.kelvin).map(|found| found.0).or_else(|_| {
        let single = Sizing { division: Sizing::default().division, ..sizing };
        Mesh::finest(&solid.body, &single, solid.kelvin, 1).map(|found| found.0)
    });
    let mesh = mesh.map_err(|e| refused(&e))?;
    let system = System::new(&solid.body, &mesh, solid.kelvin).map_err(|e| refused(&e))?;
    let (reduced, more) = reduce(&system).map_err(|e| refused(&e))?;
    let errors = "without error estimate (`impedance` estimates it), ";
    Ok((package_heat(name, package, reduced, None, errors), more))
}

type Wrong<'a> = Box<dyn Fn(&dyn ToString) -> RatingError + 'a>;

/// The boxes of a package, and how fine they are cut.
fn prepared<'a>(
    name: &'a str,
    package: &Package,
    cells: usize,
) -> Result<(Solid, Sizing, Wrong<'a>), RatingError> {
    let invalid =
        |found: String| RatingError::Asked { found, expected: "a package that can be solved".into() };
    let solid = to_ambient(package)
        .map_err(|errors| invalid(errors.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")))?;
    let refused = Box::new(move |e: &dyn ToString| invalid(format!("{name}: {}", e.to_string())));
    solid.body.check().map_err(|e| refused(&e))?;
    Ok((solid, Sizing { limit: cells, division: FINEST, ..Sizing::default() }, refused))
}

fn package_heat(
    name: &str,
    package: &Package,
    reduced: Reduced,
    mesh: Option<MeshError>,
    errors: &str,
) -> PackageHeat {
    let dies = package.dies().len();
    let dies = reduced.network.ports()[..dies].to_vec();
    let words = format!(
        "package {name}, {} cells, {errors}reduced within {:.2} %; {}",
        reduced.cells,
        100.0 * reduced.error,
        way(package)
    );
    let above = |k: usize| (reduced.hottest[k] - reduced.network.steady_resistance(k, k)).max(0.0);
    let above = (0..dies.len()).map(above).collect();
    PackageHeat { network: reduced.network, dies, above, mesh, words }
}

/// The layers beneath the dies down to the fixed temperature, in words.
fn way(package: &Package) -> String {
    let layers = package.layers.iter().filter(|l| l.heated.is_none());
    let layers = layers.map(|l| {
        let contact = if l.contact > 0.0 {
            format!(" on a contact of {} K·cm²/W", people_digits(1e4 * l.contact, "1", 3))
        } else {
            String::new()
        };
        format!("{} {} ({}){contact}", l.name, people(l.thickness, "m"), l.material)
    });
    let cooling = package.cooling.iter().map(|c| {
        let by = match c.by {
            Cooled::Held => "directly".into(),
            Cooled::Film(h) => format!("by a film of {} W/(m²·K)", people_digits(h, "1", 4)),
            Cooled::Resistance(r) => format!("through {}", people(r, "K/W")),
        };
        format!("{} cooled {by} to `{}`", c.layer, c.boundary)
    });
    format!("layers {}; {}", layers.collect::<Vec<_>>().join(", "), cooling.collect::<Vec<_>>().join(", "))
}

/// The part's own transient impedances to the case, the case on the heatsink through `interface` K/W that all dies
/// share.
///
/// # Errors
/// A part that states none.
pub fn heat_of_part(part: &Part, heatsink: f64, interface: f64) -> Result<Heat, RatingError> {
    let lacks = || RatingError::Part {
        part: part.name.clone(),
        what: "it states no transient thermal impedance; expected that, or a package (--on)".into(),
    };
    if part.thermal.impedance.is_empty() {
        return Err(lacks());
    }
    let mut network = NetworkBuilder::new().boundary("heatsink", heatsink);
    let end = if interface > 0.0 { "case" } else { "heatsink" };
    let mut dies = Vec::new();
    for z in &part.thermal.impedance {
        let term = |&(resistance, time_constant): &(f64, f64)| FosterTerm { resistance, time_constant };
        let cells = foster_to_cauer(&z.terms.iter().map(term).collect::<Vec<_>>())?;
        network = network.ladder(&z.die, &cells, z.on.as_deref().unwrap_or(end));
        dies.push(z.die.clone());
    }
    if interface > 0.0 {
        network = network.node("case", 0.0).resistance("case", "heatsink", interface);
    }
    let words = if interface > 0.0 {
        format!("the part's own impedance to the case, and {interface} K/W from there to the heatsink")
    } else {
        "the part's own impedance to the case, which is held at the heatsink's temperature".into()
    };
    let plates = dies.iter().map(|die| part.plate(die)).collect();
    Ok(Heat { modal: Modal::new(&network.build()?)?, dies, above: None, plates, mesh: None, words })
}
