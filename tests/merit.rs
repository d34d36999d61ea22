//! Figures of merit: products against their definitions, and against textbook forms where a part's model has one.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_models::capacitances::OutputCharge;
use joulestep_models::merit::parallel::{Duty, needed, steady};
use joulestep_models::merit::recovery::{Ramp, ramp};
use joulestep_models::merit::{Conditions, FIGURES, Figures, MeritError, figures, gate_on};

use crate::common::catalogued::shipped;
use crate::common::rig::near;

fn at(celsius: f64) -> Conditions {
    Conditions { celsius, ..Conditions::default() }
}

/// R·Q and R·E as the trade uses them; Huang, IEEE Electron Device Lett. 25 (2004) 298, doi 10.1109/LED.2004.826533
/// (from memory).
#[test]
fn products() {
    struct Case(f64, f64, f64, f64, f64, f64, [f64; 4]);
    for Case(
        resistance,
        gate,
        charge,
        energy,
        voltage,
        area,
        [by_gate, by_energy, by_capacitance, specific],
    ) in [
        Case(0.008, 7.5e-8, 1.6e-7, 1.8e-5, 400.0, 12.0, [6e-10, 1.44e-07, 3.2e-12, 0.96]),
        Case(0.06, 1.2e-8, 4.5e-8, 7e-6, 400.0, 3.0, [7.2e-10, 4.2e-07, 6.75e-12, 1.8]),
    ] {
        let f = Figures {
            part: String::new(),
            celsius: 25.0,
            current: 1.0,
            gate_on: Some(12.0),
            resistance: Some(resistance),
            area: Some(1e-6 * area),
            output: OutputCharge { voltage, capacitance: 0.0, charge, energy },
            gate_charge: Some(gate),
            recovery_charge: charge,
            recovery_current: 0.0,
            diode_drop: 1.0,
            thermal_resistance: None,
        };
        let of = |key: &str| (FIGURES.iter().find(|x| x.key == key).unwrap().value)(&f).unwrap();
        near("R·Q_g", of("on_resistance_gate_charge"), by_gate, 1e-12);
        near("R·E_oss", of("on_resistance_output_energy"), by_energy, 1e-12);
        near("R·C_o(tr)", of("on_resistance_output_capacitance"), by_capacitance, 1e-12);
        // mΩ·cm² in Ω·m².
        near("R·A", of("on_resistance_area"), 1e-7 * specific, 1e-12);
        // RQoss of the vector stands for a diode whose charge is all capacitive.
        near("R·Q_rr", of("on_resistance_recovery_charge"), resistance * charge, 1e-12);
    }
}

/// The charge into the gate is what a gate current brings: the same by ∫ i_G dt in a run that turns the part on, with
/// the leakage too small to be seen.
#[test]
fn gate_charge_is_the_integral_of_the_gate_current() {
    use joulestep_engine::circuit::probe::Probe;
    use joulestep_engine::circuit::wave::Wave;
    use joulestep_engine::run::setup::Setup;
    for name in ["cascode-700v-22m", "mosfet-sic-700v-12m"] {
        let part = shipped(name);
        let found = figures(&part, &at(25.0)).unwrap();
        let on = found.gate_on.unwrap();
        // The drain is a current source clamped at 400 V by a near-ideal diode, the gate a slow ramp.
        let mut c = Circuit::<f64>::new();
        let [drain, gate, bus] = ["d", "g", "b"].map(|n| c.node(n));
        let wave = c.wave(Wave::Points(vec![(1e-6, 0.0), (101e-6, on)]));
        let source = c.voltage_source("Vg", gate, GROUND, wave).unwrap();
        let wave = c.wave(Wave::Constant(400.0));
        c.voltage_source("Vb", bus, GROUND, wave).unwrap();
        let wave = c.wave(Wave::Constant(found.current));
        c.current_source("I", bus, drain, wave).unwrap();
        let clamp = joulestep_models::devices::diode::Diode {
            saturation: 1e-9,
            ideality: 1.0,
            gap: 1.12,
            power: 3.0,
            breakdown: None,
            linear_above: 1e3,
            leakage: 0.0,
            depletion: joulestep_models::charge::Depletion::new(0.0, 1.0, 0.5),
        };
        c.law("D", "diode", &[drain, bus], clamp, 298.15).unwrap();
        (part.entry().build)(&mut c, "Q", &[drain, gate, GROUND], &part.values).unwrap();
        let mut setup = Setup::new(c);
        let current = Probe::Sum(vec![(-1.0, Probe::Branch(source, 0))]);
        let one = setup.board.add_line("one");
        // ∫ i_G dt as ∫ i_G·1 dt.
        setup.controllers.push(Box::new(
            joulestep_engine::control::sequence::Sequence::new(
                "s",
                vec![joulestep_engine::control::sequence::ScheduledEvent {
                    at: 0.0,
                    subject: String::new(),
                    note: String::new(),
                    deed: crate::common::rig::raise(one),
                }],
            )
            .unwrap(),
        ));
        setup.integrals = vec![(current, Probe::Line(one))];
        let mut run = setup.ready().unwrap();
        run.advance(110e-6, &mut ()).unwrap();
        near(name, run.integral(0), found.gate_charge.unwrap(), 5e-3);
    }
}

/// A diode without stored charge recovers the charge of its capacitance alone, a current that falls at any rate; and
/// the output charge is its integral (definitions of IEC 60747-8 and JESD24, from memory).
#[test]
fn recovery_of_a_majority_carrier_diode_is_its_output_charge() {
    let part = shipped("diode-sic-700v-50a");
    for rate in [3e8, 1e9, 3e9] {
        let r = Ramp { current: 20.0, rate, voltage: 400.0, gate: 0.0, celsius: 25.0 };
        let found = ramp(&part, &r).unwrap();
        let volts = [400.0];
        let q =
            joulestep_models::capacitances::output_charge(part.entry(), &part.values, &volts, 25.0).unwrap();
        // The charge from the forward drop to 0 V and the clamp's own drop come on top.
        near(&format!("{rate:e} A/s"), found.charge, q[0].charge, 0.05);
        assert!(found.charge > q[0].charge);
    }
}

/// A stored-charge diode: more charge at a faster ramp and when hot (Lauritzen & Ma 1991).
#[test]
fn recovery_grows_with_rate_and_temperature() {
    let part = shipped("diode-si-600v-25a");
    let by = |rate, celsius| {
        ramp(&part, &Ramp { current: 30.0, rate, voltage: 400.0, gate: 0.0, celsius }).unwrap().charge
    };
    let (slow, fast, hot) = (by(3e8, 25.0), by(1e9, 25.0), by(1e9, 125.0));
    assert!(slow < fast && fast < hot, "{slow:e} {fast:e} {hot:e}");
}

/// A resistance that grows as T^n on a heatsink has its steady state where loss and heat removed
/// are equal: the closed form of one device is solved again by bisection on T_j = T_s + R·I²·R_on(T_j).
#[test]
fn number_in_parallel_is_the_least_that_stays_cool() {
    let part = shipped("cascode-700v-22m");
    let gate = gate_on(&part, &Conditions::default()).unwrap().unwrap();
    let duty = Duty { current: 200.0, heatsink: 80.0, interface: 0.3, hottest: None };
    let found = needed(&part, gate, &duty).unwrap().unwrap();
    assert!(found.number > 1 && found.junction <= 175.0, "{found:?}");
    assert_eq!(steady(&part, gate, &duty, found.number - 1).unwrap(), None);
    let case = joulestep_models::merit::thermal_resistance(&part).unwrap();
    let misses = |celsius: f64| {
        let i = found.current;
        let r =
            joulestep_models::operating::resistance(part.entry(), &part.values, gate, i, celsius).unwrap();
        duty.heatsink + (case + duty.interface) * i * i * r - celsius
    };
    let (mut low, mut high) = (duty.heatsink, 175.0);
    while high - low > 1e-6 {
        let middle = 0.5 * (low + high);
        if misses(middle) > 0.0 { low = middle } else { high = middle }
    }
    assert!((found.junction - low).abs() < 1e-3, "{} and {low}", found.junction);
    // More current than all the devices in the world carry from a heatsink at T_j,max.
    let hot = Duty { heatsink: 175.0, ..duty };
    assert_eq!(needed(&part, gate, &hot).unwrap(), None);
}

#[test]
fn what_the_part_does_not_allow_is_refused() {
    let part = shipped("cascode-700v-22m");
    let refused = |c: Conditions| figures(&part, &c).unwrap_err();
    let report = refused(at(200.0)).to_string();
    assert!(
        report.contains("cascode-700v-22m") && report.contains("200") && report.contains("175"),
        "{report}"
    );
    assert!(matches!(refused(Conditions { voltage: 900.0, ..at(25.0) }), MeritError::Limit { .. }));
    assert!(matches!(refused(Conditions { gate_on: Some(30.0), ..at(25.0) }), MeritError::Limit { .. }));
    let varistor = shipped("varistor-400v-rail");
    assert!(matches!(figures(&varistor, &at(25.0)).unwrap_err(), MeritError::Lacks { .. }));
}
