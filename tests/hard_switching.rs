//! Hard switching of the shipped cascodes: a leg without load against its charge, energies against the literature.

use std::path::Path;

use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_models::arrangement::double_pulse::{Bench, Point, run as pulse};
use joulestep_models::capacitances::output_charge;
use joulestep_models::part::Part;

use crate::common::answers::value;
use crate::common::program::describe;
use crate::common::technologies::{of_kind, on_gate};

/// Two thirds of the rated voltage or less, as such parts are used, V.
fn working_voltage(part: &Part) -> f64 {
    match part.rated_voltage().unwrap() as u32 {
        700 => 400.0,
        900 => 500.0,
        1100 => 650.0,
        _ => 800.0,
    }
}

fn leg(part: &Part, ohms: f64) -> String {
    format!(
        r#"format = 2
[arrangement]
kind = "half-bridge"
part = "{}"
supply-voltage = "{} V"
frequency = "100 kHz"
duty = 0.5
dead-time = "200 ns"
gate-resistance = "{ohms} ohm"
choke = "100 mH"
[steps]
end = "20 us"
base = "512 ns"
finest = "0.25 ns"
[record]
signals = ["voltage(mid)"]
"#,
        part.name,
        working_voltage(part)
    )
}

/// A leg without load charges and discharges both output capacitances twice a period and loses 2·Q_oss·V (derived: what
/// the source gives, all of it lost). More is shoot-through, or avalanche of a loop that rings undamped. With 15 Ω to
/// 20 Ω at the gates it is at most 15 % more, and the middle nodes keep the rating of their MOSFETs; with 5 Ω, 50 %
/// more.
#[test]
fn a_leg_without_load_loses_its_charge() {
    let folder = tempfile::tempdir().unwrap();
    for part in of_kind("cascode") {
        let volts = working_voltage(&part);
        let charge = output_charge(part.entry(), &part.values, &[volts], 25.0).unwrap()[0].charge;
        for (ohms, most) in [(5.0, 1.5), (15.0, 1.15), (20.0, 1.15)] {
            let text = leg(&part, ohms);
            let path = folder.path().join("leg.toml");
            std::fs::write(&path, &text).unwrap();
            let found = describe(&["cycle", path.to_str().unwrap(), "--json"]);
            let ratio = value(&found, "losses") / 100e3 / (2.0 * charge * volts);
            println!("{}: {ratio:.3} of 2·Q_oss·V at {ohms} ohm", part.name);
            assert!((1.0..=most).contains(&ratio), "{}: {ratio} at {ohms} ohm", part.name);
            if ohms < 10.0 {
                continue;
            }
            let scenario = read(Path::new("leg.toml"), &|_| Ok(text.clone())).expect("it is right");
            let ready = build(&scenario).expect("it can be built");
            let mut run = ready.setup.ready().expect("it starts");
            run.advance(scenario.steps.end, &mut ()).expect("it runs");
            for (watch, seen) in run.watcher().watches().iter().zip(run.watcher().seen()) {
                if watch.name.ends_with(".middle") {
                    let rated = part.values.number("mosfet-rated-voltage");
                    let most = seen.largest;
                    assert!(most < rated, "{} at {ohms} ohm: {} {most} V", part.name, watch.name);
                }
            }
        }
    }
}

/// Energies of a double pulse with 15 Ω at 25 °C. SiC JFETs, cascodes and MOSFETs of the 1200 V class lose about 10 µJ
/// per ampere in turn-on and turn-off together at 800 V and some tens of amperes (Biela, Schweizer, Waffler & Kolar,
/// IEEE Trans. Ind. Electron. 58 (2011) 2872; from memory, order of magnitude only: a factor of three either way);
/// between V (overlap) and V² (charge), that goes as V^1.5. What comes back through the upper cascode is charge of its
/// output capacitance with the overshoot of the loop, below two and a half times Q_oss; its low-voltage diode stores
/// little (common practice, no source).
#[test]
fn energies_are_of_the_order_of_the_literature() {
    for (part, amperes) in of_kind("cascode").into_iter().map(|p| {
        let area = p.die("jfet").unwrap().area * 1e6;
        (p, 6.0 * area)
    }) {
        let voltage = working_voltage(&part);
        let point = Point { current: amperes, voltage, gate_resistance: 15.0, celsius: 25.0 };
        let o = pulse(&part, &part, &Bench::new(on_gate(&part), 0.0), &point).unwrap();
        let charge = output_charge(part.entry(), &part.values, &[voltage], 25.0).unwrap()[0].charge;
        let recovered = o.upper_whole.unwrap().0;
        let each = (o.on.energy + o.off.energy) / amperes * 1e6;
        println!(
            "{}: {voltage} V, {amperes:.0} A: E_on {:.0} uJ, E_off {:.0} uJ, {each:.1} uJ/A; Q {:.2} of Q_oss",
            part.name,
            o.on.energy * 1e6,
            o.off.energy * 1e6,
            recovered / charge
        );
        let usual = 10.0 * (voltage / 800.0).powf(1.5);
        assert!((usual / 3.0..3.0 * usual).contains(&each), "{}: {each} uJ/A, about {usual}", part.name);
        assert!((1.0..2.5).contains(&(recovered / charge)), "{}: {recovered:e} C", part.name);
    }
}
