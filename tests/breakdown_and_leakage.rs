//! Laws of large currents and high fields: velocity saturation, breakdown with its space charge, leakage of a Schottky
//! barrier, limits of a gate.

use std::path::Path;

use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_engine::circuit::law::Law;
use joulestep_models::charge::Depletion;
use joulestep_models::devices::mosfet::{FastMosfet, Mosfet};
use joulestep_models::emission::BarrierLeakage;
use joulestep_models::junction::{Breakdown, Junction, Leakage};
use joulestep_models::operating::Feed;
use joulestep_models::part::{Part, Technology};

use crate::common::rig::near;
use crate::common::technologies::{drift_doping, of_kind, on_gate, rest, square_millimetres};

/// Elementary charge (C), reduced Planck constant (J·s), mass of the electron (kg), Boltzmann's constant (J/K): CODATA
/// 2018.
const Q: f64 = 1.602_176_634e-19;
const HBAR: f64 = 1.054_571_817e-34;
const MASS: f64 = 9.109_383_701_5e-31;
const K: f64 = 1.380_649e-23;

/// Electrons' highest velocity in 4H-SiC, m/s: 4.77e7/(1 + 0.6·exp(T/600)) cm/s (Roschke & Schwierz, IEEE Trans.
/// Electron Devices 48 (2001) 1442; from memory).
fn fastest(kelvin: f64) -> f64 {
    4.77e5 / (1.0 + 0.6 * (kelvin / 600.0).exp())
}

fn channel(beta: f64, threshold: f64, exponent: f64, velocity_ratio: f64) -> FastMosfet<f64> {
    let none = Depletion::new(0.0, 1.0, 0.5);
    FastMosfet {
        die: Mosfet {
            threshold,
            threshold_drift: 0.0,
            slope_factor: 1.0,
            on_resistance: 1.0 / (beta * (20.0 - threshold)),
            on_gate: 20.0,
            resistance_exponent: exponent,
            velocity_ratio,
            body: Some([1e-40, 1.0, 1.12]),
            breakdown: None,
            leakage: Leakage { conductance: 0.0, energy: 0.6, stated_at: 298.15 },
            linear_above: 1e3,
            cgs: 0.0,
            drain_gate: none,
            drain_source: none,
        },
    }
}

/// Sodini, Ko & Moll, IEEE Trans. Electron Devices 31 (1984) 1386 (from memory): with V = 2·v·L/μ a channel saturates at
/// β·A²/2·V/(A + V) from A·V/(A + V) on, A the overdrive; hot, V goes as v/μ.
#[test]
fn a_channel_whose_carriers_reach_their_highest_velocity() {
    let (length, mobility, beta, threshold, exponent) = (0.5e-6, 60e-4, 4.0, 3.0, 0.4);
    let reach = |kelvin: f64| 2.0 * fastest(kelvin) * length / (mobility * (kelvin / 298.15).powf(-exponent));
    let law = channel(beta, threshold, exponent, (20.0 - threshold) / reach(298.15));
    for (gate, kelvin) in [(20.0, 298.15), (12.0, 298.15), (8.0, 298.15), (18.0, 448.15)] {
        let at = law.at_temperature(kelvin);
        let current = |volts: f64, gate: f64| FastMosfet::flow(&at, [volts, gate]).i[0];
        let (over, reach) = (gate - threshold, reach(kelvin));
        let closes = over * reach / (over + reach);
        let warm = beta * (kelvin / 298.15f64).powf(-exponent);
        near("saturated", current(600.0, gate), 0.5 * warm * over * closes, 1e-6);
        near("at its end", current(closes, gate), 0.5 * warm * over * closes, 1e-4);
        assert!(current(0.8 * closes, gate) < 0.97 * current(closes, gate));
        near("on-resistance", 1e-3 / current(1e-3, gate), 1.0 / (warm * over), 1e-3);
        // A symmetric channel carries the same backward, its gate then that much higher against the other end.
        near("backward", -current(-0.8, gate - 0.8), current(0.8, gate), 1e-9);
    }
}

/// Every SiC MOSFET saturates below the law without a highest velocity, by what its channel's length and mobility say
/// (10 % to 20 % at full gate).
#[test]
fn sic_mosfets_saturate_earlier() {
    for part in of_kind("mosfet").iter().filter(|p| p.technology == Technology::SicMosfet) {
        let saturates = |part: &Part| rest(part, on_gate(part), Feed::Voltage(200.0), 25.0).current();
        let mut slow = part.clone();
        slow.values.0.insert("velocity-ratio", joulestep_models::model::Value::Number(0.0));
        let ratio = saturates(part) / saturates(&slow);
        println!("{}: {:.1} A, {ratio:.3} of the long channel's", part.name, saturates(part));
        near(&part.name, ratio, 1.0 / (1.0 + part.values.number("velocity-ratio")), 0.02);
    }
}

/// Current of electrons through and over a triangular barrier over the thermionic one, without image force: Murphy &
/// Good, Phys. Rev. 102 (1956) 1464 (from memory): supply kT·ln(1 + exp(−ε/kT)) times the probability of tunnelling,
/// exp(−4·√(2m)·(φ − ε)^1.5/(3qħF)), summed over all energies ε.
fn through_and_over(barrier: f64, field: f64, mass: f64, kelvin: f64) -> f64 {
    let vt = K * kelvin / Q;
    let steep = 4.0 * (2.0 * mass * MASS * Q).sqrt() / (3.0 * HBAR * field);
    let step = 1e-4;
    let sum: f64 = (0..40_000)
        .map(|k| {
            let e = -1.5 + step * (f64::from(k) + 0.5);
            let tunnels = (-steep * (barrier - e).max(0.0).powf(1.5)).exp();
            tunnels * (-e / vt).exp().ln_1p() * step / vt
        })
        .sum();
    sum / (-barrier / vt).exp()
}

/// The leakage law against the integral over energies: within 25 % where warm electrons tunnel and where cold ones do,
/// within a factor of two between; and its lowering by the image force √(qF/4πε) (Sze & Ng ch. 3).
#[test]
fn leakage_over_and_through_a_barrier() {
    for (barrier, mass, field, celsius, off) in [
        (1.18, 0.2, 0.8e8, 25.0, 1.25),
        (1.18, 0.2, 1.0e8, 100.0, 1.25),
        (1.18, 0.2, 1.4e8, 175.0, 1.25),
        (1.30, 0.2, 1.4e8, 100.0, 1.25),
        (1.18, 0.2, 1.6e8, 25.0, 1.25),
        // Where the two meet.
        (1.18, 0.2, 1.3e8, 25.0, 2.0),
        (1.00, 0.2, 2.0e8, -40.0, 1.25),
    ] {
        let kelvin: f64 = celsius + 273.15;
        let law =
            BarrierLeakage { saturation: 1e-15, barrier, power: 2.0, field, at: 700.0, built_in: 1.1, mass };
        let vt = K * kelvin / Q;
        let warm =
            1e-15 * (kelvin / 298.15).powi(2) * (barrier * (Q / K) * (1.0 / 298.15 - 1.0 / kelvin)).exp();
        let image = (Q * field / (4.0 * std::f64::consts::PI * 9.7 * 8.854_187_812_8e-12)).sqrt();
        let expected = (image / vt).exp() - 1.0 + through_and_over(barrier, field, mass, kelvin);
        let at = law.at_temperature(kelvin);
        let ratio = BarrierLeakage::flow(&at, [700.0]).i[0] / warm / expected;
        println!("{barrier} eV, {:.1} MV/cm, {celsius} °C: {ratio:.3} of the integral", field * 1e-8);
        assert!(ratio < off && ratio > 1.0 / off, "{ratio}");
        assert_eq!(BarrierLeakage::flow(&at, [0.0]).i[0], 0.0);
    }
}

/// Common practice, no source: a SiC Schottky diode of some ten amperes leaks microamperes at its rated voltage, and ten
/// to thirty times as much at 175 °C; far less at half the voltage.
#[test]
fn leakage_of_sic_schottky_diodes() {
    for part in of_kind("diode").iter().filter(|p| p.technology == Technology::SicSchottkyDiode) {
        let rated = part.rated_voltage().unwrap();
        let leaks = |volts: f64, celsius: f64| -rest(part, 0.0, Feed::Voltage(-volts), celsius).current();
        let [cold, hot, half] = [leaks(rated, 25.0), leaks(rated, 175.0), leaks(0.5 * rated, 175.0)];
        println!("{}: {cold:.2e} A, hot {hot:.2e} A, at half the voltage {half:.2e} A", part.name);
        assert!((0.3e-6..10e-6).contains(&cold), "{cold}");
        assert!((5.0..30.0).contains(&(hot / cold)) && half < 0.15 * hot, "{}", part.name);
    }
}

/// Breakdown: exponential at first, then a straight line of the space charge's resistance; both rise with temperature.
#[test]
fn breakdown_with_its_space_charge() {
    let stated = Breakdown { voltage: 865.0, scale: 2.9, current: 1e-3, drift: 1.6e-4, resistance: 98.6e-3 };
    for kelvin in [298.15, 448.15] {
        let b = stated.at(kelvin);
        let junction = Junction::backward(1e4, Some(b));
        let current = |volts: f64| -junction.current(-volts);
        let stretched = 865.0 * (1.0 + 1.6e-4 * (kelvin - 298.15));
        near("I at BV", current(stretched), 1e-3, 1e-6);
        near("e times as much", current(stretched + 2.9), 1e-3 * std::f64::consts::E, 1e-6);
        let ohms = 98.6e-3 * fastest(298.15) / fastest(kelvin);
        // Where the slope is that resistance.
        let corner = stretched + 2.9 * (2.9 / ohms / 1e-3).ln();
        near("I at the corner", current(corner), 2.9 / ohms, 1e-6);
        near("beyond", current(corner + 20.0) - current(corner), 20.0 / ohms, 1e-6);
    }
}

/// W²/(2·ε·v·A) (Sze & Ng, Physics of Semiconductor Devices, 3rd ed., ch. 8; from memory) with the depletion width of
/// each class's doping at breakdown, √(2εV/qN), and the highest velocity at 25 °C.
#[test]
fn space_charge_resistance_of_sic_parts() {
    for part in of_kind("cascode").iter().chain(&of_kind("mosfet")).chain(&of_kind("diode")) {
        let (die, prefix) = match (part.kind, part.technology) {
            ("cascode", _) => ("jfet", "jfet-"),
            (_, Technology::SicMosfet) => ("mosfet", ""),
            (_, Technology::SicSchottkyDiode) => ("diode", ""),
            _ => continue,
        };
        let blocks = part.values.number(&format!("{prefix}breakdown-voltage"));
        let epsilon = 9.7 * 8.854_187_812_8e-12;
        let width = (2.0 * epsilon * blocks / (1.602_176_634e-19 * drift_doping(part))).sqrt();
        let area = square_millimetres(part, die) * 1e-6;
        let expected = width * width / (2.0 * epsilon * fastest(298.15) * area);
        let found = part.values.number(&format!("{prefix}breakdown-resistance"));
        near(&part.name, found, expected, 0.01);
    }
}

/// A gate that stands more forward than backward is judged on both sides.
#[test]
fn gate_limits_differ_by_side() {
    let text = r#"format = 2
[[component]]
name = "supply"
kind = "voltage-source"
pins = ["bus", "gnd"]
value = "10 V"
[[component]]
name = "gate-supply"
kind = "voltage-source"
pins = ["g", "gnd"]
value = "-8 V"
[[component]]
name = "q"
part = "mosfet-sic-700v-12m"
pins = { drain = "bus", gate = "g", source = "gnd" }
[steps]
end = "1 us"
"#;
    let scenario = read(Path::new("x.toml"), &|_| Ok(text.to_string())).unwrap();
    let ready = build(&scenario).unwrap();
    let gate = ready.judging.judged.iter().find(|j| j.limit.name == "q.gate").unwrap();
    assert_eq!((gate.limit.bounds.lower, gate.limit.bounds.upper), (-7.0, 21.0));
    let part = crate::common::technologies::ship("mosfet-si-28v-0m8");
    assert_eq!(part.gate_limits(), Some((-18.0, 18.0)));
}
