//! Points from published formulas, computed here without the models, give the formulas' constants back.

use joulestep_models::extract::recovered;
use joulestep_models::junction::saturation_at;
use joulestep_models::part::{Part, Quantity, Technology, Variable};

use super::made::{curve, extracted, part};
use crate::common::rig::near;

/// Exact in the SI of 2019.
const BOLTZMANN: f64 = 1.380_649e-23;
const CHARGE: f64 = 1.602_176_634e-19;
/// CODATA 2018.
const VACUUM: f64 = 8.854_187_812_8e-12;

fn taken(
    mut part: Part,
    quantity: Quantity,
    against: Variable,
    held: &[(Variable, f64)],
    points: Vec<(f64, f64)>,
) -> Part {
    let mut made = curve(quantity, against, held, &[]);
    made.points = points;
    part.curves.push(made);
    assert_eq!(joulestep_models::part::inspect(&part), []);
    part
}

/// A diode with series resistance: v = (nkT/q)·ln(1 + i/Is) + iR; at 3.4 V and 150 °C it carries
/// 38.4490611164033 A by Lambert's function (Corless et al., Adv. Comput. Math. 5 (1996) 329; Banwell & Jayakumar,
/// Electron. Lett. 36 (2000) 291; from memory, computed elsewhere).
#[test]
fn a_diode_with_series_resistance() {
    let (saturation, ideality, resistance, kelvin) = (1e-18, 1.6, 0.02, 423.15);
    let drop = |i: f64| ideality * BOLTZMANN * kelvin / CHARGE * (i / saturation).ln_1p() + i * resistance;
    near("the closed form", drop(38.4490611164033), 3.4, 1e-9);
    let currents = [1e-3, 1e-2, 0.1, 1.0, 5.0, 20.0, 38.4490611164033];
    let requested = part(
        "diode",
        Technology::Unstated,
        &[("gap", 1.12), ("resistance-coefficient", 0.0), ("saturation-current", 1.0)],
    );
    let hot = (Variable::Temperature, 150.0);
    let requested = taken(
        requested,
        Quantity::DiodeDrop,
        Variable::Current,
        &[hot],
        currents.map(|i| (i, drop(i))).to_vec(),
    );
    let found = extracted(&requested, &["gap", "resistance-coefficient"]).part.values;
    // The part states its saturation current at 25 °C.
    let at_25 = saturation / saturation_at(kelvin, 1.0, ideality, 1.12, 3.0);
    near("saturation current", found.number("saturation-current"), at_25, 1e-6);
    near("ideality", found.number("ideality"), ideality, 1e-8);
    near("series resistance", found.number("series-resistance"), resistance, 1e-8);
}

/// One-sided junctions of SiC and Si: C = εA/W with W = √(2ε(Vbi + V)/(qN)) (Sze & Ng, Physics of Semiconductor
/// Devices, 3rd ed., ch. 2, from memory; the two numbers were computed elsewhere).
#[test]
fn a_one_sided_junction() {
    for (doping, relative, built_in, area, volts, there, at_zero) in [
        (1e22, 9.7, 2.8, 10e-6, 400.0, 1.3069401506335e-10, 1.56755004715697e-9),
        (2e22, 11.7, 0.8, 8e-6, 25.0, 6.41656542333641e-10, 3.64390869339586e-9),
    ] {
        let permittivity = relative * VACUUM;
        let c =
            |v: f64| permittivity * area / (2.0 * permittivity * (built_in + v) / (CHARGE * doping)).sqrt();
        near("the formula", c(volts), there, 1e-6);
        let points = [0.0, 0.1, 0.3, 1.0, 0.5].map(|x| x * volts);
        let mut points: Vec<_> = points.iter().map(|v| (*v, c(*v))).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let requested = part("diode", Technology::Unstated, &[("saturation-current", 1e-12)]);
        let requested = taken(requested, Quantity::Capacitance, Variable::Voltage, &[], points);
        let found = extracted(&requested, &["saturation-current"]).part.values;
        near("C(0)", found.number("capacitance"), at_zero, 1e-6);
        near("built-in voltage", found.number("built-in-voltage"), built_in, 1e-6);
        near("depletion-exponent", found.number("depletion-exponent"), 0.5, 1e-7);
    }
}

/// Charge of the recovery from a current ramp (Lauritzen & Ma, IEEE Trans. Power Electron. 6 (1991) 188, from
/// memory and re-derived; the numbers were computed elsewhere).
#[test]
fn recovery_charge_of_a_ramp_gives_lifetime_and_transit_time() {
    for (forward, rate, lifetime, transit, charge) in [
        (20.0, 1e9, 6e-8, 2e-8, 6.10880411369469e-7),
        (50.0, 5e8, 2e-7, 8e-8, 4.35529122832603e-6),
        (10.0, 2e8, 3e-7, 6e-8, 1.90149907532176e-6),
    ] {
        near("the closed form", recovered::charge(forward, rate, lifetime, transit), charge, 1e-9);
        // The same diode on slower and faster ramps, by the published equations in their other form.
        let of = |rate: f64| {
            let decay = lifetime * transit / (lifetime + transit);
            let mut peak = forward;
            for _ in 0..400 {
                let t = (forward + peak) / rate;
                peak = 0.5 * (peak + rate * (lifetime - decay) * (1.0 - (-t / lifetime).exp()));
            }
            peak * peak / (2.0 * rate) + peak * decay
        };
        near("the other form", of(rate), charge, 1e-9);
        let rates = [0.1, 0.3, 1.0, 3.0, 10.0].map(|x| x * rate);
        let held = [(Variable::Current, forward), (Variable::Voltage, 400.0)];
        let requested = part("diode", Technology::SiliconPinDiode, &[("saturation-current", 1e-12)]);
        let points = rates.map(|a| (a, of(a))).to_vec();
        let requested = taken(requested, Quantity::RecoveryCharge, Variable::CurrentRate, &held, points);
        let found = extracted(&requested, &["saturation-current"]).part.values;
        near("lifetime", found.number("lifetime"), lifetime, 1e-6);
        near("transit time", found.number("transit-time"), transit, 1e-6);
    }
}

/// The channel of Enz, Krummenacher & Vittoz, Analog Integr. Circuits Signal Process. 8 (1995) 83 (from memory),
/// β = 5 A/V², n = 1.3, threshold 3 V, 300 K; the two numbers were computed elsewhere.
#[test]
fn a_channel_from_weak_to_strong_inversion() {
    let (beta, n, threshold, kelvin, drain) = (5.0, 1.3, 3.0, 300.0, 10.0);
    let thermal = BOLTZMANN * kelvin / CHARGE;
    let term = |x: f64| (x / (2.0 * thermal)).exp().ln_1p().powi(2);
    let current = |gate: f64| {
        let pinch = (gate - threshold) / n;
        2.0 * n * beta * thermal * thermal * (term(pinch) - term(pinch - drain))
    };
    near("strong inversion", current(5.0), 7.69230769230775, 1e-12);
    near("weak inversion", current(2.6), 5.87217602290234e-8, 1e-9);
    let gates = [2.6, 2.9, 3.0, 3.1, 3.2, 3.5, 4.0, 5.0];
    let held: &[(&'static str, f64)] = &[
        ("threshold-drift", 0.0),
        ("resistance-exponent", 0.0),
        ("on-gate-voltage", 5.0),
        ("leakage-conductance", 0.0),
        ("on-resistance", 1.0),
        ("threshold", 1.0),
    ];
    let requested = part("mosfet", Technology::LowVoltageMosfet, held);
    let at = [(Variable::Voltage, drain), (Variable::Temperature, kelvin - 273.15)];
    let points = gates.map(|g| (g, current(g))).to_vec();
    let mut requested = taken(requested, Quantity::Transfer, Variable::GateVoltage, &at, points);
    // On-resistance at vds → 0 and 5 V: dI/dvds = n·β·2Vt·ln(1 + e^(vp/2Vt)), a measurement at a milliampere.
    let open = 2.0 * thermal * ((5.0 - threshold) / n / (2.0 * thermal)).exp().ln_1p();
    let resistance = 1.0 / (n * beta * open);
    let at = [(Variable::Current, 1e-3), (Variable::Temperature, kelvin - 273.15)];
    let mut small = curve(Quantity::OnResistance, Variable::GateVoltage, &at, &[]);
    small.points = vec![(5.0, resistance)];
    requested.curves.push(small);
    let known = ["threshold-drift", "resistance-exponent", "on-gate-voltage", "leakage-conductance"];
    let found = extracted(&requested, &known).part.values;
    near("threshold", found.number("threshold"), threshold, 1e-5);
    near("slope factor", found.number("slope-factor"), n, 1e-3);
    near("on-resistance", found.number("on-resistance"), resistance, 1e-3);
}
