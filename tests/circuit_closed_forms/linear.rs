//! R, L, C (textbook; derived).

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::step::method::{ESDIRK4, TR_BDF2};

use super::{energies, run, stated};
use crate::common::rig::{column, near, peak, supply, v};

/// v = V − (V − v₀)e^{−t/RC}, i, ∫i²R, Cv²/2; both methods (order 2 with ten times the steps).
#[test]
fn a_capacitor_charges_through_a_resistor() {
    let cases = [
        [
            400.0,
            47.0,
            0.00047,
            0.0,
            0.02,
            238.245865493934,
            3.4415773299163,
            31.4513659929955,
            13.3388567198641,
        ],
        [
            12.0,
            1e3,
            1e-6,
            5.0,
            0.0007,
            8.52390287346013,
            0.00347609712653987,
            1.84583743834306e-05,
            3.6328460098091e-05,
        ],
    ];
    for [volt, r, farad, v0, t, v_end, i_end, e_r, e_c] in cases {
        for (method, n) in [(&ESDIRK4, 200), (&TR_BDF2, 2000)] {
            let mut c = Circuit::new();
            let (plus, source) = supply(&mut c, "plus", Wave::Constant(volt));
            let node = c.node("out");
            c.resistor("R", plus, node, r).unwrap();
            c.capacitor("C", node, GROUND, farad, Some(v0)).unwrap();
            let mut setup = stated(c, t, n, &[]);
            setup.method = method;
            let (run, _) = run(setup, t);
            near("v", run.read(&v(node)), v_end, 1e-6);
            near("i", -run.read(&Probe::Branch(source, 0)), i_end, 1e-6);
            near("heat", energies(&run, "R").0, e_r, 1e-6);
            near("stored", energies(&run, "C").2 + 0.5 * farad * v0 * v0, e_c, 1e-6);
            assert!(run.ledger().relative() < 1e-7, "{}", run.ledger().relative());
        }
    }
}

/// i = V/R + (i₀ − V/R)e^{−tR/L}.
#[test]
fn a_current_rises_through_an_inductor() {
    let cases = [
        [
            48.0,
            0.25,
            1e-4,
            0.0,
            2e-4,
            75.5461133351744,
            29.1134716662064,
            0.285360762002551,
            0.107353861962101,
        ],
        [
            800.0,
            0.02,
            5e-6,
            60.0,
            1.2e-6,
            251.252626491518,
            794.97494747017,
            0.157819705797216,
            0.000654995899084032,
        ],
    ];
    for [volt, r, henry, i0, t, i_end, v_l, e_l, e_r] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(volt));
        let node = c.node("middle");
        c.resistor("R", plus, node, r).unwrap();
        let l = c.inductor("L", node, GROUND, henry, 0.0, Some(i0)).unwrap();
        let (run, _) = run(stated(c, t, 200, &[]), t);
        near("i", run.read(&Probe::Branch(l, 0)), i_end, 1e-6);
        near("v", run.read(&v(node)), v_l, 1e-6);
        near("stored", energies(&run, "L").2 + 0.5 * henry * i0 * i0, e_l, 1e-6);
        near("heat", energies(&run, "R").0, e_r, 1e-6);
    }
}

/// Step response of R-L-C in series, all three dampings.
#[test]
fn series_resonance_in_all_dampings() {
    let cases = [
        [400.0, 2.0, 5e-8, 2e-9, 5e-8, 402.217780729636, -29.515857545842],
        [48.0, 0.05, 1e-6, 1e-5, 2e-5, 18.8434947450437, 1.99236313376499],
        [100.0, 20.0, 1e-6, 1e-8, 2e-7, 59.3994150290162, 2.70670566473225],
        [100.0, 100.0, 1e-6, 1e-8, 1e-6, 63.2101270591141, 0.371653189043668],
        [28.0, 12.0, 2e-6, 4.7e-6, 1e-5, 4.49179333091838, 1.96484074957535],
    ];
    let peaks = [(610.648239732121, 3.20637457540466e-08), (85.4144318131869, 9.96578014243943e-06)];
    for (k, [volt, r, henry, farad, t, v_end, i_end]) in cases.into_iter().enumerate() {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(volt));
        let node = c.node("out");
        let l = c.inductor("L", plus, node, henry, r, Some(0.0)).unwrap();
        c.capacitor("C", node, GROUND, farad, Some(0.0)).unwrap();
        let (run, memory) = run(stated(c, t, 1000, &[v(node)]), t);
        near("v", run.read(&v(node)), v_end, 1e-5);
        near("i", run.read(&Probe::Branch(l, 0)), i_end, 1e-5);
        if let Some(&(v_peak, t_peak)) = peaks.get(k) {
            let (at, top) = peak(&memory.time, &column(&memory.samples, 0));
            near("peak", top, v_peak, 1e-5);
            near("peak at", at, t_peak, 1e-5);
        }
    }
}
