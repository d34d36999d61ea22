//! A rating curve of forty pulse widths on the compact network of a package, beside the same pulses resolved by
//! the full field solution, and how far the two differ. `cargo bench --bench rating`; see benches/README.md.

use std::time::Instant;

use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::property::Law;
use joulestep_engine::thermal::field::reduce::{Span, reduce};
use joulestep_engine::thermal::field::surge::Surge as Field;
use joulestep_engine::thermal::field::system::System;
use joulestep_engine::thermal::modal::Modal;
use joulestep_models::package::to_ambient;
use joulestep_models::rating::conduction::Conduction;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::surge::Surge;
use joulestep_models::rating::{Conducts, HeatPath};

const SINK: f64 = 50.0;
const HOTTEST: f64 = 175.0;
/// Steps of a pulse in the field: sixteen, then each sixteen twice as long, as the heat spreads.
const STEPS: usize = 16;
const DOUBLINGS: usize = 5;
/// Rounds of halving that find a current to 1e-3 within a factor of two.
const ROUNDS: f64 = 10.0;

fn main() {
    let open = |path: &std::path::Path| std::fs::read_to_string(path);
    let Ok(package) = joulestep::input::package::read("board-700v-7m", &open) else {
        panic!("a shipped package")
    };
    let Ok(loaded) = joulestep::input::parts::load("cascode-700v-7m", &open) else {
        panic!("a shipped part")
    };
    let mut solid = to_ambient(&package).expect("a right package");
    // The network holds at one temperature: the field is held to the same properties.
    for substance in &mut solid.body.substances {
        for law in substance.conductivity.iter_mut().chain([&mut substance.heat_capacity]) {
            *law = Law::Constant(law.at(solid.kelvin));
        }
    }
    solid.body.boundaries.iter_mut().for_each(|b| b.temperature = SINK);
    let sizing = Sizing { division: 2, ..Sizing::default() };
    let mesh = Mesh::new(&solid.body, &sizing, solid.kelvin).expect("a mesh");
    let system = System::new(&solid.body, &mesh, solid.kelvin).expect("a system");
    let clock = Instant::now();
    let reduced = reduce(&system, &Span::default()).expect("it converges");
    let reduction = clock.elapsed().as_secs_f64();
    let clock = Instant::now();
    let law = Conduction::new(&loaded.part, Some(12.0), 25.0, HOTTEST).expect("a law");
    let tabulation = clock.elapsed().as_secs_f64();
    let fixed = vec![SINK; reduced.network.boundaries().len()];
    let dies = &reduced.network.ports()[..solid.dies];
    let inputs: Vec<usize> =
        law.names().iter().map(|n| dies.iter().position(|d| d == n).expect("a die")).collect();
    let path =
        HeatPath::new(Modal::of_compact(&reduced.network.clone().at(&fixed)), law.names()).expect("a path");
    let widths: Vec<f64> = (0..40).map(|k| 1e-5 * 10f64.powf(7.0 * f64::from(k) / 39.0)).collect();
    let clock = Instant::now();
    let mut surge = Surge::new(&law, &path, HOTTEST, &[0.0, 0.0]);
    let curve: Vec<_> = widths.iter().map(|&w| surge.largest(Shape::Square, w)).collect();
    let compact = clock.elapsed().as_secs_f64();

    // Four of the forty pulses, at the current found, by the field itself.
    let (mut spent, mut worst) = (0.0, 0.0f64);
    let picked = [12, 20, 28, 36];
    println!("{:>10}{:>12}{:>20}{:>20}", "width, s", "current, A", "compact, °C", "field, °C");
    for &k in &picked {
        let point = &curve[k];
        let clock = Instant::now();
        let unit = point.width / (STEPS * ((1 << (DOUBLINGS + 1)) - 1)) as f64;
        let mut field = Field::new(&solid.body, &mesh, SINK).expect("a system");
        let mut power = vec![0.0; reduced.network.ports().len()];
        let mut hottest = f64::NEG_INFINITY;
        for doubling in 0..=DOUBLINGS {
            let step = unit * f64::from(1u32 << doubling);
            for _ in 0..STEPS {
                let celsius: Vec<f64> = inputs.iter().map(|&i| field.temperature(i)).collect();
                let carried = law.carry(point.current, &celsius).expect("it carries that");
                inputs.iter().zip(carried.power).for_each(|(&i, p)| power[i] = p);
                field.advance(step, &power).expect("it settles");
                hottest = inputs.iter().map(|&i| field.temperature(i)).fold(hottest, f64::max);
            }
        }
        spent += clock.elapsed().as_secs_f64();
        let found = point.peaks.celsius.into_iter().fold(f64::NEG_INFINITY, f64::max);
        println!("{:>10.2e}{:>12.1}{:>20.2}{:>20.2}", point.width, point.current, found, hottest);
        worst = worst.max(((hottest - found) / (found - SINK)).abs());
    }
    let pulse = spent / picked.len() as f64;
    let field = pulse * ROUNDS * 40.0;
    println!(
        "{} cells; law tabulated in {tabulation:.2} s, field reduced in {reduction:.2} s (error {:.0e}), once",
        system.cells(),
        reduced.error
    );
    println!(
        "forty points on the compact network: {compact:.2} s; with both preparations {:.2} s",
        compact + tabulation + reduction
    );
    println!(
        "one pulse by the field: {pulse:.2} s, so forty points of ten trials each: {field:.0} s (not run as a whole)"
    );
    println!(
        "ratio {:.0}, with the preparations {:.0}; rises differ by {:.2} % at most",
        field / compact,
        field / (compact + tabulation + reduction),
        100.0 * worst
    );
}
