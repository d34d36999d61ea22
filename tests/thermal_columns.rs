//! Dies whose conductivity and heat capacity follow the temperature, beside a linear network, against closed forms and a
//! fine solution by finite differences.

use std::f64::consts::PI;
use std::sync::Arc;

use joulestep_engine::thermal::column::{Column, Plate};
use joulestep_engine::thermal::field::property::Law;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{Boundary, FosterMatrixTerm, FosterTerm, Network};
use joulestep_engine::thermal::run::Thermal;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::surge::{Outcome, Surge};
use joulestep_models::rating::trajectory::{Sample, hottest};
use joulestep_models::rating::{Carried, Conducts, HeatPath};

const ZERO: f64 = 273.15;

/// 4H silicon carbide through the plate, and its heat capacity per volume.
fn carbide(thickness: f64) -> Plate {
    let heat = [(300.0, 675.0), (400.0, 880.0), (600.0, 1050.0), (800.0, 1135.0), (1000.0, 1195.0)];
    Plate {
        area: 9.8e-6,
        thickness,
        depth: 6e-6,
        conductivity: Law::Power { at_300: 280.0, exponent: 1.3 },
        heat_capacity: Law::Table(heat.map(|(t, c)| (t, 3210.0 * c)).to_vec()),
        temperature: 110.0,
    }
}

/// Terms of a plate with constant properties, held at its back, for the mean over its heated depth d of heat that arises
/// there evenly: a cosine series, λₙ = (n − ½)π/L, mean of cos λₙx over d: sin(λₙd)/(λₙd). Carslaw & Jaeger sec. 3.9
/// (from memory).
fn terms(plate: &Plate) -> Vec<FosterTerm> {
    let kelvin = plate.temperature + ZERO;
    let (k, c) = (plate.conductivity.at(kelvin), plate.heat_capacity.at(kelvin));
    let term = |n: u32| {
        let lambda = (f64::from(n) - 0.5) * PI / plate.thickness;
        let x = lambda * plate.depth;
        let mean = if x > 0.0 { x.sin() / x } else { 1.0 };
        FosterTerm {
            resistance: 2.0 * mean * mean / (k * plate.area * plate.thickness * lambda * lambda),
            time_constant: c / (k * lambda * lambda),
        }
    };
    (1..=80).map(term).filter(|t| t.resistance > 1e-12).collect()
}

fn network(plate: &Plate, base: f64) -> Thermal<f64> {
    let terms = terms(plate);
    let matrix = terms
        .iter()
        .map(|t| FosterMatrixTerm { time_constant: t.time_constant, resistances: vec![t.resistance] });
    let boundary = Boundary { name: "base".into(), temperature: base };
    let network = Network::foster_matrix(&["die"], matrix.collect(), boundary).unwrap();
    let heat = Thermal::new(Arc::new(Modal::<f64>::new(&network).unwrap()));
    heat.with_columns(vec![Column::new(0, plate.clone(), &terms).unwrap()])
}

/// The mean over the heated depth at the end, °C, of a plate that is held at its back.
fn fine(plate: &Plate, base: f64, power: impl Fn(f64) -> f64, end: f64, steps: usize) -> f64 {
    finely(plate, (base, true), power, end, steps)
}

/// Four hundred equal cells, backward Euler in the heat content, repeated until it holds: the mean over the heated depth at
/// the end, °C, from `base`, with the back held there or insulated.
pub fn finely(
    plate: &Plate,
    (base, held): (f64, bool),
    power: impl Fn(f64) -> f64,
    end: f64,
    steps: usize,
) -> f64 {
    const N: usize = 400;
    let (dx, dt) = (plate.thickness / N as f64, end / steps as f64);
    let mut t = vec![base + ZERO; N];
    let share = |k: usize| ((plate.depth - k as f64 * dx) / dx).clamp(0.0, 1.0) * dx / plate.depth;
    for step in 0..steps {
        let arising = power((step as f64 + 0.5) * dt) / plate.area;
        let old = t.clone();
        for _ in 0..30 {
            let conductivity: Vec<f64> = t.iter().map(|t| plate.conductivity.at(*t)).collect();
            let below = |k: usize| match k {
                k if k + 1 < N => 2.0 / (dx / conductivity[k] + dx / conductivity[k + 1]),
                k if held => 2.0 * conductivity[k] / dx,
                _ => 0.0,
            };
            // Cells from the face to the base; Gaussian elimination of a band of three.
            let (mut factor, mut value) = (vec![0.0; N], vec![0.0; N]);
            (0..N).for_each(|k| {
                let c = dx * plate.heat_capacity.at(t[k]);
                let content = dx * plate.heat_capacity.integral(old[k], t[k]);
                let (above, down) = (if k > 0 { dt * below(k - 1) } else { 0.0 }, dt * below(k));
                let beyond = if k + 1 == N { down * (base + ZERO) } else { 0.0 };
                let right = c * t[k] - content + dt * arising * share(k) + beyond;
                let (f, v) = if k > 0 { (factor[k - 1], value[k - 1]) } else { (0.0, 0.0) };
                let pivot = c + above + down - above * f;
                factor[k] = if k + 1 == N { 0.0 } else { down / pivot };
                value[k] = (right + above * v) / pivot;
            });
            let mut moved = 0.0_f64;
            for k in (0..N).rev() {
                let next = value[k] + if k + 1 < N { factor[k] * t[k + 1] } else { 0.0 };
                moved = moved.max((next - t[k]).abs());
                t[k] = next;
            }
            if moved < 1e-9 {
                break;
            }
        }
    }
    (0..N).map(|k| share(k) * t[k]).sum::<f64>() - ZERO
}

/// What a run sees: steps of the network, with the die followed once in `every` of them.
fn run(heat: &mut Thermal<f64>, power: impl Fn(f64) -> f64, end: f64, steps: usize, every: usize) -> f64 {
    let dt = end / steps as f64;
    for step in 0..steps {
        heat.advance(dt, &[power((step as f64 + 0.5) * dt)]);
        if (step + 1) % every == 0 {
            heat.follow();
        }
    }
    heat.temperatures()[0]
}

/// A short circuit's heat into silicon carbide, up to 940 °C: within 1 % of four hundred cells (the rise), where the
/// linear network is 15 % to 30 % low; and what the steps do is within their own error.
#[test]
fn a_short_circuit_is_as_hot_as_a_fine_solution_says() {
    for (thickness, end, peak, low) in
        [(48e-6, 4e-6, 1.2e5, 0.15), (150e-6, 8e-6, 7e4, 0.15), (350e-6, 40e-6, 3e4, 0.2)]
    {
        let plate = carbide(thickness);
        // The current falls as the die becomes hot.
        let power = |t: f64| peak * (1.0 - 0.4 * t / end);
        let exact = fine(&plate, 48.0, power, end, 2000);
        let mut heat = network(&plate, 48.0);
        let found = run(&mut heat, power, end, 1000, 2);
        let rise = exact - 48.0;
        let linear = {
            let mut bare = network(&plate, 48.0).unheated();
            48.0 - bare.modal().reference() + run(&mut bare, power, end, 1000, 2)
        };
        println!(
            "{thickness}: fine {exact:.1}, found {found:.1} ± {:.2}, linear {linear:.1}",
            heat.column_error(0)
        );
        assert!((found - exact).abs() < 0.01 * rise, "{found} {exact}");
        assert!((exact - linear) / rise > low, "linear {linear} {exact}");
        let mut often = network(&plate, 48.0);
        let converged = run(&mut often, power, end, 4000, 1);
        assert!((found - converged).abs() <= 1.3 * heat.column_error(0) + 1e-3, "{found} {converged}");
        assert!(heat.column_error(0) < 0.01 * rise);
        assert!(heat.residual().abs() < 1e-12 * heat.heat_in()[0], "{}", heat.residual());
    }
}

/// Where conductivity and heat capacity follow one law, Kirchhoff's transform Θ = ∫f dT makes the equation linear: a
/// plate so thick that it has no back rises by Θ = 2q·√(t/(π·k·c)) under a constant flux, and the mean over a thin depth d
/// in which the heat arises evenly by 2q·d/3k less (the mean of the deeper of two places). Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., sec. 2.9 and
/// 2.16 (from memory). 1 % of the rise.
#[test]
fn one_law_for_both_is_kirchhoffs_transform() {
    let (base, flux, end, exponent) = (26.85, 4e9, 4e-6, 1.2);
    let law = |at_300: f64| Law::Power { at_300, exponent };
    let plate = Plate {
        conductivity: law(300.0),
        heat_capacity: law(2.5e6),
        depth: 2e-6,
        temperature: base,
        ..carbide(80e-6)
    };
    let theta = 2.0 * flux * (end / (PI * 300.0 * 2.5e6)).sqrt() - 2.0 * flux * plate.depth / (3.0 * 300.0);
    // 300·((T/300)^(1 − n) − 1)/(1 − n) = Θ.
    let exact = 300.0 * (1.0 + (1.0 - exponent) * theta / 300.0).powf(1.0 / (1.0 - exponent)) - ZERO;
    let mut heat = network(&plate, base);
    let linear = base + theta;
    run(&mut heat, |_| flux * plate.area, end, 1000, 2);
    let mut bare = network(&plate, base).unheated();
    let rise = run(&mut bare, |_| flux * plate.area, end, 1000, 2) - bare.modal().reference();
    let found = linear + (heat.temperatures()[0] - heat.modal().reference()) - rise;
    assert!((found - exact).abs() < 0.01 * (exact - base), "{found} {exact} {linear}");
}

/// Constant properties leave the network's own temperature, to the last bits.
#[test]
fn constant_properties_change_nothing() {
    let plate =
        Plate { conductivity: Law::Constant(200.0), heat_capacity: Law::Constant(2.7e6), ..carbide(100e-6) };
    let mut heat = network(&plate, 40.0);
    let mut bare = heat.unheated();
    let power = |t: f64| if t < 5e-6 { 5e4 } else { 0.0 };
    let found = run(&mut heat, power, 2e-5, 200, 3);
    assert!((found - run(&mut bare, power, 2e-5, 200, 3)).abs() < 1e-9 * found);
}

/// In the steady state the same as Kirchhoff's transform of the whole plate (Carslaw & Jaeger sec. 2.16, from memory):
/// half a per cent of the rise.
#[test]
fn the_steady_state_is_kirchhoffs_transform() {
    let plate = Plate { depth: 3.5e-6, ..carbide(350e-6) };
    let (base, watts) = (40.0, 2000.0);
    let flux = watts / plate.area;
    // ∫k dT = q·d, k = 280·(T/300)^−1.3; the mean over the heated depth has a third of it behind it.
    let way = plate.thickness - 2.0 / 3.0 * plate.depth;
    let cold = (base + ZERO) / 300.0_f64;
    let exact = 300.0 * (cold.powf(-0.3) - 0.3 * flux * way / (280.0 * 300.0)).powf(-1.0 / 0.3) - ZERO;
    let mut heat = network(&plate, base);
    for _ in 0..400 {
        heat.advance(1e-4, &[watts]);
        heat.follow();
    }
    let found = heat.temperatures()[0];
    assert!((found - exact).abs() < 0.005 * (exact - base), "{found} {exact}");
    assert!(heat.residual().abs() < 1e-11 * heat.heat_in()[0]);
}

/// Drops ten volts at any current.
struct TenVolts;

impl Conducts for TenVolts {
    fn dies(&self) -> usize {
        1
    }
    fn carry(&self, amperes: f64, _: &[f64]) -> Option<Carried> {
        Some(Carried::one(10.0, amperes))
    }
    fn hottest_known(&self) -> f64 {
        1e9
    }
}

/// Pulses of `rating` and courses over `soa`: within 1 % of four hundred cells (the rise), and the largest current within 1 %,
/// where the linear network allows 13 % too much and more.
#[test]
fn ratings_of_pulses_are_as_hot_as_a_fine_solution_says() {
    for (thickness, width, watts, least) in
        [(48e-6, 4e-6, 1e5, 0.13), (150e-6, 8e-6, 6e4, 0.13), (350e-6, 40e-6, 2.5e4, 0.13)]
    {
        let plate = carbide(thickness);
        let exact = fine(&plate, 48.0, |_| watts, width, 2000);
        let path = HeatPath::new(network(&plate, 48.0).modal().clone(), &["die"]).unwrap();
        let path = path.with_plates(vec![Some(plate)]).unwrap();
        let mut surge = Surge::new(&TenVolts, &path, 3000.0, &[0.0]);
        let Outcome::Held(peaks) = surge.pulse(Shape::Square, 0.1 * watts, width) else { panic!("held") };
        let bare = path.linear();
        let mut linear = Surge::new(&TenVolts, &bare, 3000.0, &[0.0]);
        let Outcome::Held(low) = linear.pulse(Shape::Square, 0.1 * watts, width) else { panic!("held") };
        let [found, low] = [peaks.celsius[0], low.celsius[0]];
        println!("{thickness}: fine {exact:.1}, found {found:.1}, linear {low:.1}");
        assert!((found - exact).abs() < 0.01 * (exact - 48.0), "{found} {exact}");
        // To the temperature of the fine solution, its current.
        let most = |path: &HeatPath| {
            Surge::new(&TenVolts, path, exact, &[0.0]).largest(Shape::Square, width).current / (0.1 * watts)
        };
        let [current, linear] = [most(&path), most(&bare)];
        assert!((current - 1.0).abs() < 0.01 && linear > 1.0 + least, "{current} {linear}");
        let (longest, _) = Surge::new(&TenVolts, &path, exact, &[0.0]).ride_through(0.1 * watts, 1.0);
        assert!((longest / width - 1.0).abs() < 0.02, "{longest}");
        let sample =
            |k: i32| Sample { time: f64::from(k) / 400.0 * width, volts: 10.0, current: 0.1 * watts };
        let course: Vec<Sample> = (0..=400).map(sample).collect();
        let [(celsius, _), _] = hottest(&course, &path, 1, &|_, _| [1.0, 0.0]);
        assert!((celsius - exact).abs() < 0.01 * (exact - 48.0), "{celsius} {exact}");
    }
}

/// From the steady state of a power before it: the die is followed from the temperatures of that state on. 1 % of the rise.
#[test]
fn a_pulse_from_a_warm_state_is_as_hot_as_a_fine_solution_says() {
    let (plate, before, watts, width, rest) = (carbide(48e-6), 2000.0, 3e4, 2e-5, 2e-4);
    let power = |t: f64| if t < rest { before } else { watts };
    let exact = fine(&plate, 48.0, power, rest + width, 4400);
    let path = HeatPath::new(network(&plate, 48.0).modal().clone(), &["die"]).unwrap();
    let path = path.with_plates(vec![Some(plate)]).unwrap();
    let mut surge = Surge::new(&TenVolts, &path, 3000.0, &[before]);
    let Outcome::Held(peaks) = surge.pulse(Shape::Square, 0.1 * watts, width) else { panic!("held") };
    println!("fine {exact:.1}, found {:.1}", peaks.celsius[0]);
    assert!((peaks.celsius[0] - exact).abs() < 0.01 * (exact - 48.0), "{} {exact}", peaks.celsius[0]);
}
