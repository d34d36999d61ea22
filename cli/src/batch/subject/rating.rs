//! A rating as the subject of a plan. What variants have in common is made once: the law of the part while its values
//! stay, the solution of the package while its layers stay. Where they vary, a law is tabulated no further than
//! the rating looks.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use joulestep_models::package::Package;
use joulestep_models::part::Part;
use joulestep_models::rating::conduction::Conduction;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::steady::{continuous, runaway, steady};
use joulestep_models::rating::surge::{EXACT, STEPS, Surge};
use joulestep_models::rating::{Conducts, HeatPath, RatingTrouble};

use super::{Figures, Ill, refused, told};
use crate::batch::row::{Column, Status};
use crate::judge::Level;
use crate::rating::errors::{NUDGE, RATIO};
use crate::rating::{Asked, BEYOND, COLDEST, LONGEST, PackageHeat, bounds, heat_of_part, solve_package};
use crate::scenario::fields::Fields;

/// Laws and packages that are kept at most; then all are let go.
const KEPT: usize = 64;
/// Cells of a mesh where the plan says nothing.
const CELLS: usize = 40_000;
/// °C, where the plan says nothing.
const HEATSINK: f64 = 45.0;

/// What was made, by what it was made from.
type Made<T> = Mutex<BTreeMap<String, Arc<T>>>;
type Solved = OnceLock<Result<PackageHeat, Ill>>;

/// A rating.
#[derive(Debug)]
pub struct Rating {
    /// Name of the part.
    part: String,
    /// Name of the package.
    package: String,
    laws: Made<Conduction>,
    packages: Made<Solved>,
}

/// What the plan asks of a variant.
struct Question {
    asked: Asked,
    interface: f64,
    cells: usize,
    runaway: bool,
    /// Widths and shapes.
    pulses: Vec<(f64, Shape)>,
}

fn question(f: &Fields) -> Question {
    let pulse = |p: &Fields| {
        let shape = p.text("shape").and_then(Shape::of_key).unwrap_or(Shape::Square);
        (p.number("width").unwrap_or(f64::NAN), shape)
    };
    Question {
        asked: Asked {
            heatsink: f.number("heatsink").unwrap_or(HEATSINK),
            hottest: f.number("hottest"),
            gate_on: f.number("gate-on"),
            before: f.number("before").unwrap_or(0.0),
            shape: Shape::Square,
            widths: Vec::new(),
            faults: f.tables("fault").iter().filter_map(|t| t.number("current")).collect(),
            required_current: None,
            required_time: None,
        },
        interface: f.number("interface").unwrap_or(0.0),
        cells: f.whole("cells").and_then(|n| usize::try_from(n).ok()).unwrap_or(CELLS),
        runaway: f.flag("runaway").unwrap_or(false),
        pulses: f.tables("pulse").iter().map(pulse).collect(),
    }
}

fn ill(trouble: &RatingTrouble) -> Ill {
    let status = if matches!(trouble, RatingTrouble::Thermal(_)) { Status::Failed } else { Status::Refused };
    (status, trouble.to_string())
}

/// What is kept under a key, made where it is missing.
fn kept<T>(made: &Made<T>, key: String, make: impl FnOnce() -> Result<T, Ill>) -> Result<Arc<T>, Ill> {
    let lock = || made.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(there) = lock().get(&key) {
        return Ok(Arc::clone(there));
    }
    let new = Arc::new(make()?);
    let mut all = lock();
    if all.len() >= KEPT {
        all.clear();
    }
    Ok(Arc::clone(all.entry(key).or_insert(new)))
}

impl Rating {
    /// A rating of a part on a package of these names.
    pub fn new(part: &str, package: &str) -> Self {
        let (part, package) = (part.to_string(), package.to_string());
        Self { part, package, laws: Mutex::default(), packages: Mutex::default() }
    }

    fn part(&self, fields: &Fields) -> Result<Part, Ill> {
        let mut diagnostics = Vec::new();
        let part =
            fields.table("part").and_then(|f| crate::parts::of_fields(f, &self.part, &mut diagnostics));
        part.filter(|_| diagnostics.is_empty()).ok_or_else(|| told(&diagnostics))
    }

    fn law(part: &Part, q: &Question) -> Result<Conduction, Ill> {
        let (gate, hottest) = bounds(part, &q.asked).map_err(|e| ill(&e))?;
        // From the coldest heatsink that there may be: the same table for all variants. No state beyond the highest
        // junction temperature is looked at, but for the runaway.
        let most = hottest + if q.runaway { BEYOND } else { 0.0 };
        Conduction::on_demand(part, gate, COLDEST, most).map_err(|e| ill(&e))
    }

    /// Names and units of its numbers.
    ///
    /// # Errors
    /// What is wrong with the part or the question.
    pub(super) fn columns(&self, fields: &Fields) -> Result<Vec<Column>, Ill> {
        let Some(f) = fields.table("rating") else { return Err(refused("there is no rating")) };
        let q = question(f);
        let law = Self::law(&self.part(fields)?, &q)?;
        let mut all = vec![("continuous.current".to_string(), "A"), ("continuous.drop".into(), "V")];
        all.push(("continuous.loop-gain".into(), "1"));
        all.extend(law.names().iter().map(|die| (format!("continuous.{die}"), "degC")));
        all.extend(law.names().iter().map(|die| (format!("{die}.thermal-resistance"), "K/W")));
        all.extend(q.runaway.then(|| ("runaway.current".into(), "A")));
        for p in f.tables("pulse").iter().filter_map(|p| p.text("name")) {
            all.extend(
                [("current", "A"), ("i2t", "A^2 s"), ("energy", "J")].map(|(w, u)| (format!("{p}.{w}"), u)),
            );
        }
        let faults = f.tables("fault").iter().filter_map(|t| t.text("name"));
        all.extend(faults.map(|name| (format!("{name}.longest"), "s")));
        Ok(all.into_iter().map(|(name, unit)| Column { name, unit: unit.into() }).collect())
    }

    /// How the part and the package contradict each other, in words.
    pub(super) fn contradictions(&self, fields: &Fields) -> Vec<String> {
        let package = fields.table("package").and_then(|f| crate::package::of_fields(f, &mut Vec::new()));
        match (self.part(fields), package) {
            (Ok(part), Some(package)) => package.contradicts(&part),
            _ => Vec::new(),
        }
    }

    /// The numbers of a variant, as coarse as a level: half of the steps of a pulse and of the nodes of the law's table at
    /// each. At the coarsest they come with what the mesh and the reduction of a package may have them wrong.
    pub(super) fn numbers(&self, fields: &Fields, level: Level) -> Result<Figures, Ill> {
        let Some(f) = fields.table("rating") else { return Err(refused("there is no rating")) };
        let q = question(f);
        let part = self.part(fields)?;
        let (gate, hottest) = bounds(&part, &q.asked).map_err(|e| ill(&e))?;
        let key = format!("{:?} {gate:?} {hottest:?} {}", part.values, q.runaway);
        let law = kept(&self.laws, key, || Self::law(&part, &q))?;
        let heat = match fields.table("package") {
            None => heat_of_part(&part, q.asked.heatsink, q.interface).map_err(|e| ill(&e))?,
            Some(f) => {
                let mut diagnostics = Vec::new();
                let package = crate::package::of_fields(f, &mut diagnostics);
                let package = package.filter(|_| diagnostics.is_empty()).ok_or_else(|| told(&diagnostics))?;
                self.package(package, q.cells)?.at(q.asked.heatsink)
            }
        };
        let path = heat.path(law.names()).map_err(|e| ill(&e))?;
        let stride = 1 << level.0.clamp(0, 2);
        let told = |law: &Conduction, path: &HeatPath| {
            rate(&part, &law.coarser(stride), path, hottest, (&q, STEPS / stride))
        };
        let mut found = told(&law, &path);
        if law.trouble().is_some() {
            // The law is shared: the trouble may be another variant's.
            let own = Self::law(&part, &q)?;
            found = told(&own, &path);
            if let Some(e) = own.trouble() {
                return Err((Status::Failed, e.to_string()));
            }
        }
        let values = found?;
        // The search ends within this share.
        let mut further: Vec<f64> = values.iter().map(|x| 4.0 * EXACT * x.abs()).collect();
        match &heat.mesh {
            Some(mesh) if level == Level::COARSER[1] => {
                let nudged = told(&law, &path.scaled(1.0 + NUDGE))?;
                let times = times(law.dies(), &q);
                for (k, further) in further.iter_mut().enumerate() {
                    *further += (nudged[k] - values[k]).abs() / NUDGE * mesh.at(times[k]);
                }
            }
            _ => {}
        }
        further.iter_mut().filter(|x| x.is_nan()).for_each(|x| *x = f64::INFINITY);
        Ok(Figures { values, further, ratio: Some(RATIO) })
    }

    /// The solution of a package; its title and the temperatures of its cooling do not matter.
    fn package(&self, package: Package, cells: usize) -> Result<PackageHeat, Ill> {
        let mut bare = Package { title: String::new(), ..package };
        bare.cooling.iter_mut().for_each(|c| c.temperature = 0.0);
        let cell = kept(&self.packages, format!("{cells} {bare:?}"), || Ok(Solved::new()))?;
        cell.get_or_init(|| solve_package(&self.package, &bare, cells).map_err(|e| ill(&e))).clone()
    }
}

/// The time after which the heat path decides about each number, s.
fn times(dies: usize, q: &Question) -> Vec<f64> {
    let after = |t: f64| if q.asked.before > 0.0 { f64::INFINITY } else { t };
    let mut all = vec![f64::INFINITY; 3 + 2 * dies + usize::from(q.runaway)];
    all.extend(q.pulses.iter().flat_map(|&(width, _)| [after(width); 3]));
    all.extend(q.asked.faults.iter().map(|_| f64::INFINITY));
    all
}

fn rate(
    part: &Part,
    law: &Conduction,
    path: &HeatPath,
    hottest: f64,
    (q, steps): (&Question, usize),
) -> Result<Vec<f64>, Ill> {
    let none = [0.0; 2];
    let dies = law.dies();
    let before = steady(law, path, q.asked.before, &none)
        .filter(|s| s.celsius[..dies].iter().all(|&t| t < hottest))
        .ok_or_else(|| {
            refused(format!(
                "{}: {} A before the pulse are more than it carries for ever",
                part.name, q.asked.before
            ))
        })?;
    let mut all = Vec::new();
    match continuous(law, path, hottest, &none) {
        Some(s) => {
            all.extend([s.current, s.carried.drop, s.loop_gain]);
            all.extend(&s.celsius[..dies]);
        }
        None => all.extend(std::iter::repeat_n(f64::NAN, 3 + dies)),
    }
    all.extend((0..dies).map(|d| path.resistance(d, d)));
    if q.runaway {
        all.push(runaway(law, path, &none).unwrap_or(f64::NAN));
    }
    let mut surge = Surge::new(law, path, hottest, &before.carried.heat[..dies]).with_steps(steps);
    for &(width, shape) in &q.pulses {
        let p = surge.largest(shape, width);
        all.extend([p.current, p.i2t, p.peaks.energy]);
    }
    all.extend(q.asked.faults.iter().map(|&current| surge.ride_through(current, LONGEST).0));
    Ok(all)
}
