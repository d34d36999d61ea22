//! Over every model of the catalogue: its table of parameters, and, for what becomes a device, derivatives, lanes and
//! charge.

use std::collections::BTreeSet;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::circuit::graph::{Body, Circuit, Linear};
use joulestep_engine::circuit::law::{Device, stamp_len};
use joulestep_engine::circuit::lockstep::DeviceLanes;
use joulestep_models::devices::catalogue;
use joulestep_models::lookup::find;
use joulestep_models::model::{Built, Shape, Value};
use joulestep_models::parts::shipped;
use wide::{f64x4, f64x8};

use crate::common::catalogued::{leads, part, values};

/// Numbers with which a model can be built; several sets where a model has several laws.
fn samples(kind: &str) -> Vec<Vec<(&'static str, f64)>> {
    let from_part = |name: &str| part(name).1;
    let textbook_charges = || {
        vec![
            ("gate-drain-capacitance", 1e-9),
            ("gate-source-capacitance", 2e-9),
            ("drain-source-capacitance", 3e-10),
        ]
    };
    match kind {
        "resistor" => {
            vec![vec![("resistance", 10.0)], vec![("resistance", 10.0), ("temperature-coefficient", 4e-3)]]
        }
        "capacitor" => {
            vec![vec![("capacitance", 1e-6)], vec![("capacitance", 1e-3), ("series-resistance", 0.01)]]
        }
        "inductor" => vec![vec![("inductance", 1e-6)]],
        "saturable-inductor" => {
            vec![vec![("inductance", 1e-4), ("saturated-inductance", 1e-5), ("saturation-current", 20.0)]]
        }
        "coupled-inductors" => vec![vec![("coupling", 0.5)]],
        "voltage-source" | "current-source" => vec![vec![("value", 5.0)]],
        "voltage-controlled-voltage" | "current-controlled-current" => vec![vec![("gain", 2.0)]],
        "voltage-controlled-current" => vec![vec![("transconductance", 2.0)]],
        "current-controlled-voltage" => vec![vec![("transresistance", 2.0)]],
        "switch" => vec![vec![]],
        "nonlinear-capacitor" => vec![
            vec![("capacitance", 1e-9), ("constant-capacitance", 1e-11)],
            vec![("capacitance", 1e-9), ("depletion-exponent", 0.37)],
            vec![],
        ],
        "varistor" => vec![
            from_part("varistor-400v-rail"),
            [from_part("varistor-400v-rail"), vec![("disc-height", 3e-3)]].concat(),
        ],
        "constant-power" => vec![vec![("power", 5e3), ("minimum-voltage", 200.0)]],
        "diode" => {
            let recovering = vec![
                ("saturation-current", 1e-9),
                ("lifetime", 80e-9),
                ("transit-time", 3e-8),
                ("capacitance", 1e-9),
            ];
            let breaking = [recovering.clone(), vec![("breakdown-voltage", 700.0)]].concat();
            let plain = vec![("saturation-current", 1e-12), ("depletion-exponent", 0.4)];
            vec![from_part("diode-sic-700v-50a"), from_part("diode-si-600v-25a"), plain, recovering, breaking]
        }
        "mosfet" | "jfet" => {
            let mut all = vec![
                from_part("cascode-700v-7m")
                    .into_iter()
                    .filter_map(|(key, x)| Some((key.strip_prefix(kind)?.strip_prefix('-')?, x)))
                    .filter(|(key, _)| find(kind).unwrap().params.iter().any(|p| p.key == *key))
                    .collect(),
            ];
            if kind == "mosfet" {
                all.extend(["mosfet-sic-1300v-82m", "mosfet-sj-620v-49m"].map(from_part));
                // A body diode with contacts and without stored charge; no breakdown.
                all.push(vec![("on-resistance", 1e-2), ("threshold", 4.0), ("body-resistance", 5e-3)]);
            }
            all
        }
        "cascode" => vec![from_part("cascode-700v-7m"), from_part("cascode-700v-22m")],
        "ideal-diode" => {
            vec![vec![("forward-voltage", 0.7)], vec![("forward-voltage", 0.3), ("on-resistance", 0.1)]]
        }
        "square-law-jfet" => {
            vec![
                [
                    vec![
                        ("pinch-off", -7.0),
                        ("transconductance-factor", 8.0),
                        ("channel-length-modulation", 2e-3),
                    ],
                    textbook_charges(),
                ]
                .concat(),
            ]
        }
        "square-law-mosfet" => {
            vec![
                [
                    vec![("threshold", 4.0), ("transconductance-factor", 60.0), ("breakdown-voltage", 30.0)],
                    textbook_charges(),
                ]
                .concat(),
            ]
        }
        other => panic!("no sample values for `{other}`: add them here"),
    }
}

/// Every sample of every model, built with its numbers larger by the fraction `more`.
fn built(more: f64) -> Vec<(String, Circuit<f64>, Built)> {
    let mut out = Vec::new();
    let grown = |x: f64| x * (1.0 + more);
    for entry in catalogue() {
        for (number, sample) in samples(entry.kind).iter().enumerate() {
            let mut circuit = Circuit::new();
            let pins: Vec<_> = entry.needed_pins().iter().map(|p| circuit.node(&format!("n-{p}"))).collect();
            let mut values = values(entry, &sample.iter().map(|(k, x)| (*k, grown(*x))).collect::<Vec<_>>());
            if entry.kind == "nonlinear-capacitor" && number == 2 {
                let c = [2e-9, 1.2e-9, 9e-10, 2e-10, 1e-10];
                let points = [0.0, 5.0, 20.0, 100.0, 600.0].into_iter().zip(c.map(grown)).collect();
                values.0.insert("table", Value::Table(points));
            }
            if entry.kind == "coupled-inductors" {
                values.0.insert("inductances", Value::List(vec![grown(1e-6), grown(4e-6)]));
            }
            let label = format!("{}-{number}", entry.kind);
            let built = (entry.build)(&mut circuit, "x", &pins, &values).unwrap();
            out.push((label, circuit, built));
        }
    }
    out
}

/// Every sample in lockstep, a variant in each lane whose numbers differ by a thousandth from those of the next, and
/// each variant alone.
fn lockstep<K: DeviceLanes>() -> Vec<(String, Circuit<K>, Vec<Circuit<f64>>)> {
    let mut alone: Vec<_> = (0..K::WIDTH).map(|k| built(1e-3 * k as f64).into_iter()).collect();
    let mut out = Vec::new();
    while let Some(each) = alone.iter_mut().map(Iterator::next).collect::<Option<Vec<_>>>() {
        let label = each[0].0.clone();
        let each: Vec<_> = each.into_iter().map(|one| one.1).collect();
        let together = Circuit::lockstep::<K>(&each.iter().collect::<Vec<_>>());
        out.push((
            label.clone(),
            together.unwrap_or_else(|| panic!("{label} does not run in lockstep")),
            each,
        ));
    }
    out
}

/// Four and eight variants of every sample run side by side: the pins and linear equations of each in its lane.
/// (What devices do there: below.)
#[test]
fn every_model_runs_in_lockstep() {
    fn in_lane<K: Lane>(linear: &Linear<K>, lane: usize) -> String {
        let place = |list: &[(usize, usize, K)]| -> Vec<_> {
            list.iter().map(|&(row, column, x)| (row, column, x.lane(lane))).collect()
        };
        let sources: Vec<_> = linear.s.iter().map(|&(row, wave, x)| (row, wave, x.lane(lane))).collect();
        format!("{:?}", (&linear.branches, place(&linear.g), place(&linear.c), sources, linear.choice))
    }
    fn check<K: DeviceLanes>() {
        for (label, together, each) in lockstep::<K>() {
            for (lane, alone) in each.iter().enumerate() {
                assert_eq!(together.components.len(), alone.components.len(), "{label}");
                for (a, b) in together.components.iter().zip(&alone.components) {
                    assert_eq!((a.kind, &a.pins), (b.kind, &b.pins), "{label}");
                    if let (Body::Linear(a), Body::Linear(b)) = (&a.body, &b.body) {
                        assert_eq!(in_lane(a, lane), in_lane(b, 0), "{label}");
                    }
                }
                for (a, b) in together.choices.iter().zip(&alone.choices) {
                    let options: Vec<f64> = a.options.iter().map(|x| x.lane(lane)).collect();
                    assert_eq!((options, a.initial), (b.options.clone(), b.initial), "{label}");
                }
            }
        }
    }
    check::<f64x4>();
    check::<f64x8>();
}

/// The devices of a circuit, in the order of its components, with their names.
fn devices<L: Lane>(label: &str, circuit: Circuit<L>) -> Vec<(String, Box<dyn Device<L>>)> {
    let mut out = Vec::new();
    for component in circuit.components {
        if let Body::Device(device) = component.body {
            assert_eq!(component.pins.len(), device.locals() - device.internals() + 1, "{label}");
            out.push((format!("{label} {}", component.name), device));
        }
    }
    out
}

/// Reproducible numbers in [0, 1) (SplitMix64: Steele, Lea & Flood, OOPSLA 2014).
struct Dice(u64);
impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Voltages from several regions: around zero, a driven gate, breakdown of a low-voltage die, a high-voltage
    /// drain, forward bias, and exactly zero.
    fn voltage(&mut self) -> f64 {
        let x = 2.0 * self.roll() - 1.0;
        match (self.roll() * 6.0) as u32 {
            0 => x,
            1 => 20.0 * x,
            2 => 35.0 * x,
            3 => 800.0 * x.abs(),
            4 => 1e-3 * x,
            _ => 0.0,
        }
    }
}

#[test]
fn tables_are_complete_and_names_unique() {
    let mut kinds = BTreeSet::new();
    for entry in catalogue() {
        assert!(kinds.insert(entry.kind), "two kinds `{}`", entry.kind);
        assert!(
            !entry.help.is_empty() && !entry.source.is_empty() && !entry.params.is_empty(),
            "{}",
            entry.kind
        );
        assert!(entry.pins.len() >= 2);
        let mut keys = BTreeSet::new();
        for p in entry.params {
            let at = format!("{}.{}", entry.kind, p.key);
            assert!(keys.insert(p.key), "two parameters `{at}`");
            assert!(p.key.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-'), "{at}");
            assert!(!p.help.is_empty(), "{at} has no help");
            let (Shape::Number(unit) | Shape::List(unit) | Shape::Table(unit, _)) = p.shape;
            assert!(!unit.is_empty(), "{at} has no unit");
            assert!(!(p.optional && p.default.is_some()), "{at} is optional and has a default");
            assert!(p.default.is_none_or(|x| p.range.holds(x)), "the default of {at} is outside its range");
        }
    }
}

#[test]
fn a_misspelt_kind_is_answered_with_the_nearest() {
    assert_eq!(find("resistor").unwrap().kind, "resistor");
    assert_eq!(find("mosfit").unwrap_err(), Some("mosfet"));
    assert_eq!(find("Varister").unwrap_err(), Some("varistor"));
    assert_eq!(find("xyzzy").unwrap_err(), None);
}

#[test]
fn what_was_built_refers_to_its_own_components() {
    for (label, circuit, built) in built(0.0) {
        assert_eq!(built.components.len(), circuit.components.len(), "{label} hides a component");
        for (die, components) in &built.dies {
            assert!(components.iter().all(|c| built.components.contains(c)), "{label}: {die}");
        }
        assert!(built.hottest.iter().all(|h| built.dies.iter().any(|d| d.0 == h.0)), "{label}");
        assert!(!built.quantities.is_empty(), "{label} offers nothing to record");
        let names: BTreeSet<_> = built.quantities.iter().map(|q| q.0).collect();
        assert_eq!(names.len(), built.quantities.len(), "{label}");
        assert!(built.limits.iter().all(|l| l.2 < l.3), "{label}");
    }
}

#[test]
fn shipped_parts_build_and_say_that_they_are_invented() {
    for (name, text) in shipped() {
        assert!(text.contains("\ninvented = true\n") && text.contains("(invented)\""), "{name}");
        let (kind, given) = part(name);
        let entry = find(&kind).unwrap();
        let mut circuit = Circuit::new();
        let pins: Vec<_> = entry.needed_pins().iter().map(|p| circuit.node(p)).collect();
        (entry.build)(&mut circuit, name, &pins, &values(entry, &given)).unwrap();
    }
}

/// ∂i/∂u and ∂q/∂u against central differences of i and q.
#[test]
fn derivatives_equal_central_differences() {
    let mut dice = Dice(1);
    let all = built(0.0).into_iter().flat_map(|(label, circuit, _)| devices(&label, circuit));
    for (label, mut device) in all {
        let p = device.locals();
        for kelvin in [233.15, 298.15, 448.15] {
            device.set_temperature(kelvin);
            for _ in 0..400 {
                let u: Vec<f64> = (0..p).map(|_| dice.voltage()).collect();
                let mut out = vec![0.0; stamp_len(p)];
                device.evaluate(&u, &mut out);
                assert!(out.iter().all(|x| x.is_finite()), "{label} at {u:?}: {out:?}");
                let mut plain = vec![0.0; 2 * p];
                device.values(&u, &mut plain);
                assert_eq!(plain, out[..2 * p], "{label}: values and stamp differ at {u:?}");
                for j in 0..p {
                    let h = 1e-6 * (1.0 + u[j].abs());
                    let side = |x: f64| {
                        let mut w = u.clone();
                        w[j] = x;
                        let mut out = vec![0.0; 2 * p];
                        device.values(&w, &mut out);
                        out
                    };
                    let around = |h: f64| (side(u[j] + h), side(u[j] - h));
                    let ((up, down), (up2, down2)) = (around(0.5 * h), around(h));
                    for row in 0..2 * p {
                        let given = out[2 * p + row * p + j];
                        // To the limit (Richardson): no corner of the second derivative leaves an error of first order.
                        let [near, far] = [(up[row] - down[row]) / h, (up2[row] - down2[row]) / (2.0 * h)];
                        let by_difference = 2.0 * near - far;
                        let largest = (0..p).map(|k| out[2 * p + row * p + k].abs()).fold(0.0, f64::max);
                        let rounding = 4e-16 * (up[row].abs() + out[row].abs()) / (0.5 * h);
                        // A corner of the second derivative inside the difference leaves an error of first order.
                        let bound =
                            2e-4 * h / 1e-6 * largest.max(given.abs()) * 1e-2 + 20.0 * rounding + 1e-18;
                        assert!(
                            (given - by_difference).abs() <= bound,
                            "{label} at {u:?}, {kelvin} K: d[{row}]/d[{j}] is {given:e}, by difference {by_difference:e}"
                        );
                    }
                }
            }
        }
    }
}

fn lanes_equal_one_lane<K: DeviceLanes>() {
    let mut dice = Dice(2);
    let mut number = 0;
    for (label, together, each) in lockstep::<K>() {
        let mut alone: Vec<_> = each.into_iter().map(|one| devices(&label, one).into_iter()).collect();
        for (label, mut many) in devices(&label, together) {
            let mut ones: Vec<_> = alone.iter_mut().map(|one| one.next().unwrap().1).collect();
            number += 1;
            let p = many.locals();
            for _ in 0..300 {
                let kelvin: Vec<f64> = ones.iter().map(|_| 230.0 + 250.0 * dice.roll()).collect();
                let u: Vec<Vec<f64>> =
                    (0..p).map(|_| ones.iter().map(|_| dice.voltage()).collect()).collect();
                many.set_temperature(K::from_fn(|lane| kelvin[lane]));
                let wide: Vec<K> = u.iter().map(|u| K::from_fn(|lane| u[lane])).collect();
                let mut out = vec![K::default(); stamp_len(p)];
                many.evaluate(&wide, &mut out);
                for (lane, one) in ones.iter_mut().enumerate() {
                    one.set_temperature(kelvin[lane]);
                    let mut alone = vec![0.0; stamp_len(p)];
                    one.evaluate(&u.iter().map(|u| u[lane]).collect::<Vec<_>>(), &mut alone);
                    for (k, (a, b)) in out.iter().zip(&alone).enumerate() {
                        assert_eq!(
                            a.lane(lane).to_bits(),
                            b.to_bits(),
                            "{label}: entry {k}, lane {lane}, {a:?} {b}"
                        );
                    }
                }
            }
        }
    }
    assert!(number >= 15, "only {number} devices");
}

#[test]
fn four_lanes_have_the_bits_of_one() {
    lanes_equal_one_lane::<f64x4>();
}

#[test]
fn eight_lanes_have_the_bits_of_one() {
    lanes_equal_one_lane::<f64x8>();
}

/// A rating and a quantity of one name are one thing: what `Q1.voltage` records is what the rating `Q1.voltage` bounds.
#[test]
fn a_name_of_a_rating_is_that_of_the_quantity_it_bounds() {
    let mut both = 0;
    for entry in catalogue() {
        for sample in samples(entry.kind) {
            let given: Vec<(&str, f64)> =
                sample.into_iter().chain(leads(entry.kind).into_iter().flatten()).collect();
            let mut circuit = Circuit::new();
            let names = entry.needed_pins();
            let pins: Vec<_> = names.iter().map(|n| circuit.node(n)).collect();
            let Ok(built) = (entry.build)(&mut circuit, "X", &pins, &values(entry, &given)) else { continue };
            for (name, bounded, ..) in &built.limits {
                let quantity = built.quantities.iter().find(|q| q.0 == *name);
                let (_, _, recorded) = quantity.unwrap_or_else(|| {
                    panic!("{}: the rating `{name}` bounds what cannot be recorded", entry.kind)
                });
                assert_eq!(recorded, bounded, "{}: two things are called `{name}`", entry.kind);
                both += 1;
            }
        }
    }
    assert!(both > 5, "{both} ratings");
}
