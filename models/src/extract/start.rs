//! Where the fit begins: estimates from single points.

use crate::model::{BOLTZMANN_OVER_CHARGE, CELSIUS, Value, Values};
use crate::part::{Curve, Part, Quantity, Variable};

/// The values at which a fit begins: those of the part, then estimates for the keys, then what `start` states.
pub fn values(part: &Part, keys: &[&'static str], start: &Values) -> Values {
    let mut values = part.values.clone();
    for &key in keys {
        if let Some(estimate) = estimate(part, key).filter(|x| x.is_finite()) {
            values.0.insert(key, Value::Number(estimate));
        }
    }
    for (&key, value) in &start.0 {
        values.0.insert(key, value.clone());
    }
    values
}

/// The curve of this quantity that is best for an estimate: of the die or (`None`) the whole, nearest to 25 °C.
fn curve<'p>(part: &'p Part, quantity: Quantity, die: Option<&str>) -> Option<&'p Curve> {
    let mine = part.curves.iter().filter(|c| c.quantity == quantity && c.die.as_deref() == die);
    let far = |c: &&Curve| (c.conditions.temperature.unwrap_or(25.0) - 25.0).abs();
    mine.min_by(|a, b| far(a).total_cmp(&far(b)))
}

fn estimate(part: &Part, key: &str) -> Option<f64> {
    let entry = part.entry();
    let own = entry.die_of_key(key).filter(|(die, _)| !die.prefix.is_empty());
    let (die, key) = own.map_or((None, key), |(die, rest)| (Some(die.name), rest));
    // A die's own curve determines more than one of the whole.
    let find = |quantity| curve(part, quantity, die).or_else(|| curve(part, quantity, None));
    let whole = |quantity| curve(part, quantity, die).is_none() && die.is_some();
    let first = |quantity| find(quantity)?.points.first().copied();
    let zero_bias = |quantity: Quantity| {
        let (v, c) = first(quantity)?;
        let vj = number(part, die, "built-in-voltage").unwrap_or(0.8);
        Some(c * (1.0 + v / vj).sqrt())
    };
    match key {
        "on-resistance" => {
            let share = match (whole(Quantity::OnResistance), own) {
                (true, Some((die, _))) if !die.blocks => 0.1,
                (true, _) => 0.9,
                _ => 1.0,
            };
            resistance(find).map(|r| share * r)
        }
        "threshold" | "pinch-off" => {
            let from_transfer = || {
                let points = &find(Quantity::Transfer)?.points;
                let least = 0.02 * points.last()?.1;
                points.iter().find(|p| p.1 > least).map(|p| p.0)
            };
            let stated = find(Quantity::Threshold).and_then(|c| {
                c.points.iter().min_by(|a, b| (a.0 - 25.0).abs().total_cmp(&(b.0 - 25.0).abs()))
            });
            stated.map(|p| p.1).or_else(from_transfer)
        }
        "saturation-current" if entry.is_diode() => saturation(find(Quantity::DiodeDrop)?, 1.0),
        "saturation-current" => {
            let curves = part.curves.iter().filter(|c| {
                matches!(c.quantity, Quantity::Output | Quantity::Transfer)
                    && (c.die.is_none() || c.die.as_deref() == die)
            });
            let most = curves.flat_map(|c| &c.points).map(|p| p.1).fold(0.0, f64::max);
            (most > 0.0).then_some(1.2 * most)
        }
        "body-saturation-current" => saturation(find(Quantity::DiodeDrop)?, 1.1),
        "series-resistance" => {
            let points = &find(Quantity::DiodeDrop)?.points;
            let [.., (a, before), (b, after)] = points.as_slice() else { return None };
            Some((0.6 * (after - before) / (b - a)).max(1e-6))
        }
        "leakage-conductance" => {
            let curve = find(Quantity::Leakage)?;
            let &(x, i) = curve.points.first()?;
            let volts = curve.at(x).get(Variable::Voltage).filter(|v| *v > 0.0)?;
            Some(i / volts)
        }
        "breakdown-voltage" => first(Quantity::Breakdown).map(|p| p.1),
        "capacitance" => zero_bias(Quantity::Capacitance),
        "gate-drain-capacitance" if whole(Quantity::TransferCapacitance) => {
            Some(0.9 * zero_bias(Quantity::OutputCapacitance)?)
        }
        "gate-drain-capacitance" => zero_bias(Quantity::TransferCapacitance),
        "drain-source-capacitance" => {
            let c = zero_bias(Quantity::OutputCapacitance)?
                - zero_bias(Quantity::TransferCapacitance).unwrap_or(0.0);
            Some(c.max(0.05 * zero_bias(Quantity::OutputCapacitance)?))
        }
        "gate-source-capacitance" => {
            let from_charge = || {
                let (v, q) = first(Quantity::GateCharge)?;
                (v > 0.0).then(|| q / v)
            };
            let input = first(Quantity::InputCapacitance).map(|p| p.1);
            let less = first(Quantity::TransferCapacitance).map_or(0.0, |p| p.1);
            input.map(|c| (c - less).max(0.1 * c)).or_else(from_charge)
        }
        "drift-share" if die.is_none() => Some(0.4),
        "pillar-capacitance" => first(Quantity::OutputCapacitance).map(|p| 0.5 * p.1),
        "pillar-gate-capacitance" => first(Quantity::TransferCapacitance).map(|p| 0.5 * p.1),
        "lifetime" | "body-lifetime" => recovery(find).map(|t| 2.0 * t),
        "transit-time" | "body-transit-time" => recovery(find).map(|t| 0.5 * t),
        _ => None,
    }
}

fn number(part: &Part, die: Option<&str>, key: &str) -> Option<f64> {
    let full = die.map_or_else(|| key.to_string(), |d| format!("{d}-{key}"));
    part.values.maybe(&full)
}

fn resistance<'p>(find: impl Fn(Quantity) -> Option<&'p Curve>) -> Option<f64> {
    if let Some(curve) = find(Quantity::OnResistance) {
        // Nearest to 25 °C, or most open.
        let near = |p: &&(f64, f64)| match curve.against {
            Variable::Temperature => (p.0 - 25.0).abs(),
            _ => -p.0,
        };
        return curve.points.iter().min_by(|a, b| near(a).total_cmp(&near(b))).map(|p| p.1);
    }
    let curve = find(Quantity::Output)?;
    curve.points.iter().find(|p| p.0 > 0.0 && p.1 > 0.0).map(|p| p.0 / p.1)
}

/// Saturation current from the point of least current: I·e^(−v/nVt).
fn saturation(curve: &Curve, ideality: f64) -> Option<f64> {
    let at = |p: &(f64, f64)| {
        if curve.against == Variable::Current { Some(p.0) } else { curve.conditions.current }
    };
    let point = curve.points.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
    let celsius = curve.at(point.0).temperature.unwrap_or(25.0);
    let thermal = BOLTZMANN_OVER_CHARGE * (celsius + CELSIUS);
    Some((at(point)? * (-point.1 / (ideality * thermal)).exp()).max(1e-60))
}

/// A time of the order of lifetime and transit time: the charge over the forward current.
fn recovery<'p>(find: impl Fn(Quantity) -> Option<&'p Curve>) -> Option<f64> {
    let curve = find(Quantity::RecoveryCharge)?;
    let &(x, q) = curve.points.first()?;
    let (i, a) = (curve.at(x).current?, curve.at(x).current_rate?);
    // Between all of the stored charge (slow) and a triangle as long as the ramp (fast).
    Some((q / i).max((q / a).sqrt()))
}
