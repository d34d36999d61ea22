//! Miller clamp and desaturation.

use joulestep_engine::recorder::EventKind;

use super::Recorded;
use crate::common::typed::{component, drive, turns, with};

fn gate_drive(off: &str, more: &str) -> String {
    drive("gate", "on", ["15 V", off], "10 ohm", more)
}

/// A drain that rises by 25 V/ns for 16 ns lifts the gate by R·C_gd·dv/dt·(1 − e^(−t/τ)), τ = R·(C_gs + C_gd): by the
/// turn-off resistance without a clamp, by the clamp's with one.
#[test]
fn a_miller_clamp_holds_the_gate() {
    let text = |clamp: &str| {
        format!(
            "format = 2\n{}{}{}{}{}{}[steps]\nend = \"1.2 us\"\n[record]\nsignals = [\"voltage(gate)\"]\n",
            component(
                "drain",
                "voltage-source",
                ["drain", "gnd"],
                r#"points = [["0 s", "0 V"], ["1 us", "0 V"], ["1.016 us", "400 V"]]"#
            ),
            with("gate-drain", "capacitor", ["drain", "gate"], "capacitance", "20 pF"),
            with("gate-source", "capacitor", ["gate", "gnd"], "capacitance", "1 nF"),
            turns("on", "10 ns", true),
            turns("on", "500 ns", false),
            gate_drive("-3 V", &format!("off-resistance = \"15 ohm\"\n{clamp}")),
        )
    };
    let peak = |r: f64| r * 20e-12 * 25e9 * (1.0 - (-16e-9 / (r * 1.02e-9)).exp());
    for (clamp, r) in [("", 15.0), ("clamp-resistance = \"0.5 ohm\"", 0.5)] {
        let found = Recorded::of(&text(clamp));
        let after = found.memory.time.iter().zip(&found.memory.samples).filter(|s| *s.0 > 1e-6);
        let most = after.map(|s| s.1[0]).fold(f64::NEG_INFINITY, f64::max);
        assert!((most + 3.0 - peak(r)).abs() < 2e-3 * peak(r), "{r}: {most} and {}", peak(r) - 3.0);
        // The clamp changes nothing while the gate is above its level.
        let fall = found.at(0, 510e-9);
        assert!(fall > 5.0, "{fall}");
    }
}

/// A switch that never comes out of saturation: blanking and filter after its turn-on, then the trip. One whose voltage
/// comes down in time does not trip, nor one that is off.
#[test]
fn desaturation_is_seen_after_the_blanking() {
    let text = |points: &str| {
        format!(
            r#"format = 2
{}{}{}{}
[[protection]]
name = "desat"
kind = "desaturation"
watches = "voltage(drain)"
threshold = "7 V"
drive = "driver"
blanking = "2 us"
filter = "300 ns"
trip = "short"
[steps]
end = "10 us"
[record]
signals = ["voltage(drain)", "line(short)"]
"#,
            component("switch", "voltage-source", ["drain", "gnd"], &format!("points = {points}")),
            with("gate", "capacitor", ["gate", "gnd"], "capacitance", "1 nF"),
            turns("on", "1 us", true),
            gate_drive("0 V", "inhibit = [\"short\"]\ndelay = \"100 ns\""),
        )
    };
    let stuck = Recorded::of(&text(r#"[["0 s", "400 V"]]"#));
    let trips = stuck.events(EventKind::Trip);
    assert_eq!(trips.len(), 1, "{trips:?}");
    assert!((trips[0].time - (1e-6 + 100e-9 + 2e-6 + 300e-9)).abs() < 1e-12, "{}", trips[0].time);
    let edges: Vec<_> = stuck.events(EventKind::Edge).iter().map(|e| e.action).collect();
    assert_eq!(edges.len(), 2, "{edges:?}");
    // Down after 1.5 µs: nothing. Up again later: at that instant and the filter.
    let good = r#"[["0 s", "400 V"], ["2.5 us", "400 V"], ["2.6 us", "1 V"]]"#;
    assert!(Recorded::of(&text(good)).events(EventKind::Trip).is_empty());
    let later =
        r#"[["0 s", "400 V"], ["2.5 us", "400 V"], ["2.6 us", "1 V"], ["5 us", "1 V"], ["5.1 us", "101 V"]]"#;
    let later = Recorded::of(&text(later));
    let trips = later.events(EventKind::Trip);
    assert!(trips.len() == 1 && (trips[0].time - (5.006e-6 + 300e-9)).abs() < 1e-10, "{trips:?}");
}
