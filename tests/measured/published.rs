//! Fits to waveforms that others published with their values.

use serde_json::Value;

use crate::common::answers::{answer, rows, value};
use crate::common::folder::Folder;
use crate::common::misra1a::{B, DEVIATIONS, POINTS, SQUARES, law};
use crate::common::typed::{component, with};

/// From stated states to an end.
fn steps(end: &str) -> String {
    format!("[steps]\nend = \"{end}\"\nstart = \"stated\"\n")
}

/// The node `out` by a column of a file.
fn record(name: &str, file: &str, column: &str) -> String {
    format!(
        "[[measured]]\nname = \"{name}\"\nfile = \"{file}\"\n\
         [[measured.channel]]\nsignal = \"voltage(out)\"\ncolumn = \"{column}\"\n"
    )
}

fn number(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap_or_else(|| panic!("{key} of {row}"))
}

/// The law of [`misra1a`](crate::common::misra1a) is a capacitor's voltage, charged through a resistor: b1 the supply's voltage, b2 = 1/RC.
#[test]
fn a_measured_course_gives_its_certified_values() {
    let squares: f64 = POINTS.iter().map(|(x, y)| (y - law(*x, &B)).powi(2)).sum();
    assert!((squares / SQUARES - 1.0).abs() < 1e-9, "{squares}");
    // The second of the certified starts, (250, 5e-4): 2000 ohm and 1 F.
    let scenario = [
        "format = 2\n".to_string(),
        with("supply", "voltage-source", ["in", "gnd"], "value", "250 V"),
        with("R", "resistor", ["in", "out"], "resistance", "2 kohm"),
        component("C", "capacitor", ["out", "gnd"], "capacitance = \"1 F\"\ninitial-voltage = \"0 V\""),
        steps("800 s\"\nbase = \"1 s"),
        record("observed", "misra1a.csv", "y"),
    ]
    .concat();
    let lines: String = POINTS.iter().map(|(x, y)| format!("{x},{y}\n")).collect();
    let folder = Folder::new(&[("s.toml", &scenario), ("misra1a.csv", &format!("time,y\ns,V\n{lines}"))]);
    let paths = ["component.supply.value", "component.R.resistance"];
    let (code, report) =
        folder.json(&["fit", "@s.toml", "--parameter", paths[0], "--parameter", paths[1], "--no-estimate"]);
    assert_eq!(code, 0, "{report}");
    // Residuals of two signs in long rows: more than white noise, which enlarges the errors as stated.
    let enlarged = number(&rows(&report, "noise")[0], "enlarged");
    let certified = [(B[0], DEVIATIONS[0]), (1.0 / B[1], DEVIATIONS[1] / (B[1] * B[1]))];
    for (path, (right, deviation)) in paths.iter().zip(certified) {
        let (found, error) = (value(&report, path), value(&report, &format!("{path}.standard_error")));
        assert!((found / right - 1.0).abs() < 1e-5, "{path}: {found} and {right}");
        assert!(
            (error / enlarged / deviation - 1.0).abs() < 0.01,
            "{path}: {error}/{enlarged} and {deviation}"
        );
    }
    let rms = number(&rows(&report, "measured")[0], "rms");
    assert!((rms / (SQUARES / 14.0).sqrt() - 1.0).abs() < 1e-5, "{rms}");
}

/// The lightning impulse 1.2/50 as two exponentials, 1/α₁ = 68.2 µs and 1/α₂ = 0.405 µs, its peak 1/1.037 of their
/// factor (Kuffel, Zaengl & Kuffel, High Voltage Engineering, ch. 8; from memory).
const ALPHA: [f64; 2] = [1.0 / 68.2e-6, 1.0 / 0.405e-6];

fn impulse(t: f64) -> f64 {
    (-ALPHA[0] * t).exp() - (-ALPHA[1] * t).exp()
}

/// An impulse generator of one stage (C1 through R1 into C2 and R2) fitted to it: its characteristic equation
/// s² + s·(1/R1C1 + 1/R1C2 + 1/R2C2) + 1/(R1·R2·C1·C2) = 0 has the two as its roots (Kirchhoff), and the fitted run has a
/// front of 1.2 µs, 1/0.6 of the time from 30 % to 90 %, and 50 µs to half of the peak from its virtual origin (IEC
/// 60060-1; from memory).
#[test]
fn the_standard_lightning_impulse_gives_its_generator() {
    const C: [f64; 2] = [20e-9, 1e-9];
    let (sum, product) = (ALPHA[0] + ALPHA[1], ALPHA[0] * ALPHA[1]);
    // Of the two solutions that with the small front resistance: 1/R1 from a·x² − sum·x + product·C1 = 0.
    let a = 1.0 / C[0] + 1.0 / C[1];
    let x = (sum + (sum * sum - 4.0 * a * product * C[0]).sqrt()) / (2.0 * a);
    let right = [1.0 / x, 1.0 / ((sum - a * x) * C[1])];
    // v = U/(R1·C2·(α₂ − α₁))·(…); for a peak of the factor 1.
    let charged = right[0] * C[1] * (ALPHA[1] - ALPHA[0]);
    let of =
        |farads: &str, volts: f64| format!("capacitance = \"{farads}\"\ninitial-voltage = \"{volts} V\"");
    let scenario = [
        "format = 2\n".to_string(),
        component("stage", "capacitor", ["a", "gnd"], &of("20 nF", 1e6 * charged)),
        with("front", "resistor", ["a", "out"], "resistance", "400 ohm"),
        component("object", "capacitor", ["out", "gnd"], &of("1 nF", 0.0)),
        with("tail", "resistor", ["out", "gnd"], "resistance", "3.5 kohm"),
        // Short steps: straight lines join what is simulated.
        steps("100 us\"\nbase = \"10 ns"),
        record("standard", "impulse.csv", "v"),
    ]
    .concat();
    // Front and tail, in kV of a 1 MV impulse.
    let instants: Vec<f64> =
        (0..60).map(|k| 50e-9 * f64::from(k)).chain((2..49).map(|k| 2e-6 * f64::from(k))).collect();
    let lines: String = instants.iter().map(|t| format!("{t:e},{:e}\n", 1e3 * impulse(*t))).collect();
    let csv = format!("time,v\ns,kV\n{lines}");
    let folder = Folder::new(&[("s.toml", &scenario), ("impulse.csv", &csv)]);
    let paths = ["component.front.resistance", "component.tail.resistance"];
    let (code, report) = folder.json(&["fit", "@s.toml", "--parameter", paths[0], "--parameter", paths[1]]);
    assert_eq!(code, 0, "{report}");
    for (path, right) in paths.iter().zip(right) {
        let found = answer(&report, path);
        let (x, error) = (number(found, "value"), number(found, "error"));
        assert!((x / right - 1.0).abs() < 1e-4, "{path}: {x} and {right}");
        assert!((x - right).abs() <= error.max(1e-5 * right), "{path}: {x} and {right}, ± {error}");
    }
    let run: Vec<(f64, f64)> =
        rows(&report, "residuals").iter().map(|r| (number(r, "time"), number(r, "simulated"))).collect();
    let peak = run.iter().map(|p| p.1).fold(0.0, f64::max);
    assert!((peak * 1.037 / 1e6 - 1.0).abs() < 1e-3, "{peak}");
    let crossing = |level: f64, rises: bool| {
        let met = run.windows(2).find(|w| {
            let [a, b] = [w[0].1 - level * peak, w[1].1 - level * peak];
            if rises { a < 0.0 && b >= 0.0 } else { a > 0.0 && b <= 0.0 }
        });
        let w = met.expect("it crosses");
        w[0].0 + (w[1].0 - w[0].0) * (level * peak - w[0].1) / (w[1].1 - w[0].1)
    };
    let (t30, t90) = (crossing(0.3, true), crossing(0.9, true));
    let front = (t90 - t30) / 0.6;
    assert!((front / 1.2e-6 - 1.0).abs() < 0.01, "{front}");
    let half = crossing(0.5, false) - (t30 - 0.3 * front);
    assert!((half / 50e-6 - 1.0).abs() < 0.01, "{half}");
}
