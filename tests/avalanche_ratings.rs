//! Ratings of avalanches and surges, as the program judges them.

use joulestep_models::capacitances::output_charge;
use serde_json::Value;

use crate::common::answers::{answer, value};
use crate::common::folder::Folder;
use crate::common::rig::near;
use crate::common::technologies::{of_kind, ship};
use crate::common::typed::{component, drive, turns, with};

/// A switch `q` at 100 V in a winding whose current nothing takes over, with its drive, its heat path and its steps; `more`
/// is what controls it, and the rest.
fn unclamped(
    device: &str,
    winding: &str,
    (command, starts): (&str, &str),
    (celsius, kelvin_per_watt): (f64, f64),
    steps: &str,
    more: &str,
) -> Folder {
    let supply = with("supply", "voltage-source", ["bus", "gnd"], "value", "100 V");
    let winding = component("winding", "inductor", ["bus", "d"], winding);
    let driver = drive("g", command, ["18 V", "0 V"], "5 ohm", starts);
    Folder::scenario(&format!(
        r#"format = 2
{supply}{winding}{driver}
[[component]]
name = "q"
{device}
pins = {{ drain = "d", gate = "g", source = "gnd" }}
heat = "q"
[[thermal.boundary]]
name = "case"
temperature = "{celsius} degC"
[[thermal.chain]]
name = "q"
kind = "foster"
end = "case"
resistance = ["0.001 K/W", "{kelvin_per_watt} K/W"]
time-constant = ["10 us", "1 ms"]
[steps]
base = "204.8 ns"
finest = "0.2 ns"
current-error = "10 mA"
{steps}
{more}"#
    ))
}

/// It turns off 10 A in 500 µH, once or twice.
fn turned_off(device: &str, celsius: f64, twice: bool, more: &str) -> Folder {
    let pulse = |on: &str, off: &str| turns("on", on, true) + &turns("on", off, false);
    let again = if twice { pulse("60 us", "110 us") } else { String::new() };
    let end = if twice { "180 us" } else { "50 us" };
    unclamped(
        device,
        "inductance = \"500 uH\"\ninitial-current = \"10 A\"",
        ("on", "starts-on = true"),
        (celsius, 0.1),
        &format!("end = \"{end}\"\nvoltage-error = \"1 V\""),
        &format!("{}{again}{more}", pulse("0 s", "200 ns")),
    )
}

/// Who lets a die avalanche lets it exceed its rated voltage.
const MAY: &str = "[[waiver]]\nrating = \"q.voltage\"\nreason = \"it may avalanche\"\n";

fn run(folder: &Folder) -> (i32, Value) {
    folder.json(&["run", "@s.toml", "--quiet"])
}

/// E = L·I²/2·BV/(BV − Vdd) (JESD24-5, from memory; derived) is what the rating is held against, and four times as much
/// where half of the permissible rise is left (Blackburn, PESC 1988).
#[test]
fn a_single_avalanche_is_held_against_its_rating() {
    let device = "part = \"mosfet-sic-900v-26m\"";
    let part = ship("mosfet-sic-900v-26m");
    let rated = part.ratings.avalanche_energy.unwrap();
    for (celsius, factor, code, ruling) in [(25.0, 1.0, 0, "kept"), (100.0, 4.0, 1, "EXCEEDED")] {
        let (done, json) = run(&turned_off(device, celsius, false, MAY));
        let name = "rating.q.mosfet.avalanche-energy.largest";
        // Between the breakdown voltage and what it is at 10 A.
        let volts = 1100.0 * (1.0 + 1.6e-4 * (celsius - 25.0)) + 4.4 * 9.0;
        let energy = 0.5 * 500e-6 * 100.0 * volts / (volts - 100.0);
        near("energy", value(&json, name), factor * energy, 0.02);
        assert_eq!((done, answer(&json, name)["ruling"].as_str()), (code, Some(ruling)), "{rated} J");
        let current = value(&json, "rating.q.mosfet.avalanche-current.largest");
        near("current", current, 10.0, 0.01);
        assert_eq!(value(&json, "rating.q.mosfet.repetitive-avalanche-energy.largest"), 0.0);
    }
}

/// Each of two avalanches is held against the rating for repetition.
#[test]
fn repeated_avalanches_have_a_rating_of_their_own() {
    let (code, json) = run(&turned_off("part = \"mosfet-sic-900v-26m\"", 25.0, true, MAY));
    let name = "rating.q.mosfet.repetitive-avalanche-energy.largest";
    assert_eq!((code, answer(&json, name)["ruling"].as_str()), (1, Some("EXCEEDED")));
    near("each", value(&json, name), 0.0275, 0.03);
}

/// A die whose part states no rating may not avalanche unseen; a waiver says that it may.
#[test]
fn an_avalanche_without_a_rating_proves_nothing() {
    let device = "kind = \"mosfet\"\non-resistance = \"26 mohm\"\nthreshold = \"4 V\"\nbreakdown-voltage = \"1100 V\"\n\
                  drain-source-capacitance = \"1 nF\"\ngate-source-capacitance = \"2 nF\"";
    let (code, json) = run(&turned_off(device, 25.0, false, ""));
    assert_eq!((code, &json["verdict"]), (5, &Value::from("not proven")));
    assert!(json.to_string().contains("its part states no energy that it takes"), "{json}");
    let waiver = "[[waiver]]\nrating = \"q.mosfet.avalanche\"\nreason = \"a test piece\"\n";
    let (code, json) = run(&turned_off(device, 25.0, false, waiver));
    assert_eq!(code, 0, "{json}");
}

/// What a varistor takes from a winding, L·I²/2·(1 + Vdd/(V − Vdd)) less what a switch takes beside it (derived), against
/// its rating less what its mean power carries off meanwhile.
#[test]
fn surges_are_held_against_energy_and_current() {
    let clamped = |joules: &str| {
        Folder::scenario(&format!(
            r#"format = 2
[[component]]
name = "winding"
kind = "inductor"
pins = ["gnd", "a"]
inductance = "10 mH"
initial-current = "100 A"
[[component]]
name = "clamp"
kind = "varistor"
pins = ["a", "gnd"]
varistor-voltage = "415 V"
clamping-voltage = "625 V"
clamping-current = "250 A"
rated-energy = "{joules}"
peak-current = "80 A"
[steps]
end = "4 ms"
"#
        ))
    };
    let name = "rating.clamp.surge-energy.largest";
    for (joules, ruling) in [("60 J", "kept"), ("40 J", "EXCEEDED")] {
        let (code, json) = run(&clamped(joules));
        near("energy", value(&json, name), 50.0, 1e-2);
        assert_eq!(answer(&json, name)["ruling"], ruling);
        assert_eq!(answer(&json, "rating.clamp.current.largest")["ruling"], "EXCEEDED");
        assert_eq!(code, 1);
    }
}

/// A current that falls in a straight line through a die of effusivity √(k·ρ·c) heats it by (2√2/3)·P₀·√t/(A·√(π·k·ρ·c))
/// (Blackburn, PESC 1988; from memory); the shipped ratings for single pulses reach the highest junction temperature.
#[test]
fn shipped_avalanche_ratings_follow_from_the_dies() {
    let effusivity = |k: f64, heat: f64| (std::f64::consts::PI * k * heat).sqrt();
    let (sic, si) = (effusivity(370.0, 2.2e6), effusivity(148.0, 1.65e6));
    let mut seen = 0;
    for part in of_kind("cascode").into_iter().chain(of_kind("mosfet")).chain(of_kind("diode")) {
        for die in part.entry().dies {
            let rated = part.ratings.of_avalanche(die.blocks);
            let (Some(amperes), Some(joules)) = (rated.current, rated.single) else { continue };
            let stated = part.die(die.name).unwrap();
            let material = match stated.material.unwrap() {
                joulestep_models::part::Material::SiliconCarbide => sic,
                joulestep_models::part::Material::Silicon => si,
            };
            let power = amperes * part.values.number(&format!("{}breakdown-voltage", die.prefix));
            let rise =
                2.0 * 2f64.sqrt() / 3.0 * power * (2.0 * joules / power).sqrt() / (stated.area * material);
            near(&format!("{}, {}", part.name, die.name), rise, part.hottest().unwrap() - 25.0, 0.02);
            seen += 1;
        }
    }
    assert!(seen >= 20, "{seen}");
}

/// IEC 61051-1 (from memory): the voltage of a varistor at a given current falls by less than 0.1 % per kelvin. And at a
/// steep front it is higher than at a slow one by a few to some ten per cent (IEEE Working Group 3.4.11, 1992).
#[test]
fn a_varistor_drifts_and_answers_steep_fronts() {
    use joulestep_engine::circuit::graph::{Circuit, GROUND};
    use joulestep_engine::circuit::law::Law;
    use joulestep_engine::circuit::wave::Wave;
    use joulestep_engine::recorder::InMemory;
    use joulestep_engine::run::setup::Setup;
    use joulestep_models::devices::varistor::Varistor;

    use crate::common::catalogued::put;
    use crate::common::rig::{channel, column, v};

    let law = Varistor::through([(415.0, 1e-3), (625.0, 250.0)], 0.0, 0.0, 1e5).drifting(-5e-4);
    for kelvin in [273.15, 298.15, 358.15] {
        let volts = 500.0 * (1.0 - 5e-4 * (kelvin - 298.15));
        let current = |law: &Varistor<f64>, volts: f64| Varistor::flow(law, [volts]).i[0];
        near("I", current(&law.at_temperature(kelvin), volts), current(&law, 500.0), 1e-9);
    }

    let height = 30e-3;
    let peak = |rise: f64| {
        let mut c = Circuit::new();
        let a = c.node("a");
        let wave = c.wave(Wave::Points(vec![(0.0, 0.0), (rise, 1e3), (20.0 * rise, 1e3)]));
        c.current_source("I", GROUND, a, wave).unwrap();
        let given = [
            ("varistor-voltage", 4150.0),
            ("clamping-voltage", 6250.0),
            ("clamping-current", 250.0),
            ("disc-height", height),
        ];
        put(&mut c, "varistor", "M", &[a, GROUND], &given);
        let mut setup = Setup::new(c);
        setup.steps = crate::common::rig::fixed(rise / 500.0);
        setup.channels = vec![channel("v", v(a))];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(2.0 * rise, &mut memory).unwrap();
        column(&memory.samples, 0).into_iter().fold(0.0, f64::max)
    };
    let (slow, steep) = (peak(8e-6), peak(0.5e-6));
    println!("8 µs {slow:.0} V, 0.5 µs {steep:.0} V, {:.3}", steep / slow);
    assert!((1.03..1.2).contains(&(steep / slow)), "{slow} {steep}");
}

/// It is switched at 20 kHz in 50 µH.
fn switched(microseconds: f64, celsius: f64, more: &str) -> Folder {
    let duty = microseconds * 1e-6 * 20e3;
    let modulator = format!(
        "[[controller]]\nname = \"modulator\"\nkind = \"pwm\"\noutput = \"pulse\"\nfrequency = \"20 kHz\"\nduty = {duty}\n"
    );
    let damping = with("damping", "resistor", ["d", "bus"], "resistance", "20 kohm");
    unclamped(
        "part = \"mosfet-sic-900v-26m\"",
        "inductance = \"50 uH\"",
        ("pulse", ""),
        (celsius, 0.02),
        "end = \"50 us\"\nvoltage-error = \"0.1 V\"",
        &format!("{modulator}{damping}[cycle]\nsource = [\"supply\"]\nload = []\n{more}"),
    )
}

/// A periodic state holds every avalanche against both ratings: it comes again with every period. L·I²/2 with I = Vdd·t_on/L,
/// less what the output capacitance takes on the way to BV, E_oss − Vdd·Q_oss, times BV/(BV − Vdd) (JESD24-5, from memory;
/// derived), and four times as much where half of the permissible rise is left (Blackburn, PESC 1988). The winding's
/// damping takes up to 6 %.
#[test]
fn avalanches_of_a_periodic_state_are_judged() {
    for (microseconds, celsius, factor, verdict) in
        [(2.0, 25.0, 1.0, 0), (3.4, 25.0, 1.0, 1), (2.0, 100.0, 4.0, 1)]
    {
        let part = ship("mosfet-sic-900v-26m");
        let (code, json) = switched(microseconds, celsius, MAY).json(&["cycle", "@s.toml", "--quiet"]);
        let amperes = 100.0 * microseconds * 1e-6 / 50e-6;
        let volts = 1100.0 * (1.0 + 1.6e-4 * (celsius - 25.0)) + 4.4 * 9.0;
        let output = output_charge(part.entry(), &part.values, &[1100.0], 25.0).unwrap()[0];
        let left = 0.5 * 50e-6 * amperes * amperes - (output.energy - 100.0 * output.charge);
        let name = "rating.q.mosfet.repetitive-avalanche-energy.largest";
        near("each", value(&json, name), factor * left * volts / (volts - 100.0), 0.06);
        assert_eq!(value(&json, "rating.q.mosfet.avalanche-energy.largest"), value(&json, name));
        let current = value(&json, "rating.q.mosfet.avalanche-current.largest");
        near("current", current, (2.0 * left / 50e-6).sqrt(), 0.05);
        assert_eq!(code, verdict, "{json}");
    }
}

/// Variants in lanes have the same avalanches as alone: their rows are judged by both ratings.
#[test]
fn avalanches_of_a_batch_are_judged() {
    let folder = turned_off("part = \"mosfet-sic-900v-26m\"", 25.0, true, MAY);
    let plan = "format = 2\nscenario = \"s.toml\"\n[sampling]\nkind = \"grid\"\n[[vary]]\nname = \"start\"\n\
                value = \"component.winding.initial-current\"\nkind = \"values\"\nvalues = [\"1 A\", \"4 A\", \"10 A\"]\n";
    std::fs::write(folder.path("plan.toml"), plan).unwrap();
    let done = folder.ask(&["batch", "@plan.toml", "--out", "@t.h5", "--csv", "@t.csv", "--quiet"]);
    assert_eq!(done.code, 1, "{}{}", done.out, done.err);
    let text = std::fs::read_to_string(folder.path("t.csv")).unwrap();
    let mut rows = text.lines().filter(|l| !l.starts_with('#')).map(|l| l.split(',').collect::<Vec<_>>());
    let head = rows.next().unwrap();
    let rows: Vec<Vec<&str>> = rows.collect();
    assert_eq!(rows.len(), 3, "{text}");
    let name = "rating.q.mosfet.repetitive-avalanche-energy.largest";
    let at = head.iter().position(|h| h.starts_with(name)).unwrap_or_else(|| panic!("no {name}: {head:?}"));
    for (row, amperes) in rows.iter().zip(["1 A", "4 A", "10 A"]) {
        let alone = turned_off("part = \"mosfet-sic-900v-26m\"", 25.0, true, MAY);
        let text = std::fs::read_to_string(alone.path("s.toml")).unwrap();
        std::fs::write(alone.path("s.toml"), text.replace("\"10 A\"", &format!("\"{amperes}\""))).unwrap();
        let (_, json) = run(&alone);
        assert_eq!(row[at].parse::<f64>().unwrap(), value(&json, name), "{amperes}");
    }
}

/// In a double pulse the upper device of a short-rated part avalanches at turn-on or turn-off through the loop: an answer
/// instead of a doubt. Here the lower one is driven into it by a loop of 400 nH.
#[test]
fn avalanches_of_a_double_pulse_are_judged() {
    let folder = Folder::new(&[]);
    let args = [
        "double-pulse",
        "mosfet-sic-700v-12m",
        "--current",
        "60 A",
        "--voltage",
        "500 V",
        "--loop-inductance",
        "400 nH",
        "--gate-resistance",
        "2 ohm",
        "--quiet",
    ];
    let (code, json) = folder.json(&args);
    let name = "rating.part.mosfet.avalanche-energy.largest";
    let joules = value(&json, name);
    println!("{joules} J, code {code}");
    // At most what the loop holds, times BV/(BV − V).
    assert!(joules > 1e-5 && joules < 0.5 * 400e-9 * 60.0 * 60.0 * 900.0 / (900.0 - 500.0) * 1.1, "{joules}");
    assert!(!json["doubts"].to_string().contains("avalanche"), "{}", json["doubts"]);
}
