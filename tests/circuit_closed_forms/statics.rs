//! Operating points and charge balances of devices: a diode behind a resistor (Corless et al., Adv. Comput. Math. 5
//! (1996) 329; Banwell & Jayakumar, Electron. Lett. 36 (2000) 291), square laws (Shichman & Hodges 1968; Sedra &
//! Smith), the middle node of a cascode (derived).

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::schedule::Steps;
use joulestep_models::charge::Depletion;
use joulestep_models::devices::diode::Diode;
use joulestep_models::devices::square_law_jfet::SquareLawJfet;
use joulestep_models::devices::square_law_mosfet::SquareLawMosfet;
use joulestep_models::junction::Junction;
use joulestep_models::model::STATED_AT;

use super::run;
use crate::common::catalogued::put;
use crate::common::laws::Knee;
use crate::common::rig::{near, supply, tight, v};

fn none() -> Depletion<f64> {
    Depletion::new(0.0, 1.0, 0.5)
}

/// I = (nV_t/R)·W(…) − I_s.
#[test]
fn a_diode_behind_a_resistor() {
    let cases = [
        [5.0, 10.0, 1e-14, 1.0, 300.0, 0.418912364721144, 0.810876352788559],
        [3.4, 0.02, 1e-18, 1.6, 423.15, 38.4490611164033, 2.63101877767193],
        [0.8, 0.01, 2e-10, 1.3, 350.0, 0.140169233338099, 0.798598307666619],
    ];
    for [volt, r, saturation, n, kelvin, i, vd] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(volt));
        let anode = c.node("anode");
        let resistor = c.resistor("R", plus, anode, r).unwrap();
        // The vectors state I_s at the temperature itself: the law's own temperature stays where parts are stated.
        let diode = Diode {
            saturation,
            ideality: n * kelvin / STATED_AT,
            gap: 1.12,
            power: 3.0,
            breakdown: None,
            linear_above: 1e4,
            leakage: 0.0,
            depletion: none(),
        };
        c.law("D", "diode", &[anode, GROUND], diode, STATED_AT).unwrap();
        let run = Setup::new(c).ready().unwrap();
        near("current", run.read(&Probe::Conduction(resistor, 0)), i, 1e-7);
        near("voltage", run.read(&v(anode)), vd, 1e-7);
    }
}

/// Both regions of the square law with a resistive load.
#[test]
fn a_mosfet_with_a_resistive_load() {
    let cases = [
        [10.0, 2.0, 4.0, 2.5, 1.5, 0.0, 1.6875, 6.625],
        [10.0, 2.0, 8.0, 2.5, 1.5, 0.0, 4.69872580441254, 0.602548391174928],
        [24.0, 1.0, 10.0, 2.8, 6.0, 0.01, 23.4385809982249, 0.56141900177508],
    ];
    for [vdd, rl, vgs, threshold, k, lambda, id, vds] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(vdd));
        let (gate, _) = supply(&mut c, "gate", Wave::Constant(vgs));
        let drain = c.node("drain");
        c.resistor("RL", plus, drain, rl).unwrap();
        let law = SquareLawMosfet {
            threshold,
            k,
            lambda,
            body: Junction::new(1e-15, 0.026, 1e3, None),
            leakage: 0.0,
            cgs: 0.0,
            drain_gate: none(),
            drain_source: none(),
        };
        let m = c.law("M", "mosfet", &[drain, gate, GROUND], law, 300.0).unwrap();
        let run = Setup::new(c).ready().unwrap();
        near("current", run.read(&Probe::Conduction(m, 0)), id, 1e-6);
        near("voltage", run.read(&v(drain)), vds, 1e-6);
    }
}

fn jfet(idss: f64, pinch_off: f64, cds: f64) -> SquareLawJfet<f64> {
    let k = 2.0 * idss / (pinch_off * pinch_off);
    SquareLawJfet { pinch_off, k, lambda: 0.0, drain_gate: none(), source_gate: none(), cds }
}

/// I = I_DSS(1 − V_gs/V_p)² with V_gs = −I·R_s: the self-limited saturation current of a cascode.
#[test]
fn a_jfet_biased_by_its_source_resistor() {
    let cases = [
        [120.0, -8.0, 0.02, 77.8402017205783, -1.55680403441157, 0.0333333333333333],
        [500.0, -12.0, 0.001, 462.223238211354, -0.462223238211354, 0.012],
        [0.012, -4.0, 220.0, 0.00567660602157175, -1.24885332474578, 166.666666666667],
    ];
    for [idss, vp, rs, i, vgs, r_on] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(100.0));
        let source = c.node("source");
        c.resistor("Rs", source, GROUND, rs).unwrap();
        let j = c.law("J", "jfet", &[plus, GROUND, source], jfet(idss, vp, 0.0), 300.0).unwrap();
        let run = Setup::new(c).ready().unwrap();
        near("current", run.read(&Probe::Conduction(j, 0)), i, 1e-6);
        near("gate", -run.read(&v(source)), vgs, 1e-6);
        // |V_p|/(2·I_DSS) for small v_ds and v_gs = 0: the secant at a millionth of a volt has 1e-7 of curvature.
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(1e-6));
        let j = c.law("J", "jfet", &[plus, GROUND, GROUND], jfet(idss, vp, 0.0), 300.0).unwrap();
        let run = Setup::new(c).ready().unwrap();
        near("on-resistance", 1e-6 / run.read(&Probe::Conduction(j, 0)), r_on, 1e-6);
    }
}

/// The middle node of a blocking cascode where the MOSFET's leakage puts it: |V_p|(1 − √(I/I_DSS)).
#[test]
fn leakage_sets_the_middle_node() {
    for [idss, vp, leak, vm] in [[240.0, -7.0, 1e-6, 6.99954815194294], [60.0, -12.0, 1e-4, 11.9845080666152]]
    {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(400.0));
        let middle = c.node("middle");
        c.law("J", "jfet", &[plus, GROUND, middle], jfet(idss, vp, 0.0), 300.0).unwrap();
        let wave = c.wave(Wave::Constant(leak));
        c.current_source("leakage", middle, GROUND, wave).unwrap();
        let run = Setup::new(c).ready().unwrap();
        near("middle", run.read(&v(middle)), vm, 1e-9);
    }
}

/// After pinch-off the drain rises on its own and the capacitances divide its charge; above the breakdown
/// voltage the rest goes through the MOSFET's avalanche.
#[test]
fn charge_balance_sets_the_middle_node_and_its_avalanche() {
    let cases = [
        [400.0, 7.0, 3e-11, 9e-10, 9e-10, 0.45, 28.0, 17.0029964872663, 0.0, 0.0],
        [800.0, 7.0, 6e-11, 7e-10, 6e-10, 0.45, 28.0, 28.0, 2.85879843888162e-08, 8.00463562886853e-07],
        [1000.0, 6.0, 9e-11, 5e-10, 4e-10, 0.5, 25.0, 25.0, 7.65893430165449e-08, 1.91473357541362e-06],
    ];
    for [vd, vm0, cds, cgs, cm, exponent, bv, vm, q_av, e_av] in cases {
        let mut c = Circuit::new();
        // The last 10 V come slowly: at the corner the clamp's current ends at once, and a step that begins there
        // carries a quarter of its length of the old one.
        let rise = vec![(1e-7, vm0), (1.1e-6, vd - 10.0), (2.1e-6, vd)];
        let (drain, _) = supply(&mut c, "drain", Wave::Points(rise));
        let one = c.wave(Wave::Constant(1.0));
        let middle = c.node("middle");
        // Pinched off: only its capacitances are left of the JFET. It stands for the stated voltage, too.
        c.capacitor("CdsJ", drain, middle, cds, None).unwrap();
        c.capacitor("CgsJ", middle, GROUND, cgs, Some(vm0)).unwrap();
        let mosfet = SquareLawMosfet {
            threshold: 3.0,
            k: 10.0,
            lambda: 0.0,
            body: Junction::new(1e-30, 0.026, 1e3, None),
            leakage: 0.0,
            cgs: 0.0,
            drain_gate: none(),
            drain_source: Depletion::new(cm, 0.7, exponent),
        };
        c.law("M", "mosfet", &[middle, GROUND, GROUND], mosfet, 300.0).unwrap();
        let knee = Knee { at: bv, g_on: 1e4, g_off: 0.0 };
        let avalanche = c.law("avalanche", "clamp", &[middle, GROUND], knee, 300.0).unwrap();
        let mut setup = Setup::new(c);
        setup.steps = Steps { base: 2e-9, finest: 10, hold_off: 2 };
        setup.tolerance = Some(tight());
        let i = Probe::Conduction(avalanche, 0);
        setup.integrals = vec![(i.clone(), Probe::Wave(one)), (i, v(middle))];
        let (run, _) = run(setup, 2.2e-6);
        near("middle", run.read(&v(middle)), vm, 1e-6);
        assert!((run.integral(0) - q_av).abs() < 1e-15, "{:e} {q_av:e}", run.integral(0));
        near("avalanche energy", run.integral(1), e_av, 1e-6);
    }
}

/// Shockley's diode lets no current pass at equilibrium: behind a reversed one and 0.1 mΩ, a capacitor that nothing
/// else feeds is at the supply's voltage. Conductances from 10⁴ to 10⁻¹² S meet here, so that rounding alone moves the
/// node by tens of microvolts in every iteration: the search must end all the same.
#[test]
fn a_capacitor_behind_a_reversed_diode_is_at_the_supply() {
    let mut c = Circuit::new();
    let (plus, _) = supply(&mut c, "plus", Wave::Constant(12.0));
    let (b, d) = (c.node("b"), c.node("d"));
    put(&mut c, "diode", "D", &[b, plus], &[("saturation-current", 10e-9)]);
    c.resistor("R", b, d, 1e-4).unwrap();
    c.capacitor("C", d, GROUND, 15.6e-6, None).unwrap();
    let run = Setup::new(c).ready().expect("an operating point");
    near("voltage(d)", run.read(&v(d)), 12.0, 1e-4);
}
