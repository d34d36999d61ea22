//! What the production model says at the points of a curve.

use std::borrow::Cow;

use crate::capacitances::output_charge;
use crate::extract::bench::{Arrangement, Bench};
use crate::extract::recovered;
use crate::lookup::find;
use crate::model::{Entry, Values};
use crate::part::{Conditions, Curve, Quantity, Variable};

/// The model that a curve is about: of the whole part, or of one die of a cascode.
pub fn subject<'v>(
    entry: &'static Entry,
    values: &'v Values,
    die: Option<&str>,
) -> Option<(&'static Entry, Cow<'v, Values>)> {
    let Some(die) = die else { return Some((entry, Cow::Borrowed(values))) };
    let own = find(die).ok()?;
    let mut of_die = Values::with_defaults(own.params);
    for param in own.params {
        let value = values.0.get(format!("{die}-{}", param.key).as_str()).or_else(|| values.0.get(param.key));
        of_die.0.extend(value.map(|v| (param.key, v.clone())));
    }
    Some((own, Cow::Owned(of_die)))
}

/// Operating points found before, from which the next are sought: one for each point of each curve.
#[derive(Clone, Debug, Default)]
pub struct Nearby(Vec<Vec<f64>>);

/// The ordinates of a curve, SI units. `None`: the model refuses the values, or an operating point cannot be found.
pub fn ordinates(
    entry: &'static Entry,
    values: &Values,
    curve: &Curve,
    nearby: &mut Nearby,
) -> Option<Vec<f64>> {
    if curve.quantity == Quantity::RecoveryCharge {
        return recovered_charges(entry, values, curve);
    }
    let (entry, values) = subject(entry, values, curve.die.as_deref())?;
    let arrangement = arrangement(curve);
    nearby.0.resize(curve.points.len(), Vec::new());
    let mut bench: Option<(f64, Bench)> = None;
    let mut out = Vec::with_capacity(curve.points.len());
    let mut at_zero = None;
    for (&(x, _), near) in curve.points.iter().zip(&mut nearby.0) {
        let at = curve.at(x);
        let celsius = at.temperature.unwrap_or(25.0);
        if bench.as_ref().is_none_or(|b| b.0 != celsius) {
            bench = Some((celsius, Bench::new(entry, &values, celsius, arrangement)?));
        }
        let (_, bench) = bench.as_mut()?;
        if !near.is_empty() {
            bench.x.clone_from(near);
        }
        let y = ordinate(curve.quantity, &at, bench, &mut at_zero)?;
        near.clone_from(&bench.x);
        out.push(y);
    }
    out.iter().all(|y| y.is_finite()).then_some(out)
}

/// Stored charge by its closed form and, where the curve has it, the charge of the output capacitance: the reverse
/// current brings both (JEDEC's recovered charge holds the capacitive part).
fn recovered_charges(entry: &'static Entry, values: &Values, curve: &Curve) -> Option<Vec<f64>> {
    let (subject, own) = subject(entry, values, curve.die.as_deref())?;
    let mut held: Option<(f64, f64)> = None;
    let mut one = |at: &Conditions| {
        let celsius = at.temperature.unwrap_or(25.0);
        let (lifetime, transit) = recovered::times(values, celsius)?;
        let stored = recovered::charge(at.current?, at.current_rate?, lifetime, transit);
        if !curve.capacitive {
            return Some(stored);
        }
        if held.is_none_or(|h| h.0 != celsius) {
            held =
                Some((celsius, output_charge(subject, &own, &[at.voltage?], celsius).ok()?.first()?.charge));
        }
        Some(stored + held?.1)
    };
    curve.points.iter().map(|p| one(&curve.at(p.0))).collect()
}

fn arrangement(curve: &Curve) -> Arrangement {
    match curve.quantity {
        Quantity::OnResistance | Quantity::Breakdown | Quantity::DiodeDrop => Arrangement::Current,
        Quantity::Threshold if curve.conditions.voltage.is_some() => Arrangement::Held,
        Quantity::Threshold => Arrangement::Tied,
        Quantity::GateCharge => Arrangement::Clamped,
        _ => Arrangement::Voltage,
    }
}

fn ordinate(
    quantity: Quantity,
    at: &Conditions,
    bench: &mut Bench,
    at_zero: &mut Option<f64>,
) -> Option<f64> {
    let of = |variable: Variable| at.get(variable).unwrap_or(0.0);
    let (voltage, current) = (of(Variable::Voltage), of(Variable::Current));
    let gate = of(Variable::GateVoltage);
    let diode = bench.is_diode();
    match quantity {
        Quantity::OnResistance => {
            bench.settle(0.0, current, gate)?;
            Some(bench.drain_voltage() / current)
        }
        Quantity::Transfer | Quantity::Output => {
            bench.settle(voltage, 0.0, gate)?;
            Some(bench.drain_current())
        }
        Quantity::Leakage => {
            let sign = if diode { -1.0 } else { 1.0 };
            bench.settle(sign * voltage, 0.0, gate)?;
            Some(sign * bench.drain_current())
        }
        Quantity::Threshold => {
            bench.settle(voltage, current, 0.0)?;
            Some(bench.gate_voltage())
        }
        Quantity::Breakdown => {
            let sign = if diode { -1.0 } else { 1.0 };
            bench.settle(0.0, sign * current, gate)?;
            Some(sign * bench.drain_voltage())
        }
        Quantity::DiodeDrop => {
            let sign = if diode { 1.0 } else { -1.0 };
            bench.settle(0.0, sign * current, gate)?;
            Some(sign * bench.drain_voltage())
        }
        Quantity::InputCapacitance => {
            bench.settle(voltage, 0.0, 0.0)?;
            bench.capacitances(true).map(|c| c.0)
        }
        Quantity::OutputCapacitance => {
            bench.settle(voltage, 0.0, 0.0)?;
            bench.capacitances(false).map(|c| c.0)
        }
        Quantity::TransferCapacitance => {
            bench.settle(voltage, 0.0, 0.0)?;
            bench.capacitances(false).map(|c| c.1)
        }
        Quantity::Capacitance => {
            bench.settle(-voltage, 0.0, 0.0)?;
            bench.capacitances(false).map(|c| c.0)
        }
        Quantity::GateCharge => {
            let begin = match *at_zero {
                Some(charge) => charge,
                None => {
                    let near = bench.x.clone();
                    bench.settle(voltage, current, 0.0)?;
                    let charge = bench.gate_charge();
                    bench.x = near;
                    *at_zero = Some(charge);
                    charge
                }
            };
            bench.settle(voltage, current, gate)?;
            Some(bench.gate_charge() - begin)
        }
        // No operating point holds them; they are fitted by other means or kept as data.
        Quantity::RecoveryCharge | Quantity::TransientImpedance => None,
    }
}
