//! Reverse recovery by charge control: Lauritzen & Ma, IEEE Trans. Power Electron. 6 (1991) 188 (equations from memory
//! and re-derived; the numbers were computed elsewhere from the closed form).

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_models::capacitances::output_charge;
use joulestep_models::charge::Depletion;
use joulestep_models::model::Value;
use joulestep_models::operating::Feed;
use joulestep_models::recovery::{StoringJunction, Times};

use crate::common::catalogued::put;
use crate::common::rig::{channel, column, fixed, near, supply, tight, v};
use crate::common::technologies::{rest, ship};

/// A junction with nothing but its stored charge, Is stated at `kelvin`.
fn junction(
    saturation: f64,
    ideality: f64,
    lifetime: f64,
    transit: f64,
    kelvin: f64,
) -> StoringJunction<f64> {
    let there = joulestep_models::junction::saturation_at(kelvin, 1.0, ideality, 1.12, 3.0);
    StoringJunction {
        saturation: saturation / there,
        ideality,
        gap: 1.12,
        power: 3.0,
        times: Times { lifetime, lifetime_exponent: 0.0, transit, transit_exponent: 0.0 },
        breakdown: None,
        linear_above: 1e4,
        leakage: 0.0,
        depletion: Depletion::new(0.0, 1.0, 0.5),
    }
}

/// A current ramp: forward current IF, slope −a, forced until the junction gives way at T1; then the tail, while
/// the ramp finds its way through a large resistance beside the diode.
#[test]
fn recovery_of_a_current_ramp() {
    for (forward, slope, lifetime, transit, peak, at, charge, quarter) in [
        (
            20.0,
            1e9,
            6e-8,
            2e-8,
            23.0363092681051,
            4.30363092681051e-8,
            6.10880411369469e-7,
            4.38307246849035e-8,
        ),
        (
            50.0,
            5e8,
            2e-7,
            8e-8,
            43.3425322354848,
            1.8668506447097e-7,
            4.35529122832603e-6,
            1.65901885106392e-7,
        ),
        (
            10.0,
            2e8,
            3e-7,
            6e-8,
            19.3359784246018,
            1.46679892123009e-7,
            1.90149907532176e-6,
            1.65994610179004e-7,
        ),
    ] {
        let tail = 1.0 / (1.0 / lifetime + 1.0 / transit);
        let end = at + 25.0 * tail;
        let mut c = Circuit::new();
        let a = c.node("a");
        let ramp = c.wave(Wave::Points(vec![(0.0, forward), (end, forward - slope * end)]));
        c.current_source("I", GROUND, a, ramp).unwrap();
        c.resistor("R", a, GROUND, 1e5).unwrap();
        let d =
            c.law("D", "diode", &[a, GROUND], junction(1e-12, 1.5, lifetime, transit, 300.0), 300.0).unwrap();
        let mut setup = Setup::new(c);
        setup.steps = fixed(at / 20_000.0);
        setup.channels = vec![channel("i", Probe::Conduction(d, 0)), channel("stored", Probe::Branch(d, 0))];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(end, &mut memory).unwrap();
        let (t, i) = (memory.time, column(&memory.samples, 0));
        let k = (0..i.len()).min_by(|&a, &b| i[a].total_cmp(&i[b])).unwrap();
        near("IRM", -i[k], peak, 2e-4);
        near("T1", t[k], at, 2e-4);
        let zero = i.iter().position(|x| *x <= 0.0).unwrap();
        let trapezoids: f64 = (zero..i.len() - 1).map(|k| -0.5 * (i[k] + i[k + 1]) * (t[k + 1] - t[k])).sum();
        near("Qrr", trapezoids, charge, 2e-4);
        // What flowed in went into the stored charge, or recombined.
        let sum =
            |x: &[f64]| -> f64 { (1..x.len()).map(|k| 0.5 * (x[k] + x[k - 1]) * (t[k] - t[k - 1])).sum() };
        let stored = column(&memory.samples, 1);
        let balance = sum(&i) - sum(&stored) - lifetime * (stored[stored.len() - 1] - stored[0]);
        assert!(balance.abs() < 1e-5 * charge, "{balance:e} C of {charge:e} C are not accounted for");
        let end = k + i[k..].iter().position(|x| *x > 0.25 * i[k]).unwrap();
        near("trr", t[end] - forward / slope, quarter, 2e-4);
        // The tail: one time constant.
        let later = k + i[k..].iter().position(|x| *x > i[k] * (-3.0f64).exp()).unwrap();
        near("tail", (t[later] - t[k]) / 3.0, tail, 2e-4);
    }
}

/// At rest: q_M = I·τ, and the forward voltage.
#[test]
fn stored_charge_at_rest() {
    for (i, lifetime, transit, saturation, ideality, kelvin, voltage, stored) in [
        (20.0, 6e-8, 2e-8, 1e-9, 2.0, 398.15, 1.64733418738125, 1.2e-6),
        (5.0, 3e-8, 1e-8, 1e-15, 1.5, 300.0, 1.41291117814363, 1.5e-7),
    ] {
        let mut c = Circuit::new();
        let a = c.node("a");
        let wave = c.wave(Wave::Constant(i));
        c.current_source("I", GROUND, a, wave).unwrap();
        let law = junction(saturation, ideality, lifetime, transit, kelvin);
        let id = c.law("D", "diode", &[a, GROUND], law, kelvin).unwrap();
        let mut setup = Setup::new(c);
        setup.tolerance = Some(tight());
        let run = setup.ready().unwrap();
        near("v", run.read(&v(a)), voltage, 1e-9);
        near("qM", run.read(&Probe::Branch(id, 0)) * lifetime, stored, 1e-9);
    }
}

/// A silicon diode, its series resistance and depletion charge included, that a MOSFET's stand-in switches: 400 V, a
/// loop inductance, and a snubber against ringing. The ledger closes; what the diode dissipated is ∫v·i dt of
/// what was recorded; hot, more charge is recovered.
#[test]
fn the_heat_of_recovery_is_counted() {
    let recovered = |celsius: f64, times: &[(&'static str, f64)]| {
        let mut c = Circuit::new();
        // 20 A flow until the source swings from 2 V forward to 400 V reverse within 20 ns.
        let swing = Wave::Points(vec![(0.0, 2.0), (1e-6, 2.0), (1.02e-6, -400.0)]);
        let (plus, _) = supply(&mut c, "plus", swing);
        let (a, m) = (c.node("a"), c.node("m"));
        c.inductor("L", plus, m, 400e-9, 60e-3, None).unwrap();
        c.resistor("R", m, a, 1e-3).unwrap();
        let s = c.node("s");
        c.resistor("Rs", a, s, 20.0).unwrap();
        c.capacitor("Cs", s, GROUND, 470e-12, None).unwrap();
        let mut given = vec![
            ("saturation-current", 1e-9),
            ("ideality", 1.8),
            ("series-resistance", 5e-3),
            ("resistance-coefficient", 2e-3),
            ("capacitance", 400e-12),
            ("breakdown-voltage", 700.0),
            ("junction-temperature", celsius),
        ];
        given.extend(times);
        let built = put(&mut c, "diode", "D", &[a, GROUND], &given);
        let heat = built.quantities.iter().find(|q| q.0 == "power").unwrap().2.clone();
        let through: Vec<_> = built.components.iter().map(|id| Probe::Conduction(*id, 0)).collect();
        let mut setup = Setup::new(c);
        setup.steps.base = 1e-8;
        setup.channels = vec![channel("i", through[1].clone()), channel("heat", heat)];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(3e-6, &mut memory).unwrap();
        let ledger = run.ledger();
        println!("{celsius} °C: {:.1e} of {:e} J, {:?}", ledger.relative(), ledger.turnover, run.counters());
        assert!(ledger.relative() < 1e-4, "{ledger:?}");
        let (t, i, p) = (&memory.time, column(&memory.samples, 0), column(&memory.samples, 1));
        let integral = |f: &dyn Fn(usize) -> f64| -> f64 {
            (1..t.len()).map(|k| 0.5 * (f(k) + f(k - 1)) * (t[k] - t[k - 1])).sum()
        };
        let of = |name: &str| ledger.entries.iter().find(|e| e.name == name).map_or(0.0, |e| e.dissipated);
        let counted = of("D") + of("D.series");
        near("heat", integral(&|k| p[k]), counted, 2e-3);
        (integral(&|k| -i[k].min(0.0)), counted)
    };
    let times = [("lifetime", 80e-9), ("transit-time", 30e-9)];
    let (without, cool) = recovered(25.0, &[]);
    let (cold, warm) = (recovered(25.0, &times), recovered(150.0, &times));
    println!(
        "recovered {without:e}, {:e}, {:e} C; heat {cool:e}, {:e}, {:e} J",
        cold.0, warm.0, cold.1, warm.1
    );
    // Without stored charge nothing but depletion charge comes back, and that is no conduction.
    assert!(without < 1e-12);
    assert!(cold.0 > 0.5e-6 && warm.0 > 1.15 * cold.0);
    assert!(cold.1 > cool + 1e-5 && warm.1 > cold.1);
}

/// Common practice, no source: of what a cascode's or a cool SiC MOSFET's integral diode gives back, the output
/// capacitance holds the larger part; a superjunction's body diode gives back more than ten times its output charge;
/// hot, the stored charge grows and the output charge does not. From 20 A, by a loop of 400 nH at 400 V; what came back
/// is counted from the zero of the current to the end of the ringing, less the output charge, which is had another way.
#[test]
fn integral_diodes_recover_by_their_technology() {
    let stored = |name: &str, celsius: f64| {
        let part = ship(name);
        let mut c = Circuit::new();
        let ahead = rest(&part, 0.0, Feed::Current(-20.0), celsius).voltage() - 20.0 * 0.12;
        let swing = Wave::Points(vec![(0.0, ahead), (1e-6, ahead), (1.02e-6, 400.0)]);
        let (plus, _) = supply(&mut c, "plus", swing);
        let [m, d, s] = ["m", "d", "s"].map(|n| c.node(n));
        c.resistor("R", plus, m, 0.12).unwrap();
        let l = c.inductor("L", m, d, 400e-9, 0.0, None).unwrap();
        let snubber = c.resistor("Rs", d, s, 15.0).unwrap();
        c.capacitor("Cs", s, GROUND, 1e-9, None).unwrap();
        let mut values = part.values.clone();
        values.0.insert("junction-temperature", Value::Number(celsius));
        (part.entry().build)(&mut c, "Q", &[d, GROUND, GROUND], &values).unwrap();
        let into = Probe::Sum(vec![(1.0, Probe::Branch(l, 0)), (-1.0, Probe::Conduction(snubber, 0))]);
        let mut setup = Setup::new(c);
        setup.steps.base = 1e-8;
        setup.channels = vec![channel("i", into)];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(6e-6, &mut memory).unwrap();
        assert!(run.ledger().relative() < 1e-4, "{name}: {:?}", run.ledger());
        let (t, i) = (&memory.time, column(&memory.samples, 0));
        near("forward", i[t.iter().position(|t| *t > 1e-6).unwrap() - 1], -20.0, 0.01);
        let zero = i.iter().rposition(|i| *i < -15.0).unwrap();
        let zero = zero + i[zero..].iter().position(|i| *i > 0.0).unwrap();
        let back: f64 = (zero + 1..t.len()).map(|k| 0.5 * (i[k] + i[k - 1]) * (t[k] - t[k - 1])).sum();
        let output = output_charge(part.entry(), &part.values, &[400.0], celsius).unwrap()[0].charge;
        println!("{name} at {celsius} °C: {back:e} C came back, {output:e} C of output charge");
        [(back - output), output]
    };
    let of = |name| [25.0, 125.0].map(|celsius| stored(name, celsius));
    let [cold, hot] = of("mosfet-sj-620v-49m");
    assert!(cold[0] > 10.0 * cold[1] && hot[0] > 1.3 * cold[0], "{cold:?} {hot:?}");
    for name in ["mosfet-sic-700v-12m", "cascode-700v-22m"] {
        let [cold, hot] = of(name);
        assert!(cold[0].abs() < 0.5 * cold[1] && hot[0] > cold[0], "{name}: {cold:?} {hot:?}");
        // Depletion layers hardly know the temperature; a cascode's middle node stands where leakage holds it, and hot
        // leakage holds it elsewhere.
        let bound = if name.starts_with("cascode") { 0.1 } else { 1e-3 };
        assert!((hot[1] / cold[1] - 1.0).abs() < bound);
    }
}
