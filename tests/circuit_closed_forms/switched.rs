//! Capacitors and inductors behind switches and steps (derived; the snubbed ring by matrix
//! exponential, method of McMurray, IEEE Trans. Ind. Appl. IA-8 (1972) 593, from memory).

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::sequence::Deed;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::schedule::Steps;

use super::{energies, run, stated};
use crate::common::rig::{column, near, peak, sequence, supply, tight, v};

/// L − C_oss ring with an R-C snubber across C_oss, excited by V_dc and I₀; without the snubber
/// V_dc + √(V_dc² + I₀²L/C).
#[test]
fn a_snubber_limits_the_peak() {
    let cases = [
        [
            400.0,
            20.0,
            4e-8,
            1.2e-10,
            12.0,
            4.7e-10,
            584.626923740464,
            8.23763504695016e-09,
            941.602560309064,
            7.52e-05,
        ],
        [
            48.0,
            10.0,
            5e-9,
            8e-10,
            2.2,
            2.2e-9,
            71.3649190609228,
            7.21283520194143e-09,
            102.120236510939,
            5.0688e-06,
        ],
    ];
    for [vdc, i0, henry, coss, rs, cs, v_peak, t_peak, v_bare, e_cycle] in cases {
        for snubbed in [true, false] {
            let mut c = Circuit::new();
            let (plus, _) = supply(&mut c, "plus", Wave::Constant(vdc));
            let (drain, inner) = (c.node("drain"), c.node("snubber"));
            c.inductor("L", plus, drain, henry, 0.0, Some(i0)).unwrap();
            c.capacitor("Coss", drain, GROUND, coss, Some(0.0)).unwrap();
            if snubbed {
                c.resistor("Rs", drain, inner, rs).unwrap();
                c.capacitor("Cs", inner, GROUND, cs, Some(0.0)).unwrap();
            } else {
                c.resistor("Rs", inner, GROUND, rs).unwrap();
            }
            let end = 3.0 * t_peak;
            let (_, memory) = run(stated(c, end, 3000, &[v(drain)]), end);
            let (at, top) = peak(&memory.time, &column(&memory.samples, 0));
            if snubbed {
                near("peak", top, v_peak, 1e-4);
                near("peak at", at, t_peak, 2e-3);
            } else {
                near("peak without", top, v_bare, 1e-6);
            }
        }
        // C_s·V² per full swing up and down, whatever the resistance: 40 time constants for each.
        let mut c = Circuit::new();
        let tau = rs * cs;
        let swing = vec![(tau, 0.0), (tau, vdc), (41.0 * tau, vdc), (41.0 * tau, 0.0)];
        let (plus, _) = supply(&mut c, "plus", Wave::Points(swing));
        let inner = c.node("snubber");
        c.resistor("Rs", plus, inner, rs).unwrap();
        c.capacitor("Cs", inner, GROUND, cs, Some(0.0)).unwrap();
        let (run, _) = run(stated(c, 81.0 * tau, 81 * 50, &[]), 81.0 * tau);
        near("heat of a swing", energies(&run, "Rs").0, e_cycle, 1e-6);
    }
}

/// E_R = C(V − v₀)²/2 for one step, divided by N for N equal ones, independent of R.
#[test]
fn precharge_loses_half_whatever_the_resistance() {
    let cases = [
        [400.0, 0.0, 0.001, 10.0, 1.0, 80.0, 80.0, 160.0],
        [400.0, 0.0, 0.001, 0.1, 4.0, 20.0, 80.0, 100.0],
        [48.0, 12.0, 0.01, 0.5, 3.0, 2.16, 10.8, 12.96],
    ];
    for [volt, v0, farad, r, n, e_r, e_c, e_source] in cases {
        let span = 15.0 * r * farad;
        let mut points = vec![(0.0, v0 + (volt - v0) / n)];
        for k in 1..n as usize {
            let at = k as f64 * span;
            points
                .extend([(at, v0 + (volt - v0) * k as f64 / n), (at, v0 + (volt - v0) * (k + 1) as f64 / n)]);
        }
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Points(points));
        let node = c.node("bank");
        c.resistor("R", plus, node, r).unwrap();
        c.capacitor("C", node, GROUND, farad, Some(v0)).unwrap();
        let (run, _) = run(stated(c, span, 600, &[]), n * span);
        near("heat", energies(&run, "R").0, e_r, 1e-3);
        near("stored", energies(&run, "C").2, e_c, 1e-3);
        near("delivered", energies(&run, "source-plus").1, e_source, 1e-3);
        near("closure", 1.0 + run.ledger().relative(), 1.0, 1e-6);
    }
}

/// Two capacitors closed on each other; the voltage is charge balance, the loss C₁C₂/(C₁+C₂)·ΔV²/2 whatever the
/// switch. Resolved (switch of 10 Ω), the loss is the switch's heat.
#[test]
fn two_capacitors_share_their_charge() {
    let cases = [
        [1e-5, 100.0, 5e-6, 20.0, 73.3333333333333, 0.0106666666666667],
        [0.001, 400.0, 0.001, 0.0, 200.0, 40.0],
    ];
    for [c1, v1, c2, v2, volt, lost] in cases {
        let tau = 10.0 * c1 * c2 / (c1 + c2);
        let (mut setup, nodes) = shared(c1, v1, c2, v2, 0.1);
        setup.steps = crate::common::rig::fixed(tau / 200.0);
        let (run, _) = run(setup, 31.0 * tau);
        nodes.iter().for_each(|&n| near("v", run.read(&v(n)), volt, 1e-9));
        near("heat", energies(&run, "switch").0, lost, 1e-9);
    }
}

/// The same with a switch of 1 mΩ, whose time constant of 3.3 ns is a twentieth of the shortest step: the charge is
/// shared at once.
#[test]
fn the_charge_is_shared_at_once_through_a_hard_switch() {
    let (c1, v1, c2, v2, volt) = (1e-5, 100.0, 5e-6, 20.0, 73.3333333333333);
    let (mut setup, nodes) = shared(c1, v1, c2, v2, 1e3);
    setup.steps = Steps { base: 1e-6, finest: 4, hold_off: 2 };
    let (run, _) = run(setup, 1e-3);
    nodes.iter().for_each(|&n| near("v", run.read(&v(n)), volt, 1e-9));
    let stored = energies(&run, "C1").2 + energies(&run, "C2").2;
    near("lost", -stored, 0.0106666666666667, 1e-9);
    println!("switch's heat {:e} J of it", energies(&run, "switch").0);
}

fn shared(
    c1: f64,
    v1: f64,
    c2: f64,
    v2: f64,
    on: f64,
) -> (Setup<f64>, [joulestep_engine::circuit::graph::NodeId; 2]) {
    let mut c = Circuit::new();
    let nodes = ["a", "b"].map(|n| c.node(n));
    c.capacitor("C1", nodes[0], GROUND, c1, Some(v1)).unwrap();
    c.capacitor("C2", nodes[1], GROUND, c2, Some(v2)).unwrap();
    // Direct current needs a way to ground; these discharge nothing within the run.
    c.resistor("bleed-a", nodes[0], GROUND, 1e15).unwrap();
    c.resistor("bleed-b", nodes[1], GROUND, 1e15).unwrap();
    let choice = c.choice(vec![0.0, on], 0);
    c.chosen_resistor("switch", "switch", nodes[0], nodes[1], choice).unwrap();
    let mut setup = Setup::new(c);
    setup.start = joulestep_engine::run::setup::Start::Stated;
    setup.tolerance = Some(tight());
    sequence(&mut setup, &[(1e-6, Deed::Choose(choice, 1))]);
    (setup, nodes)
}

/// V_dc + L·di/dt while a current source brings the current down in a straight line (an inductor in series with a
/// current source: index 2); and the peak V_dc + I·√(L/C) of the ideal switch.
#[test]
fn overvoltage_of_a_stray_inductance() {
    let cases = [
        [400.0, 50.0, 3e-8, 2.5e-8, 3e-10, 460.0, 900.0],
        [48.0, 80.0, 3e-9, 8e-9, 1.5e-9, 78.0, 161.137084989848],
    ];
    for [vdc, i, henry, fall, farad, v_lin, v_lc] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(vdc));
        let node = c.node("drain");
        c.inductor("L", plus, node, henry, 0.0, None).unwrap();
        let wave = c.wave(Wave::Points(vec![(fall, i), (2.0 * fall, 0.0)]));
        c.current_source("load", node, GROUND, wave).unwrap();
        let mut setup = Setup::new(c);
        setup.steps = crate::common::rig::fixed(fall / 50.0);
        let mut run = setup.ready().unwrap();
        let mut at = |t: f64| {
            run.advance(t, &mut ()).unwrap();
            run.read(&v(node))
        };
        near("before", at(0.99 * fall), vdc, 1e-9);
        near("during", at(1.5 * fall), v_lin, 1e-9);
        near("after", at(3.0 * fall), vdc, 1e-9);

        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(vdc));
        let node = c.node("drain");
        let l = c.inductor("L", plus, node, henry, 0.0, Some(i)).unwrap();
        c.capacitor("C", node, GROUND, farad, Some(vdc)).unwrap();
        // A quarter of the period later, in the peak itself.
        let quarter = 0.5 * std::f64::consts::PI * (henry * farad).sqrt();
        let (run, _) = super::run(stated(c, quarter, 500, &[]), quarter);
        near("ideal switch", run.read(&v(node)), v_lc, 1e-9);
        assert!(run.read(&Probe::Branch(l, 0)).abs() < 1e-6 * i);
    }
}
