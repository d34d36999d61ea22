//! Scenarios whose heat goes through a package.

use std::path::Path;

use joulestep::input::keys::InputError;
use joulestep::input::package;
use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::reduce::{Span, reduce};
use joulestep_engine::thermal::field::system::System;
use joulestep_models::package::to_ambient;

/// 10 A through 1 Ω, whose die is the JFET of a shipped package, beside a chain of its own.
const HEATER: &str = r#"format = 2
[[component]]
name = "source"
kind = "current-source"
pins = ["gnd", "a"]
value = "0.1 A"
[[component]]
name = "R1"
kind = "resistor"
pins = ["a", "gnd"]
resistance = "1 ohm"
heat = "q1-jfet"
[[component]]
name = "R2"
kind = "resistor"
pins = ["a", "gnd"]
resistance = "1 Mohm"
heat = "bar"
[[thermal.package]]
name = "q1"
package = "board-700v-7m"
temperature = "110 degC"
[[thermal.boundary]]
name = "air"
temperature = "30 degC"
[[thermal.chain]]
name = "bar"
kind = "cauer"
end = "air"
capacitance = ["1 J/K"]
resistance = ["1 K/W"]
[steps]
end = "10 ms"
base = "100 us"
coupling = "1 ms"
[record]
signals = ["voltage(a)"]
"#;

/// Constant power into one die: every die of the package follows its own or mutual impedance, and the chain beside
/// stays. At the temperature that the package's network holds for, and with a power that hardly moves it, conductivity
/// and heat capacity of the dies are the network's.
#[test]
fn dies_follow_the_impedance_of_their_package() {
    let scenario = read(Path::new("x.toml"), &|_| Ok(HEATER.to_string())).expect("it is right");
    assert_eq!(scenario.thermal.input_names(), ["bar", "q1-mosfet", "q1-jfet"]);
    let ready = build(&scenario).expect("it can be built");
    let mut run = ready.setup.ready().expect("it starts");
    run.advance(scenario.steps.end, &mut InMemory::default()).expect("it runs");
    let heat = run.thermal().expect("there is a network");
    let found = heat.temperatures().to_vec();

    let package = package::read("board-700v-7m", &|_| Err(std::io::ErrorKind::NotFound.into())).unwrap();
    let solid = to_ambient(&package).unwrap();
    let mesh = Mesh::new(&solid.body, &Sizing::coupling(), solid.kelvin).unwrap();
    let network =
        reduce(&System::new(&solid.body, &mesh, solid.kelvin).unwrap(), &Span::default()).unwrap().network;
    let jfet = network.port("jfet").unwrap();
    // The megohm takes a millionth of the current.
    let watts = 1e-2 * (1e6_f64 / (1e6 + 1.0)).powi(2);
    for (k, die) in [(1, "mosfet"), (2, "jfet")] {
        let expected = watts * network.step_response(10e-3, network.port(die).unwrap(), jfet);
        assert!(
            (found[k] - 110.0 - expected).abs() < 1e-4 * expected,
            "{die}: {} {expected}",
            found[k] - 110.0
        );
    }
    assert!((found[0] - 30.0).abs() < 1e-4, "{}", found[0]);
    assert!(heat.residual().abs() < 1e-9 && run.ledger().relative() < 1e-9);
}

#[test]
fn the_example_on_a_package_runs() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/ferry-inrush.toml");
    let scenario = read(&path, &|p| std::fs::read_to_string(p)).expect("it is right");
    let ready = build(&scenario).expect("it can be built");
    let mut run = ready.setup.ready().expect("it starts");
    let mut hottest = 0.0_f64;
    for k in 1..=20 {
        run.advance(scenario.steps.end * f64::from(k) / 20.0, &mut InMemory::default()).expect("it runs");
        let heat = run.thermal().expect("there is a network");
        hottest = heat.temperatures().iter().copied().fold(hottest, f64::max);
    }
    // 400 V on 400 µH and 0.3 mF: 340 A at most after half a millisecond, about a kilowatt on less than 0.1 K/W over 48
    // °C.
    assert!((75.0..150.0).contains(&hottest), "{hottest}");
    assert!(run.ledger().relative() < 1e-5, "{}", run.ledger().relative());
}

#[test]
fn packages_that_cannot_be_are_reported() {
    for (from, to, expected) in [
        (
            "package = \"board-700v-7m\"",
            "package = \"board-750v-5m\"",
            "thermal.package.package: no shipped package is named `board-750v-5m`",
        ),
        ("package = \"board-700v-7m\"", "package = \"mine.toml\"", "cannot read `mine.toml`: no such file"),
        (
            "\"q1-jfet\"",
            "\"q1-jft\"",
            "there is no heat input `q1-jft`; expected `bar`, `q1-mosfet` or `q1-jfet`; did you mean `q1-jfet`?",
        ),
        ("name = \"bar\"", "name = \"q1-jfet\"", "`q1-jfet` is already a name of package `q1`"),
        ("\"110 degC\"", "\"-300 degC\"", "-300 °C is not above absolute zero"),
        ("package = \"board-700v-7m\"\n", "", "thermal.package.q1.package: missing"),
    ] {
        let text = HEATER.replacen(from, to, 1);
        let open = |path: &Path| match path == Path::new("x.toml") {
            true => Ok(text.clone()),
            false => Err(std::io::ErrorKind::NotFound.into()),
        };
        let report = match read(Path::new("x.toml"), &open) {
            Err(InputError::Refused(refusal)) => {
                refusal.diagnostics.iter().map(|d| d.line() + "\n").collect::<String>()
            }
            other => panic!("{to}: {other:?}"),
        };
        assert!(report.contains(expected), "{to}: report\n{report}expected\n{expected}");
    }
}
