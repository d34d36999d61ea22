//! A dead-time study as the subject of a plan: losses of a leg at listed dead times, and the dead time of least loss.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::run::setup::Setup;
use joulestep_models::arrangement::dead_time::{
    DeadTimeTrouble, Kind, PARAMS, Point, Study, estimate, point_at,
};
use joulestep_models::arrangement::find;
use joulestep_models::model::Value;
use joulestep_models::part::Part;

use super::{Figures, Ill, refused, told};
use crate::batch::row::{Column, Status};
use crate::judge::Level;
use crate::scenario::fields::Fields;

/// Places of parts.
pub(super) const PLACES: [(&str, &str); 3] = [("part", ""), ("upper", "upper"), ("lower", "lower")];

type Number = (&'static str, &'static str, fn(&Point) -> f64);

/// What is told of the point of least loss.
const OF_BEST: &[Number] = &[
    ("dead-time", "s", |p| p.dead_time),
    ("losses", "J", |p| p.losses),
    ("diode", "J", |p| p.diode),
    ("turn-on", "J", |p| p.turn_on),
    ("turn-off", "J", |p| p.turn_off),
    ("recovery", "J", |p| p.recovery),
    ("conduction", "J", |p| p.conduction),
    ("efficiency", "1", |p| p.efficiency),
    ("node-voltage", "V", |p| p.turned_on_at.0),
    ("excess-charge", "C", |p| p.commutation.1),
];

/// The golden section of a bracket.
const GOLDEN: f64 = 0.381_966_011_250_105_1;

/// A dead-time study.
#[derive(Debug)]
pub struct DeadTime {
    /// Names of the parts by the keys of [`PLACES`].
    names: BTreeMap<&'static str, String>,
}

fn ill(trouble: &DeadTimeTrouble) -> Ill {
    let status = match trouble {
        DeadTimeTrouble::Circuit(_) => Status::Refused,
        DeadTimeTrouble::Cycle(_) | DeadTimeTrouble::Operating(_) => Status::Failed,
    };
    (status, trouble.to_string())
}

impl DeadTime {
    /// A study of parts by these names.
    pub fn new(names: BTreeMap<&'static str, String>) -> Self {
        Self { names }
    }

    /// Names and units of its numbers.
    ///
    /// # Errors
    /// What is wrong with the question.
    pub(super) fn columns(&self, fields: &Fields) -> Result<Vec<Column>, Ill> {
        let Some(f) = fields.table("dead-time") else { return Err(refused("there is no dead-time study")) };
        let times = f.numbers("times");
        if times.is_empty() || !times.is_sorted_by(|a, b| a < b) {
            return Err(refused(format!("dead-time.times: {times:?} s; expected dead times, rising")));
        }
        for held in ["dead-time", "load-current"] {
            if f.table("leg").is_some_and(|leg| leg.has(held)) {
                let other = if held == "dead-time" { "times" } else { "current" };
                return Err(refused(format!(
                    "dead-time.leg.{held}: it is the study's own; expected `{other}` of [dead-time]"
                )));
            }
        }
        let best = OF_BEST.iter().map(|&(name, unit, _)| (format!("best.{name}"), unit));
        let own = [("estimate", "s"), ("soft-from", "s")].map(|(name, unit)| (name.to_string(), unit));
        let listed = (1..=times.len()).map(|k| (format!("losses.{k}"), "J"));
        let all = best.chain(own).chain(listed);
        Ok(all.map(|(name, unit)| Column { name, unit: unit.into() }).collect())
    }

    fn study(&self, fields: &Fields, f: &Fields) -> Result<Study, Ill> {
        let mut parts: BTreeMap<String, Part> = BTreeMap::new();
        let mut diagnostics = Vec::new();
        for (key, place) in PLACES {
            let (Some(table), Some(name)) = (fields.table(key), self.names.get(key)) else { continue };
            let part = crate::parts::of_fields(table, name, &mut diagnostics);
            parts.extend(part.map(|p| (place.to_string(), p)));
        }
        if !diagnostics.is_empty() {
            return Err(told(&diagnostics));
        }
        let given = f.table("leg").map(|leg| crate::parts::given(leg, PARAMS)).unwrap_or_default();
        let number = |(key, value)| match value {
            Value::Number(x) => Some((key, x)),
            _ => None,
        };
        Ok(Study { parts, given: given.into_iter().filter_map(number).collect() })
    }

    /// The numbers of a variant, as coarse as a level; `None` where `stop` was set before its end.
    pub(super) fn numbers(
        &self,
        fields: &Fields,
        level: Level,
        stop: &AtomicBool,
    ) -> Result<Option<Figures>, Ill> {
        let Some(f) = fields.table("dead-time") else { return Err(refused("there is no dead-time study")) };
        let (times, Some(current)) = (f.numbers("times"), f.number("current")) else {
            return Err(refused("there is no load current"));
        };
        let study = self.study(fields, f)?;
        let Some(leg) = find("half-bridge") else { return Err(refused("there is no half-bridge")) };
        let values = leg.values(&study.given).map_err(refused)?;
        let (volts, celsius) = (values.number("supply-voltage"), values.number("junction-temperature"));
        let charge = estimate(&study, volts, celsius).map_err(|e| ill(&e))?;
        let tune = |setup: &mut Setup<f64>| level.apply(setup);
        let at = |time: f64| point_at(&study, (time, current), charge, &tune).map_err(|e| ill(&e));
        let mut points = Vec::new();
        for &time in times {
            if stop.load(Ordering::Relaxed) {
                return Ok(None);
            }
            points.push(at(time)?);
        }
        let least = (0..points.len()).min_by(|a, b| points[*a].losses.total_cmp(&points[*b].losses));
        let Some(least) = least else { return Err(refused("there is no dead time")) };
        let mut best = points[least].clone();
        let (mut low, mut high) = (times[least.saturating_sub(1)], times[(least + 1).min(times.len() - 1)]);
        if let Some(resolution) = f.number("resolution") {
            while high - low > resolution {
                if stop.load(Ordering::Relaxed) {
                    return Ok(None);
                }
                // The golden section of the longer side.
                let (left, right) = (best.dead_time - low, high - best.dead_time);
                let time = if right > left {
                    best.dead_time + GOLDEN * right
                } else {
                    best.dead_time - GOLDEN * left
                };
                let next = at(time)?;
                let (inner, outer) = if next.losses < best.losses { (next, best) } else { (best, next) };
                if outer.dead_time < inner.dead_time {
                    low = outer.dead_time
                } else {
                    high = outer.dead_time
                }
                best = inner;
            }
        }
        let swung = charge.unwrap_or(0.0) + values.number("snubber-capacitance") * volts;
        let balance = if swung > 0.0 && current > 0.0 { 2.0 * swung / current } else { f64::NAN };
        let soft = points.iter().find(|p| p.kinds.0 == Kind::Soft).map_or(f64::NAN, |p| p.dead_time);
        let all = OF_BEST.iter().map(|(_, _, of)| of(&best)).chain([balance, soft]);
        let values: Vec<f64> = all.chain(points.iter().map(|p| p.losses)).collect();
        // The least lies between the neighbours of the dead time found; at the edge of the list it may lie beyond.
        let edge = least == 0 || least + 1 == times.len();
        let mut further = vec![0.0; values.len()];
        further[0] = if edge { f64::INFINITY } else { (best.dead_time - low).max(high - best.dead_time) };
        Ok(Some(Figures { values, further, ratio: None }))
    }
}
