//! Parts derived from another: scaled in area, or with parameters of their own.

use super::{Budget, Curve, Part, Quantity, Variable};
use crate::model::{Shape, Value, Values};

/// What is to be different.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Derivation {
    /// Area over that of the part.
    pub area: Option<f64>,
    /// In place of it: on-resistance of the scaled part at 25 °C, Ω.
    pub resistance: Option<f64>,
    /// Parameters set afterwards, in SI units.
    pub set: Vec<(&'static str, Value)>,
}

/// Why there is no such part.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DeriveError {
    /// A part without what the scaling needs.
    #[error("{part} has no {what}")]
    Lacks {
        /// Its name.
        part: String,
        /// What it lacks.
        what: &'static str,
    },
    /// The package alone has more.
    #[error("its package alone has {package} ohm")]
    Package {
        /// Resistance of the package, Ω.
        package: f64,
    },
    /// What the model refuses.
    #[error("{0}")]
    Refused(String),
}

/// A number that differs.
#[derive(Clone, Debug, PartialEq)]
pub struct Changed {
    /// Where it stands in the part file: a parameter, `die.jfet.area`, `thermal.junction-case`.
    pub what: String,
    /// Its SI unit.
    pub unit: &'static str,
    /// Before, where it had a value.
    pub before: Option<f64>,
    /// After.
    pub after: f64,
    /// Why: "proportional to area", "inversely proportional to area", the same "but for the package", "set".
    pub rule: &'static str,
}

const WITH_AREA: &str = "proportional to area";
const AGAINST_AREA: &str = "inversely proportional to area";
const BUT_PACKAGE: &str = "inversely proportional to area but for the package";
const SET: &str = "set";

/// How a quantity of this unit follows the area of the dies, as an exponent: equal current density, field and layers
/// give currents, charges, capacitances and energies in proportion and resistances, electrical and thermal, in inverse
/// proportion. Voltages, temperatures, times and lengths stay. So do inductances: those are of leads.
fn exponent(unit: &str) -> i32 {
    match unit {
        "A" | "A/V^2" | "S" | "F" | "C" | "W" | "J" | "A/s" | "m^2" | "J/K" => 1,
        "ohm" | "K/W" => -1,
        _ => 0,
    }
}

/// Parameters that are not of the dies, or bound the numbers of the equations only.
fn follows(key: &str) -> bool {
    key != "linear-above" && !key.starts_with("lead-") && !key.starts_with("middle-")
}

/// On-resistance at 25 °C, Ω, as the model's parameters state it, over all dies.
fn resistance(part: &Part) -> Option<f64> {
    let keys = part.values.0.keys().filter(|key| key.ends_with("on-resistance"));
    let all: Vec<f64> = keys.filter_map(|key| part.values.maybe(key)).collect();
    (!all.is_empty()).then(|| all.iter().sum())
}

/// Resistance of the package within it, Ω.
fn of_package(budget: Option<&Budget>) -> f64 {
    let pieces = budget.map_or(&[][..], |b| &b.pieces);
    pieces.iter().filter(|p| p.die.is_none()).map(|p| p.resistance).sum()
}

/// The derived part, under its name still, and every number that differs. Leads, outline and ratings of leads stay as
/// they are; curves and spread scale with what they are of.
///
/// # Errors
/// [`DeriveError`].
pub fn derive(part: &Part, how: &Derivation) -> Result<(Part, Vec<Changed>), DeriveError> {
    let mut made = part.clone();
    let mut changed = Vec::new();
    let package = of_package(part.budget.as_ref());
    let own = resistance(part);
    let (area, resistance) = match (how.area, how.resistance) {
        (None, None) => (1.0, 1.0),
        // What the package has stays.
        (Some(a), _) => (a, own.map_or(1.0 / a, |own| ((own - package) / a + package) / own)),
        (None, Some(wanted)) => {
            let lacks = || DeriveError::Lacks { part: part.name.clone(), what: "on-resistance to scale" };
            let own = own.ok_or_else(lacks)?;
            if wanted <= package || own <= package {
                return Err(DeriveError::Package { package });
            }
            ((own - package) / (wanted - package), wanted / own)
        }
    };
    if area != 1.0 {
        scale(&mut made, part, area, resistance, &mut changed);
    }
    for (key, value) in &how.set {
        if let Value::Number(after) = value {
            let unit = made.entry().params.iter().find(|p| p.key == *key).map_or("1", |p| match p.shape {
                Shape::Number(unit) => unit,
                _ => "1",
            });
            let before = made.values.maybe(key);
            changed.push(Changed { what: (*key).into(), unit, before, after: *after, rule: SET });
        }
        made.values.0.insert(key, value.clone());
        made.given.insert(key);
        // Its spread was that of the value before.
        made.spread.deviations.retain(|d| d.0 != *key);
        let kept: Vec<&str> = made.spread.deviations.iter().map(|d| d.0).collect();
        made.spread.correlations.retain(|c| kept.contains(&c.0) && kept.contains(&c.1));
    }
    made.values.check(&part.name, part.entry().params).map_err(|e| DeriveError::Refused(e.to_string()))?;
    Ok((made, changed))
}

fn scale(made: &mut Part, part: &Part, area: f64, resistance: f64, changed: &mut Vec<Changed>) {
    let package = (area * resistance - 1.0).abs() > 1e-9;
    let mut note = |what: String, unit: &'static str, before: f64, after: f64| {
        let rule = match exponent(unit) {
            _ if package && what.ends_with("on-resistance") => BUT_PACKAGE,
            n if n < 0 => AGAINST_AREA,
            _ => WITH_AREA,
        };
        changed.push(Changed { what, unit, before: Some(before), after, rule });
    };
    let mut values = Values::default();
    for (key, value) in &part.values.0 {
        let param = part.entry().params.iter().find(|p| p.key == *key);
        let scaled = match (param.map(|p| p.shape), value) {
            (Some(Shape::Number(unit)), Value::Number(x)) => {
                let factor = factor(key, unit, area, resistance);
                if factor != 1.0 && *x != 0.0 {
                    note((*key).into(), unit, *x, x * factor);
                    made.given.insert(key);
                }
                Value::Number(x * factor)
            }
            (Some(Shape::Table(a, b)), Value::Table(rows)) => {
                let [x, y] = [a, b].map(|unit| factor(key, unit, area, resistance));
                let (from, to) = rows.last().map_or((0.0, 0.0), |r| (r.1, r.1 * y));
                if y != 1.0 {
                    note(format!("{key}, last row"), b, from, to);
                }
                Value::Table(rows.iter().map(|r| (r.0 * x, r.1 * y)).collect())
            }
            (_, other) => other.clone(),
        };
        values.0.insert(key, scaled);
    }
    made.values = values;
    for die in &mut made.dies {
        note(format!("die.{}.area", die.name), "m^2", die.area, die.area * area);
        die.area *= area;
    }
    if let Some(r) = &mut made.thermal.junction_case {
        note("thermal.junction-case".into(), "K/W", *r, *r / area);
        *r /= area;
    }
    for z in &mut made.thermal.impedance {
        let before: f64 = z.terms.iter().map(|t| t.0).sum();
        note(format!("thermal.impedance of {}, sum", z.die), "K/W", before, before / area);
        z.terms.iter_mut().for_each(|t| t.0 /= area);
    }
    for piece in made.budget.iter_mut().flat_map(|b| &mut b.pieces).filter(|p| p.die.is_some()) {
        piece.resistance /= area;
    }
    for (name, unit, rating) in made.ratings.of_dies() {
        if let Some(rating) = rating {
            note(format!("ratings.{name}"), unit, *rating, *rating * area);
            *rating *= area;
        }
    }
    for (key, deviation) in &mut made.spread.deviations {
        let param = part.entry().params.iter().find(|p| p.key == *key);
        if let Some(Shape::Number(unit)) = param.map(|p| p.shape) {
            *deviation *= factor(key, unit, area, resistance);
        }
    }
    made.curves.iter_mut().for_each(|c| scaled(c, area, resistance));
}

fn factor(key: &str, unit: &str, area: f64, resistance: f64) -> f64 {
    match exponent(unit) {
        _ if !follows(key) => 1.0,
        // The package's share within it does not scale.
        _ if key.ends_with("on-resistance") => resistance,
        n => area.powi(n),
    }
}

fn scaled(curve: &mut Curve, area: f64, resistance: f64) {
    let of = |unit: &str| area.powi(exponent(unit));
    let x = of(curve.against.unit());
    let y = match curve.quantity {
        Quantity::OnResistance => resistance,
        quantity => of(quantity.unit()),
    };
    curve.points.iter_mut().for_each(|p| *p = (p.0 * x, p.1 * y));
    for &(_, variable, unit) in Variable::ALL {
        if let Some(value) = curve.conditions.get(variable) {
            curve.conditions = curve.conditions.with(variable, value * of(unit));
        }
    }
}
