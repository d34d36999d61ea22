//! Ramps, gates and soft starts: closed forms (derived; delay and slope of a gate: Baliga, Fundamentals of Power
//! Semiconductor Devices, ch. 6, and Mohan, Undeland & Robbins, ch. 22, from memory).

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::Setup;

use super::{energies, run, stated};
use crate::common::rig::{fixed, near, supply, v};

/// A switch lets the voltage of C ∥ R rise in a straight line; what it takes itself is CV²/2 + V²T/6R, most at
/// v* = V/2 − RCV/2T (0 where that is negative). The switch is a source that drops V − v.
#[test]
fn a_soft_start_heats_the_switch() {
    let cases = [
        [48.0, 0.0022, 50.0, 0.02, 2.688, 253.44, 0.0],
        [800.0, 0.0001, 400.0, 0.1, 58.6666666666667, 784.0, 240.0],
    ];
    for [volt, farad, r, t, energy, p_peak, v_at_peak] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(volt));
        let node = c.node("load");
        let drop = c.wave(Wave::Points(vec![(0.0, volt), (t, 0.0)]));
        let switch = c.voltage_source("switch", plus, node, drop).unwrap();
        c.capacitor("C", node, GROUND, farad, Some(0.0)).unwrap();
        c.resistor("R", node, GROUND, r).unwrap();
        let mut setup = stated(c, t, 500, &[]);
        let (across, through) = (Probe::Voltage(plus, node), Probe::Branch(switch, 0));
        setup.integrals = vec![(across.clone(), through.clone())];
        let mut run = setup.ready().unwrap();
        run.advance(t * v_at_peak / volt, &mut ()).unwrap();
        near("power at its peak", run.read(&across) * run.read(&through), p_peak, 1e-6);
        near("voltage there", 1.0 + run.read(&v(node)), 1.0 + v_at_peak, 1e-6);
        run.advance(t, &mut ()).unwrap();
        near("energy", run.integral(0), energy, 1e-6);
        near("by the ledger", -energies(&run, "switch").1, energy, 1e-6);
    }
}

/// t_d = R_g·C_iss·ln(V/(V − V_th)); the slope (V − V_pl)/(R_g·C_gd) while the gate is held at V_pl (here by a
/// transistor of endless gain: a controlled source of gain 10¹¹); the source gives Q·V whatever R_g.
#[test]
fn a_gate_is_charged_through_its_resistor() {
    let cases = [
        [12.0, 5.0, 1.5e-9, 2e-11, 4.5, 6.0, 3e-8, 3.52502721934302e-09, 60000000000.0, 3.6e-07],
        [10.0, 2.0, 9e-10, 8e-12, 2.0, 3.2, 1.2e-8, 4.01658392365578e-10, 425000000000.0, 1.2e-07],
    ];
    for [volt, r, ciss, cgd, vth, vpl, qg, t_d, slope, energy] in cases {
        let mut c = Circuit::new();
        let (drive, _) = supply(&mut c, "drive", Wave::Constant(volt));
        let gate = c.node("gate");
        c.resistor("Rg", drive, gate, r).unwrap();
        c.capacitor("Ciss", gate, GROUND, ciss, Some(0.0)).unwrap();
        let (threshold, _) = run(stated(c, t_d, 300, &[]), t_d);
        let found = threshold.read(&v(gate));
        // A voltage off by δ is a delay off by δ/(dv/dt).
        near("delay", t_d + (vth - found) / ((volt - vth) / (r * ciss)), t_d, 1e-9);

        // Voltages counted from the plateau: the transistor's huge gain then amplifies no rounding.
        let mut c = Circuit::new();
        let (drive, _) = supply(&mut c, "drive", Wave::Constant(volt - vpl));
        let (gate, drain) = (c.node("gate"), c.node("drain"));
        c.resistor("Rg", drive, gate, r).unwrap();
        c.capacitor("Cgd", gate, drain, cgd, Some(0.0)).unwrap();
        c.voltage_controlled_voltage("transistor", [drain, GROUND, gate, GROUND], -1e11).unwrap();
        let (falling, _) = run(stated(c, 1e-9, 100, &[]), 1e-9);
        near("slope", -falling.read(&v(drain)) / 1e-9, slope, 1e-9);

        for r in [r, 20.0 * r] {
            let mut c = Circuit::new();
            let (drive, _) = supply(&mut c, "drive", Wave::Constant(volt));
            let gate = c.node("gate");
            c.resistor("Rg", drive, gate, r).unwrap();
            c.capacitor("Cg", gate, GROUND, qg / volt, Some(0.0)).unwrap();
            let end = 40.0 * r * qg / volt;
            let (full, _) = run(stated(c, end, 800, &[]), end);
            near("energy", energies(&full, "source-drive").1, energy, 1e-9);
        }
    }
}

/// The gate behind R_g while the drain rises with slope s: R_g·C_gd·s·(1 − e^{−t/R_g(C_gs + C_gd)}).
#[test]
fn a_rising_drain_lifts_the_gate() {
    let cases = [
        [5.0, 1.5e-11, 1e-9, 400.0, 5e10, 2.97477257403581],
        [50.0, 5e-12, 3e-9, 650.0, 1e11, 1.05847034176816],
    ];
    for [r, cgd, cgs, volt, s, v_end] in cases {
        let mut c = Circuit::new();
        let t = volt / s;
        let (drain, _) = supply(&mut c, "drain", Wave::Points(vec![(t, 0.0), (2.0 * t, volt)]));
        let gate = c.node("gate");
        c.resistor("Rg", gate, GROUND, r).unwrap();
        c.capacitor("Cgd", drain, gate, cgd, None).unwrap();
        c.capacitor("Cgs", gate, GROUND, cgs, None).unwrap();
        let mut setup = Setup::new(c);
        setup.steps = fixed(t / 200.0);
        let (run, _) = run(setup, 2.0 * t);
        near("gate", run.read(&v(gate)), v_end, 1e-6);
    }
}
