//! Parts whose points a model made.

use joulestep_models::extract::evaluate::{Nearby, ordinates};
use joulestep_models::extract::{Extraction, extract};
use joulestep_models::lookup::find;
use joulestep_models::model::{Value, Values};
use joulestep_models::part::{Conditions, Curve, Part, Quantity, Technology, Variable};

use crate::common::catalogued::shipped;

/// A part of a kind with these parameters and no curves.
pub fn part(kind: &str, technology: Technology, values: &[(&'static str, f64)]) -> Part {
    let entry = find(kind).expect("a kind");
    let mut all = Values::with_defaults(entry.params);
    all.0.extend(values.iter().map(|(k, x)| (*k, Value::Number(*x))));
    Part {
        name: "made".into(),
        title: "made by a model".into(),
        source: String::new(),
        kind: entry.kind,
        technology,
        invented: true,
        given: values.iter().map(|v| v.0).collect(),
        values: all,
        dies: Vec::new(),
        package: None,
        thermal: Default::default(),
        budget: None,
        ratings: joulestep_models::part::Ratings::default(),
        curves: Vec::new(),
        spread: joulestep_models::part::Spread::default(),
    }
}

/// A curve with abscissae only; 25 °C unless the conditions say otherwise.
pub fn curve(quantity: Quantity, against: Variable, held: &[(Variable, f64)], at: &[f64]) -> Curve {
    let mut conditions = Conditions::default();
    if !matches!(against, Variable::Temperature | Variable::Time) {
        conditions.temperature = Some(25.0);
    }
    let conditions = held.iter().fold(conditions, |c, h| c.with(h.0, h.1));
    let units = [against.unit().to_string(), quantity.unit().to_string()];
    let points = at.iter().map(|x| (*x, 0.0)).collect();
    Curve { quantity, against, conditions, die: None, points, weight: 1.0, capacitive: false, units }
}

/// Adds curves with the ordinates that the part's own model gives.
pub fn with(mut part: Part, curves: Vec<Curve>) -> Part {
    for mut curve in curves {
        let y = ordinates(part.entry(), &part.values, &curve, &mut Nearby::default());
        let y = y.unwrap_or_else(|| panic!("the model says nothing of {}", curve.words()));
        curve.points.iter_mut().zip(y).for_each(|(p, y)| p.1 = y);
        part.curves.push(curve);
    }
    let faults = joulestep_models::part::inspect(&part);
    assert!(faults.is_empty(), "{faults:?}");
    part
}

/// The same with every ordinate wrong by a normally distributed part of itself, seeded.
pub fn noisy(mut part: Part, deviation: f64, mut seed: u64) -> Part {
    let mut uniform = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((seed >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    };
    for point in part.curves.iter_mut().flat_map(|c| &mut c.points) {
        // Box & Muller 1958.
        let normal = (-2.0 * uniform().ln()).sqrt() * (std::f64::consts::TAU * uniform()).cos();
        point.1 *= 1.0 + deviation * normal;
    }
    part
}

/// What is extracted from a part of which only `known` is known besides its curves.
pub fn extracted(part: &Part, known: &[&'static str]) -> Extraction {
    let mut requested = part.clone();
    requested.values = Values::with_defaults(part.entry().params);
    requested.values.0.extend(known.iter().map(|k| (*k, part.values.0[k].clone())));
    requested.given = known.iter().copied().collect();
    extract(&requested, &Values::default()).expect("it can be fitted")
}

const TEMPERATURES: [f64; 6] = [-40.0, 0.0, 25.0, 75.0, 125.0, 175.0];
const VOLTAGES: [f64; 7] = [1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 600.0];

/// What is held in the extraction of [`mosfet`].
pub const MOSFET_KNOWN: [&str; 3] = ["on-gate-voltage", "breakdown-slope-voltage", "gate-resistance"];

/// A MOSFET of 750 V with the curves of its data sheet.
pub fn mosfet() -> Part {
    use Quantity as Q;
    use Variable as V;
    let made = part(
        "mosfet",
        Technology::Unstated,
        &[
            ("on-resistance", 15e-3),
            ("on-gate-voltage", 18.0),
            ("threshold", 3.2),
            ("threshold-drift", -5e-3),
            ("resistance-exponent", 1.7),
            ("slope-factor", 1.6),
            ("body-saturation-current", 1e-20),
            ("body-ideality", 2.5),
            ("body-gap", 3.0),
            ("body-lifetime", 40e-9),
            ("body-transit-time", 15e-9),
            ("body-lifetime-exponent", 2.0),
            ("leakage-conductance", 3e-9),
            ("leakage-energy", 0.45),
            ("breakdown-voltage", 900.0),
            ("breakdown-slope-voltage", 3.0),
            ("breakdown-drift", 6e-4),
            ("gate-source-capacitance", 4e-9),
            ("gate-drain-capacitance", 2e-9),
            ("drain-source-capacitance", 3e-9),
            ("built-in-voltage", 2.2),
            ("depletion-exponent", 0.45),
            ("gate-resistance", 1.0),
        ],
    );
    let hot = (V::Temperature, 150.0);
    let off = (V::GateVoltage, -5.0);
    let gates = [3.0, 3.5, 4.0, 5.0, 6.0, 8.0];
    let recovery = [(V::Current, 40.0), (V::Voltage, 400.0)];
    let rates = [3e8, 1e9, 3e9];
    with(
        made,
        vec![
            curve(
                Q::OnResistance,
                V::Temperature,
                &[(V::GateVoltage, 18.0), (V::Current, 40.0)],
                &TEMPERATURES,
            ),
            curve(Q::OnResistance, V::GateVoltage, &[(V::Current, 40.0)], &[8.0, 10.0, 12.0, 15.0, 18.0]),
            curve(Q::Transfer, V::GateVoltage, &[(V::Voltage, 10.0)], &gates),
            curve(Q::Transfer, V::GateVoltage, &[(V::Voltage, 10.0), hot], &gates),
            curve(Q::Threshold, V::Temperature, &[(V::Current, 0.01)], &[25.0, 150.0]),
            curve(Q::Output, V::Voltage, &[(V::GateVoltage, 6.0)], &[0.2, 0.5, 1.0, 2.0, 5.0]),
            curve(Q::DiodeDrop, V::Current, &[off], &[0.1, 1.0, 10.0, 50.0]),
            curve(Q::DiodeDrop, V::Current, &[off, hot], &[0.1, 1.0, 10.0, 50.0]),
            curve(Q::Leakage, V::Temperature, &[(V::Voltage, 600.0)], &[25.0, 100.0, 175.0]),
            curve(Q::Breakdown, V::Temperature, &[(V::Current, 1e-3)], &[25.0, 150.0]),
            curve(Q::InputCapacitance, V::Voltage, &[], &VOLTAGES),
            curve(Q::OutputCapacitance, V::Voltage, &[], &VOLTAGES),
            curve(Q::TransferCapacitance, V::Voltage, &[], &VOLTAGES),
            curve(
                Q::GateCharge,
                V::GateVoltage,
                &[(V::Voltage, 400.0), (V::Current, 40.0)],
                &[1.0, 3.0, 5.0, 8.0, 18.0],
            ),
            curve(Q::RecoveryCharge, V::CurrentRate, &recovery, &rates),
            curve(Q::RecoveryCharge, V::CurrentRate, &[recovery[0], recovery[1], hot], &rates),
        ],
    )
}

/// What is held in the extraction of [`diode`].
pub const DIODE_KNOWN: [&str; 2] = ["saturation-power", "breakdown-slope-voltage"];

/// A Schottky diode with the curves of its data sheet.
pub fn diode() -> Part {
    use Quantity as Q;
    use Variable as V;
    let made = part(
        "diode",
        Technology::SicSchottkyDiode,
        &[
            ("saturation-current", 5e-16),
            ("ideality", 1.05),
            ("gap", 1.2),
            ("saturation-power", 2.0),
            ("series-resistance", 8e-3),
            ("resistance-coefficient", 6e-3),
            ("capacitance", 3.4e-9),
            ("built-in-voltage", 1.1),
            ("depletion-exponent", 0.47),
            ("leakage-conductance", 20e-9),
            ("breakdown-voltage", 900.0),
            ("breakdown-slope-voltage", 4.0),
        ],
    );
    let currents = [0.01, 0.1, 1.0, 10.0, 30.0, 60.0];
    with(
        made,
        vec![
            curve(Q::DiodeDrop, V::Current, &[], &currents),
            curve(Q::DiodeDrop, V::Current, &[(V::Temperature, 150.0)], &currents),
            curve(Q::Leakage, V::Voltage, &[], &[100.0, 400.0, 600.0]),
            curve(Q::Breakdown, V::Temperature, &[(V::Current, 1e-3)], &[25.0]),
            curve(Q::Capacitance, V::Voltage, &[], &[0.1, 1.0, 10.0, 100.0, 400.0]),
        ],
    )
}

/// What is fitted in the extraction of [`cascode`]; the other parameters of its file are held.
const CASCODE_FITTED: [&str; 24] = [
    "jfet-on-resistance",
    "jfet-resistance-exponent",
    "jfet-pinch-off",
    "jfet-pinch-off-drift",
    "jfet-saturation-current",
    "jfet-saturation-exponent",
    "jfet-drift-share",
    "jfet-drain-effect",
    "jfet-leakage-conductance",
    "jfet-leakage-energy",
    "jfet-gate-drain-capacitance",
    "jfet-depletion-exponent",
    "mosfet-on-resistance",
    "mosfet-threshold",
    "mosfet-threshold-drift",
    "mosfet-slope-factor",
    "mosfet-body-saturation-current",
    "mosfet-body-ideality",
    "mosfet-body-gap",
    "mosfet-gate-source-capacitance",
    "mosfet-gate-drain-capacitance",
    "mosfet-drain-source-capacitance",
    "mosfet-depletion-exponent",
    "mosfet-built-in-voltage",
];

/// What is held in the extraction of [`cascode`].
pub fn cascode_known(made: &Part) -> Vec<&'static str> {
    let more = ["jfet-slope-factor", "jfet-built-in-voltage"];
    made.given.iter().copied().chain(more).filter(|k| !CASCODE_FITTED.contains(k)).collect()
}

/// The shipped cascode of 700 V and 22 mΩ with curves of the whole and of its dies.
pub fn cascode() -> Part {
    use Quantity as Q;
    use Variable as V;
    let mut made = shipped("cascode-700v-22m");
    made.curves.clear();
    let (on, hot) = ((V::GateVoltage, 10.0), (V::Temperature, 150.0));
    let of = |die: &str, curve: Curve| Curve { die: Some(die.into()), ..curve };
    let drains = [1.0, 2.0, 4.0, 6.0, 8.0, 12.0, 20.0];
    let low = [0.1, 1.0, 3.0, 8.0, 15.0, 25.0];
    let gates = [-6.8, -6.4, -5.6, -4.0, -2.4, 0.0];
    with(
        made,
        vec![
            curve(Q::OnResistance, V::Temperature, &[on, (V::Current, 30.0)], &TEMPERATURES),
            curve(Q::OnResistance, V::GateVoltage, &[(V::Current, 30.0)], &[4.9, 5.4, 6.4, 8.0, 10.0, 13.0]),
            curve(Q::Transfer, V::GateVoltage, &[(V::Voltage, 5.0)], &[3.4, 3.65, 3.9, 4.15, 4.4]),
            curve(Q::Transfer, V::GateVoltage, &[(V::Voltage, 5.0), hot], &[2.6, 3.0, 3.5, 4.0, 4.4]),
            curve(Q::Output, V::Voltage, &[on], &drains),
            curve(Q::Output, V::Voltage, &[on, hot], &drains),
            curve(Q::DiodeDrop, V::Current, &[], &[0.1, 1.0, 10.0, 50.0]),
            curve(Q::DiodeDrop, V::Current, &[hot], &[0.1, 1.0, 10.0, 50.0]),
            curve(Q::OutputCapacitance, V::Voltage, &[], &[30.0, 50.0, 100.0, 200.0, 400.0, 600.0]),
            curve(Q::Leakage, V::Temperature, &[(V::Voltage, 600.0)], &[25.0, 100.0, 175.0]),
            of("jfet", curve(Q::Transfer, V::GateVoltage, &[(V::Voltage, 5.0)], &gates)),
            of("jfet", curve(Q::Transfer, V::GateVoltage, &[(V::Voltage, 5.0), hot], &gates)),
            of(
                "jfet",
                curve(Q::Output, V::Voltage, &[(V::GateVoltage, -2.4)], &[1.0, 2.0, 4.0, 8.0, 20.0, 200.0]),
            ),
            of("mosfet", curve(Q::InputCapacitance, V::Voltage, &[], &low)),
            of("mosfet", curve(Q::OutputCapacitance, V::Voltage, &[], &low)),
            of("mosfet", curve(Q::TransferCapacitance, V::Voltage, &[], &low)),
        ],
    )
}
