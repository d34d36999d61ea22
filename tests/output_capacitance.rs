//! Terminal capacitances of parts, and the charge and energy of their output capacitance.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_models::capacitances::{capacitances, output_charge};
use joulestep_models::lookup::find;

use crate::common::catalogued::values;
use crate::common::rig::{channel, column, near, supply};
use crate::common::technologies::{of_kind, ship};

/// Q_oss, E_oss, C_o(tr), C_o(er), charging losses of C₀ + Cj0/(1 + v/Vj)^m; definitions IEC 60747-8 / JESD24 family
/// (from memory), the integrals derived and evaluated elsewhere.
#[test]
fn output_charge_of_a_depletion_capacitance() {
    for (cj0, vj, m, c0, v, expected) in [
        (
            1.2e-9,
            2.8,
            0.5,
            1.5e-11,
            400.0,
            [
                7.98799900744411e-8,
                1.18087560284532e-5,
                1.99699975186103e-10,
                1.47609450355665e-10,
                1.15049640112265e-10,
                2.01432400013232e-5,
                3.19519960297764e-5,
            ],
        ),
        (
            3.5e-9,
            0.7,
            0.35,
            1e-10,
            25.0,
            [
                3.79406509202931e-8,
                4.02372498067004e-7,
                1.51762603681172e-9,
                1.28759199381441e-9,
                1.09168961471558e-9,
                5.46143774940322e-7,
                9.48516273007326e-7,
            ],
        ),
    ] {
        let entry = find("nonlinear-capacitor").unwrap();
        let given = [
            ("capacitance", cj0),
            ("built-in-voltage", vj),
            ("depletion-exponent", m),
            ("constant-capacitance", c0),
        ];
        let at = output_charge(entry, &values(entry, &given), &[v], 25.0).unwrap()[0];
        let found = [
            at.charge,
            at.energy,
            at.time_related(),
            at.energy_related(),
            at.capacitance,
            at.charging_loss(),
            at.half_bridge_loss(),
        ];
        for (found, expected) in found.into_iter().zip(expected) {
            near("C_oss", found, expected, 1e-6);
        }
    }
}

/// Depletion capacitance of a one-sided junction, Sze & Ng ch. 2 (from memory): a diode with that capacitance at zero
/// bias has the capacitance, charge and energy of the depletion layer at the stated voltage.
#[test]
fn capacitance_of_a_one_sided_junction() {
    for (cj0, vbi, v, c, q, e) in [
        (1.56755004715697e-9, 2.8, 400.0, 1.3069401506335e-10, 9.65088182709557e-8, 1.38581300105655e-5),
        (3.64390869339586e-9, 0.8, 25.0, 6.41656542333641e-10, 2.72792236749825e-8, 2.61363393910141e-7),
    ] {
        let entry = find("diode").unwrap();
        let given = [("saturation-current", 1e-14), ("capacitance", cj0), ("built-in-voltage", vbi)];
        let at = output_charge(entry, &values(entry, &given), &[v], 25.0).unwrap()[0];
        near("C", at.capacitance, c, 1e-6);
        near("Q", at.charge, q, 1e-6);
        near("E", at.energy, e, 1e-6);
    }
}

/// The superjunction's charge and energy against a plain sum over its formula, written down here again; its capacitance
/// falls by two to three decades within a few tens of volts (common practice, no source), smoothly.
#[test]
fn superjunction() {
    let part = ship("mosfet-sj-620v-49m");
    let n = |key: &str| part.values.number(key);
    let c = |v: f64| {
        let depletion = (n("drain-source-capacitance") + n("gate-drain-capacitance"))
            / (1.0 + v / n("built-in-voltage")).powf(n("depletion-exponent"));
        // What is stranded does not follow a small signal.
        let pillars = n("pillar-capacitance") * (1.0 - n("stranded-share")) + n("pillar-gate-capacitance");
        depletion + pillars / (1.0 + ((v - n("pillar-voltage")) / n("pillar-width")).exp())
    };
    let steps = 400_000;
    let h = 400.0 / f64::from(steps);
    let (mut q, mut e) = (0.0, 0.0);
    for k in 0..steps {
        let v = (f64::from(k) + 0.5) * h;
        q += c(v) * h;
        e += v * c(v) * h;
    }
    let at = output_charge(part.entry(), &part.values, &[100.0, 400.0], 25.0).unwrap();
    near("Qoss", at[1].charge, q, 1e-5);
    near("Eoss", at[1].energy, e, 1e-5);
    assert!(at[0].charge < at[1].charge && at[0].energy < at[1].energy);
    near("C at 400 V", at[1].capacitance, c(400.0), 1e-5);
    let curve: Vec<f64> = (0..=80)
        .map(|v| capacitances(part.entry(), &part.values, f64::from(v), 25.0).unwrap().output)
        .collect();
    assert!(curve.windows(2).all(|w| w[1] < w[0]), "{curve:?}");
    let decades = (curve[0] / curve[60]).log10();
    println!(
        "{decades:.2} decades from 0 V to 60 V; C_o(tr)/C_o(er) {:.2}",
        at[1].time_related() / at[1].energy_related()
    );
    assert!((2.0..3.0).contains(&decades), "{decades}");
    // Charge sits at low voltage, where it holds little energy: far more than of a junction (there 1.35).
    assert!(at[1].time_related() > 3.0 * at[1].energy_related());
}

/// The cascode's output capacitance, two dies and the node between them: its charge against what the engine's time
/// stepping drives into the drain while it rises, and C_iss, C_rss in order.
#[test]
fn cascode() {
    for name in ["cascode-700v-7m", "cascode-1300v-48m"] {
        let part = ship(name);
        let at = output_charge(part.entry(), &part.values, &[400.0], 25.0).unwrap()[0];
        let mut c = Circuit::new();
        // Up and down again: what comes back is the charge, what does not is leakage.
        let (up, end) = (20e-6, 40e-6);
        let wave = Wave::Points(vec![(0.0, 0.0), (up, 400.0), (end, 0.0)]);
        let (drain, source) = supply(&mut c, "drain", wave);
        let mut given = part.values.clone();
        for key in ["drain-inductance", "source-inductance", "jfet-gate-inductance"] {
            given.0.insert(key, joulestep_models::model::Value::Number(0.0));
        }
        (part.entry().build)(&mut c, "Q", &[drain, GROUND, GROUND], &given).unwrap();
        let mut setup = Setup::new(c);
        setup.steps.base = 1e-8;
        setup.channels = vec![channel("i", Probe::Branch(source, 0))];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(end, &mut memory).unwrap();
        let (t, i) = (&memory.time, column(&memory.samples, 0));
        let integral = |from: f64, to: f64| -> f64 {
            (1..t.len())
                .filter(|&k| t[k] > from && t[k] <= to)
                .map(|k| -0.5 * (i[k] + i[k - 1]) * (t[k] - t[k - 1]))
                .sum()
        };
        let charge = 0.5 * (integral(0.0, up) - integral(up, end));
        // The small signal finds the node between the dies where leakage holds it at rest; in a swing the JFET's
        // drain-source capacitance lifts it further. That is a per cent of the charge.
        near(&format!("{name}: Qoss"), at.charge, charge, 0.02);
        let low = capacitances(part.entry(), &part.values, 400.0, 25.0).unwrap();
        println!("{name}: {low:?}, Eoss {:e} J", at.energy);
        assert!(low.input > 5.0 * low.output && low.output > low.reverse && low.reverse >= 0.0);
    }
}

/// Of every switch at a blocking voltage: a capacitance from gate to drain is part of both others.
#[test]
fn capacitances_of_a_switch_are_in_order() {
    for part in of_kind("mosfet").iter().chain(&of_kind("cascode")) {
        let rated = part.rated_voltage().unwrap();
        for share in [0.0, 0.1, 0.5, 0.9] {
            let c = capacitances(part.entry(), &part.values, share * rated, 25.0).unwrap();
            assert!(
                c.input > c.reverse && c.output > c.reverse && c.reverse >= 0.0,
                "{} {share}: {c:?}",
                part.name
            );
        }
    }
}
