//! Ratings: closed forms of self-heating, surges into a semi-infinite solid, devices in parallel, and the tabulated
//! law of a part against its operating points.

use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, Network};
use joulestep_models::operating::{AtRest, Feed};
use joulestep_models::rating::conduction::Conduction;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::sharing;
use joulestep_models::rating::steady::{continuous, runaway, steady};
use joulestep_models::rating::surge::{Ends, Outcome, Surge};
use joulestep_models::rating::{Carried, Conducts, HeatPath};

use crate::common::catalogued::shipped;
use crate::thermal_closed_forms::assert_close;

/// A die whose resistance is a function of its temperature (°C).
struct Resistor<F: Fn(f64) -> f64>(F);

impl<F: Fn(f64) -> f64> Conducts for Resistor<F> {
    fn dies(&self) -> usize {
        1
    }
    fn carry(&self, amperes: f64, celsius: &[f64]) -> Option<Carried> {
        Some(Carried::one(amperes * (self.0)(celsius[0]), amperes))
    }
    fn hottest_known(&self) -> f64 {
        1e9
    }
}

/// A die with one drop at any current.
struct Drop(f64);

impl Conducts for Drop {
    fn dies(&self) -> usize {
        1
    }
    fn carry(&self, amperes: f64, _: &[f64]) -> Option<Carried> {
        Some(Carried::one(self.0, amperes))
    }
    fn hottest_known(&self) -> f64 {
        1e9
    }
}

fn path(terms: &[(f64, f64)], sink: f64) -> HeatPath {
    let terms: Vec<_> =
        terms.iter().map(|&(resistance, time_constant)| FosterTerm { resistance, time_constant }).collect();
    HeatPath::new(Modal::new(&Network::foster("die", &terms, sink).unwrap()).unwrap(), &["die"]).unwrap()
}

/// A linear temperature coefficient (derived): T = (T_a + B(1 − a·T₀))/(1 − a·B), B = I²R₀R_th, and
/// I_runaway = 1/√(a·R₀·R_th).
#[test]
fn fixed_point_and_runaway_of_a_linear_resistance() {
    for (r0, a, ta, rth, i, t, p, limit) in [
        (0.008, 0.006, 40.0, 1.2, 60.0, 87.525232135648, 39.60436011304, 131.761569173682),
        (0.002, 0.005, 85.0, 0.5, 150.0, 117.957746478873, 65.9154929577465, 447.213595499958),
    ] {
        let part = Resistor(|c| r0 * (1.0 + a * (c - 25.0)));
        let path = path(&[(rth, 0.5)], ta);
        let found = steady(&part, &path, i, &[0.0]).unwrap();
        assert_close("T", found.celsius[0], t, 1e-9);
        assert_close("P", found.carried.power[0], p, 1e-9);
        assert_close("loop gain", found.loop_gain, a * i * i * r0 * rth, 1e-6);
        assert_close("I_runaway", runaway(&part, &path, &[0.0]).unwrap(), limit, 1e-6);
    }
}

/// A power law (derived, tangency): limit at T* = n·T_a/(n − 1).
#[test]
fn runaway_of_a_power_law() {
    for (r0, n, ta, rth, i, t, limit) in [
        (0.008, 2.4, 313.15, 1.0, 70.0, 384.073300469577, 83.1782838857068),
        (0.004, 2.7, 350.0, 0.4, 150.0, 473.281433734973, 156.00422717875),
    ] {
        let part = Resistor(|c: f64| r0 * ((c + 273.15) / 300.0).powf(n));
        let path = path(&[(rth, 1.0)], ta - 273.15);
        let found = steady(&part, &path, i, &[0.0]).unwrap();
        assert_close("T", found.celsius[0] + 273.15, t, 1e-9);
        assert_close("I*", runaway(&part, &path, &[0.0]).unwrap(), limit, 1e-5);
    }
}

/// Continuous current, as device standards define it (derived): I²R(T_jm) = (T_jm − T_ref)/R_th.
#[test]
fn continuous_current() {
    let part = Resistor(|c: f64| 0.006 * ((c + 273.15) / 298.15).powf(2.2));
    let found = continuous(&part, &path(&[(0.35, 1.0)], 100.0), 175.0, &[0.0]).unwrap();
    assert_close("I", found.current, 120.707300800531, 1e-7);
    assert_close("P", found.carried.power[0], 214.285714285714, 1e-6);
    // A switching loss beside it takes its share: I²R = ΔT/R_th − P_sw.
    let less = continuous(&part, &path(&[(0.35, 1.0)], 100.0), 175.0, &[100.0]).unwrap();
    assert_close(
        "I with loss",
        less.current,
        120.707300800531 * (114.285714285714f64 / 214.285714285714).sqrt(),
        1e-7,
    );
    assert!(continuous(&part, &path(&[(0.35, 1.0)], 200.0), 175.0, &[0.0]).is_none());
}

/// Constant current through R₀(1 + a·ΔT) on one R_th–C_th (derived): below runaway and beyond it.
#[test]
fn transient_with_feedback() {
    for (i, rise, energy) in
        [(60.0, 23.8651561079724, 18.6789218494215), (160.0, 314.505490922165, 229.683513880423)]
    {
        let part = Resistor(|c| 0.008 * (1.0 + 0.006 * c));
        let path = path(&[(1.2, 0.6)], 0.0);
        let mut surge = Surge::new(&part, &path, 1e4, &[0.0]).with_steps(1000);
        let Outcome::Held(peaks) = surge.pulse(Shape::Square, i, 0.6) else { panic!("held") };
        assert_close("rise", peaks.celsius[0], rise, 1e-4);
        assert_close("energy", peaks.energy, energy, 1e-4);
        // What the tool takes by itself.
        let Outcome::Held(coarse) = Surge::new(&part, &path, 1e4, &[0.0]).pulse(Shape::Square, i, 0.6) else {
            panic!("held")
        };
        assert_close("rise in few steps", coarse.celsius[0], rise, 2e-3);
    }
}

/// A ladder of Foster terms that follows Z = 2·√(t/(π·k·ρ·c))/A from microseconds to milliseconds: the semi-infinite
/// solid (Carslaw & Jaeger 1959, §2.9). Terms at twelve per decade; the weights are those of the spectrum of √t.
fn half_space(k_rho_c: f64, area: f64) -> HeatPath {
    // √t = (1/(2√π))·∫ (1 − e^(−t/τ))·τ^(−1/2) dτ: per natural logarithm of τ the weight √τ/(2√π).
    let per = std::f64::consts::LN_10 / 12.0;
    let z = 2.0 / (area * (std::f64::consts::PI * k_rho_c).sqrt());
    let terms: Vec<(f64, f64)> = (0..=12 * 18)
        .map(|n| {
            let tau = 1e-14 * 10f64.powf(f64::from(n) / 12.0);
            (z * per * tau.sqrt() / (2.0 * std::f64::consts::PI.sqrt()), tau)
        })
        .collect();
    path(&terms, 25.0)
}

/// Surge capability in the semi-infinite regime (derived from the closed forms of Carslaw & Jaeger):
/// I ~ t^(−1/4) for a constant resistance, t^(−1/2) for a constant drop, half-sine amplitude.
#[test]
fn surges_into_a_semi_infinite_solid() {
    for (r, a, dt, t1, t2, i1, i2, half_sine) in [
        (0.006, 10e-6, 150.0, 2e-5, 8e-5, 1153.86995035674, 815.909266504639, 1509.84257218987),
        (0.002, 30e-6, 125.0, 5e-6, 5e-5, 4468.91910142085, 2513.05788966146, 5847.59513748635),
    ] {
        let path = half_space(250.0 * 3210.0 * 900.0, a);
        let z = path.impedance(t1, 0, 0);
        let exact = 2.0 * (t1 / (std::f64::consts::PI * 250.0 * 3210.0 * 900.0)).sqrt() / a;
        assert_close("the ladder itself", z, exact, 2e-3);
        let part = Resistor(|_| r);
        let mut surge = Surge::new(&part, &path, 25.0 + dt, &[0.0]);
        for (t, i) in [(t1, i1), (t2, i2)] {
            let found = surge.largest(Shape::Square, t);
            assert_close("I", found.current, i, 2e-3);
            assert_close("I²t", found.i2t, i * i * t, 4e-3);
            assert_eq!(found.ends, Ends::Junction(0));
            let (longest, _) = surge.ride_through(found.current, 1.0);
            assert_close("the longest pulse at that current", longest, t, 1e-3);
        }
        assert_close("half sine", surge.largest(Shape::HalfSine, t1).current, half_sine, 2e-3);
        let drop = Drop(2.0);
        let mut surge = Surge::new(&drop, &path, 25.0 + dt, &[0.0]);
        let [a, b] = [t1, t2].map(|t| surge.largest(Shape::Square, t).current);
        assert_close("slope at constant drop", (b / a).ln() / (t2 / t1).ln(), -0.5, 2e-3);
    }
}

/// I²t of pulses (derived; half-sine convention of IEC 60747-2, from memory), and the inrush shape against a
/// quadrature.
#[test]
fn square_integrals() {
    let of = |shape: Shape| 100.0f64.powi(2) * 0.01 * shape.square_integral();
    assert_close("square", of(Shape::Square), 100.0, 1e-12);
    assert_close("half sine", of(Shape::HalfSine), 50.0, 1e-12);
    assert_close("exponential", of(Shape::Exponential), 50.0, 1e-12);
    for (_, shape, _) in Shape::ALL {
        let n = 400_000;
        let h = 40.0 / f64::from(n);
        let sum: f64 = (0..n).map(|k| shape.at((f64::from(k) + 0.5) * h).powi(2) * h).sum();
        assert_close(shape.key(), sum, shape.square_integral(), 1e-4);
    }
}

/// Two switches in parallel with a positive temperature coefficient and own thermal resistances (coupled
/// fixed point, derived; the need for it: Peftitsis et al., IEEE Trans. Power Electron. 28 (2013) 1449).
#[test]
fn current_sharing() {
    for (total, r, a, rth, currents, rises) in [
        (
            100.0,
            [0.008, 0.010],
            0.007,
            0.8,
            [54.9460679207625, 45.0539320792375],
            [22.3442008632496, 18.3214949886758],
        ),
        (
            60.0,
            [0.020, 0.028],
            0.006,
            1.0,
            [34.4514646027387, 25.5485353972613],
            [27.6805674663325, 20.5273699067545],
        ),
    ] {
        let parts = r.map(|r0| Resistor(move |c| r0 * (1.0 + a * c)));
        let own = [[[rth, 0.0], [0.0, 0.0]]; 2];
        let found = sharing::steady(&parts, &own, (0.0, 0.0), total).unwrap();
        for k in 0..2 {
            assert_close("current", found[k].current, currents[k], 1e-7);
            assert_close("rise", found[k].celsius[0], rises[k], 1e-7);
        }
    }
}

/// The tabulated law of the shipped cascode against the engine's operating points of the same model, with dies of
/// different temperatures between the nodes of the table.
#[test]
fn a_tabulated_law_is_the_models() {
    let part = shipped("cascode-700v-7m");
    let law = Conduction::new(&part, Some(12.0), 25.0, 250.0).unwrap();
    assert_eq!(law.names(), ["jfet", "mosfet"]);
    for (amperes, celsius) in [(1.0, 37.0), (90.0, 88.0), (300.0, 61.0), (450.0, 30.0), (200.0, 162.0)] {
        let rest = AtRest::new(part.entry(), &part.values, 12.0, Feed::Current(amperes), celsius).unwrap();
        let found = law.carry(amperes, &[celsius; 2]).unwrap();
        assert_close("drop", found.drop, rest.voltage(), 2e-4);
        assert_close("heat", found.power[0] + found.power[1], amperes * rest.voltage(), 2e-4);
        let mosfet = amperes * rest.read("middle").unwrap();
        assert_close("heat of the MOSFET", found.power[1], mosfet, 3e-2);
    }
    assert!(law.carry(2000.0, &[25.0; 2]).is_none());
}
