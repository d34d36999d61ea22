//! Measured beside simulated: the ring-down of a series RLC, whose waveform has a closed form, with known values and
//! noise.

mod published;

use nalgebra::{Matrix3, Vector3};
use serde_json::Value;

use crate::common::answers::{answer, rows, value};
use crate::common::folder::Folder;

/// What made the waveform: inductance (H), resistance (Ω), instant of the run at the record's zero (s).
const TRUE: [f64; 3] = [100e-9, 2.0, 3e-9];
const CAPACITANCE: f64 = 1e-9;
const VOLTAGE: f64 = 100.0;
/// Standard deviation of the noise, A.
const NOISE: f64 = 0.2;
const PATHS: [&str; 3] =
    ["component.loop.inductance", "component.winding.resistance", "measured.scope.trigger"];

const CIRCUIT: &str = r#"
format = 2
title = "Ring-down"
[[component]]
name = "store"
kind = "capacitor"
pins = ["a", "gnd"]
capacitance = "1 nF"
initial-voltage = "100 V"
[[component]]
name = "loop"
kind = "inductor"
pins = ["a", "b"]
inductance = "80 nH"
initial-current = "0 A"
[[component]]
name = "winding"
kind = "resistor"
pins = ["b", "gnd"]
resistance = "1.5 ohm"
[steps]
end = "300 ns"
start = "stated"
"#;
const RECORD: &str = r#"
[[measured]]
name = "scope"
file = "scope.csv"
trigger = "0 ns"
[[measured.channel]]
signal = "loop.current"
column = "CH1"
"#;

/// The current of a series RLC that discharges its capacitor: V/(ωL)·e^(−αt)·sin ωt, α = R/2L, ω² = 1/LC − α² (the
/// textbook's underdamped case).
fn current([l, r, zero]: [f64; 3], record_time: f64) -> f64 {
    let t = record_time + zero;
    let alpha = r / (2.0 * l);
    let omega = (1.0 / (l * CAPACITANCE) - alpha * alpha).sqrt();
    VOLTAGE / (omega * l) * (-alpha * t).exp() * (omega * t).sin()
}

/// Instants of the record, s; all of them within the run, wherever a fit may move them.
fn instants() -> impl Iterator<Item = f64> {
    (0..250).map(|k| 10e-9 + 1e-9 * f64::from(k))
}

/// The record with something added to each sample, in A.
fn csv(mut added: impl FnMut() -> f64) -> String {
    let lines = instants().map(|t| format!("{t:e},{:e}\n", current(TRUE, t) + added()));
    "Model,none\nTIME,CH1\ns,A\n".to_string() + &lines.collect::<String>()
}

/// Normal numbers from uniform ones (Box & Muller, Ann. Math. Stat. 29 (1958) 610), these by splitmix64 (Steele, Lea &
/// Flood, OOPSLA 2014).
fn normal(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0xd134_2543_de82_ef95);
    let mut uniform = move || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    };
    move || {
        let radius = (-2.0 * (1.0 - uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * uniform()).cos()
    }
}

/// Covariance of the three values by the closed form: σ²·(JᵀJ)⁻¹, J the derivatives of the current at every instant.
fn covariance() -> Matrix3<f64> {
    let mut information = Matrix3::zeros();
    for t in instants() {
        let slope = |k: usize| {
            let step = [1e-12, 1e-5, 1e-13][k];
            let moved = |by: f64| {
                let mut at = TRUE;
                at[k] += by;
                current(at, t)
            };
            (moved(step) - moved(-step)) / (2.0 * step)
        };
        let row = Vector3::new(slope(0), slope(1), slope(2));
        information += row * row.transpose() / (NOISE * NOISE);
    }
    information.try_inverse().expect("the values are determined")
}

fn fitted(folder: &Folder, more: &[&str]) -> Value {
    let parameters = PATHS.iter().flat_map(|p| ["--parameter", p]);
    let words: Vec<&str> =
        ["fit", "@s.toml"].into_iter().chain(parameters).chain(more.iter().copied()).collect();
    let (code, report) = folder.json(&words);
    assert_eq!(code, 0, "{report}");
    report
}

fn rlc(csv: &str, more: &str) -> Folder {
    Folder::new(&[("s.toml", &format!("{CIRCUIT}{RECORD}{more}")), ("scope.csv", csv)])
}

/// Twenty draws of noise: the values scatter around those that made the waveform with the covariance of the closed form,
/// and each fit states its own share of it.
#[test]
fn fits_scatter_with_their_covariance() {
    const DRAWS: u64 = 20;
    let covariance = covariance();
    let inverse = covariance.try_inverse().unwrap();
    let mut distance = 0.0;
    let mut own = [0.0; 3];
    let mut scatter = [0.0; 3];
    let mut correlation = 0.0;
    for seed in 1..=DRAWS {
        let mut noise = normal(seed);
        let folder = rlc(&csv(|| NOISE * noise()), "");
        let report = fitted(&folder, &["--no-estimate"]);
        let away = Vector3::from_fn(|k, _| value(&report, PATHS[k]) - TRUE[k]);
        distance += (away.transpose() * inverse * away)[0];
        for k in 0..3 {
            let deviation = covariance[(k, k)].sqrt();
            let stated = value(&report, &format!("{}.standard_error", PATHS[k]));
            // The noise of 250 samples is known to 1/√(2·247) = 4.5 %; four of these.
            assert!((stated / deviation - 1.0).abs() < 0.18, "{}: {stated} and {deviation}", PATHS[k]);
            own[k] += stated / deviation / DRAWS as f64;
            scatter[k] += (away[k] / deviation).powi(2);
        }
        let pairs = rows(&report, "correlations");
        let pair = pairs.iter().find(|r| r["parameter"] == PATHS[2] && r["with"] == PATHS[0]).unwrap();
        correlation += pair["correlation"].as_f64().unwrap() / DRAWS as f64;
    }
    // Chi-squared of 60 degrees of freedom, and of 20 for each value: between their 0.1 % and 99.9 % points (tables).
    assert!((31.74..99.61).contains(&distance), "{distance}");
    for (k, path) in PATHS.iter().enumerate() {
        assert!((5.92..45.31).contains(&scatter[k]), "{path}: {}", scatter[k]);
        assert!((own[k] - 1.0).abs() < 0.04, "{path}: {}", own[k]);
    }
    let closed = covariance[(2, 0)] / (covariance[(2, 2)] * covariance[(0, 0)]).sqrt();
    assert!((correlation - closed).abs() < 0.01, "{correlation} and {closed}");
}

/// Without noise the values come back within the numerical error that is stated beside them.
#[test]
fn a_waveform_without_noise_gives_its_values_back() {
    let folder = rlc(&csv(|| 0.0), "");
    let report = fitted(&folder, &[]);
    for (path, right) in PATHS.iter().zip(TRUE) {
        let found = answer(&report, path);
        let (x, error) = (found["value"].as_f64().unwrap(), found["error"].as_f64().unwrap());
        assert!((x / right - 1.0).abs() < 1e-4, "{path}: {x} and {right}");
        assert!((x - right).abs() <= error.max(1e-5 * right), "{path}: {x} and {right}, ± {error}");
    }
}

/// Noise with a memory of 20 ns, an AR(1) process: standard errors that ignored it would be too small.
#[test]
fn correlated_residuals_enlarge_the_errors() {
    const MEMORY: f64 = 0.8;
    let mut scatter = [0.0; 2];
    const DRAWS: u64 = 12;
    for seed in 1..=DRAWS {
        let (mut noise, mut last) = (normal(100 + seed), 0.0);
        let record = csv(|| {
            last = MEMORY * last + NOISE * (1.0 - MEMORY * MEMORY).sqrt() * noise();
            last
        });
        let report = fitted(&rlc(&record, ""), &["--no-estimate"]);
        let channel = &rows(&report, "noise")[0];
        let rho = channel["correlation"].as_f64().unwrap();
        assert!((rho - MEMORY).abs() < 0.2, "{rho}");
        let enlarged = channel["enlarged"].as_f64().unwrap();
        assert!((enlarged - ((1.0 + rho) / (1.0 - rho)).sqrt()).abs() < 1e-9 * enlarged);
        assert!(report["notes"].to_string().contains("correlate from sample to sample"), "{report}");
        for k in 0..2 {
            let stated = value(&report, &format!("{}.standard_error", PATHS[k]));
            scatter[k] += ((value(&report, PATHS[k]) - TRUE[k]) / stated).powi(2) / DRAWS as f64;
        }
    }
    // Not beyond the 99.9 % point of chi-squared with 12 degrees of freedom, 32.9/12.
    assert!(scatter.iter().all(|s| *s < 2.75), "{scatter:?}");
}

/// The residuals of a run are those of the closed form: an offset stays as such, and the channel's own takes it away.
#[test]
fn residuals_of_a_run_are_those_of_the_closed_form() {
    let right = CIRCUIT.replace("80 nH", "100 nH").replace("1.5 ohm", "2 ohm");
    let record = RECORD.replace("0 ns", "3 ns");
    let shifted = csv(|| 0.5);
    for (more, rms) in [("", 0.5), ("offset = \"-500 mA\"\n", 0.0), ("scale = 0\n", f64::NAN)] {
        let scenario = format!("{right}{record}{more}");
        let folder = Folder::new(&[("s.toml", &scenario), ("scope.csv", &shifted)]);
        let (code, report) = folder.json(&["run", "@s.toml", "--no-estimate"]);
        assert_eq!(code, 0, "{report}");
        let row = &rows(&report, "measured")[0];
        assert_eq!(row["signal"], "scope.loop.current");
        assert_eq!((row["samples"].as_f64(), row["unit"].as_str()), (Some(250.0), Some("A")));
        let rms = if rms.is_nan() {
            let squares: f64 = instants().map(|t| current(TRUE, t).powi(2)).sum();
            (squares / 250.0).sqrt()
        } else {
            rms
        };
        let (found, largest) = (row["rms"].as_f64().unwrap(), row["largest_residual"].as_f64().unwrap());
        assert!((found - rms).abs() < 1e-3, "{more}: {found} and {rms}");
        assert!(largest >= found);
        let all = rows(&report, "residuals");
        assert_eq!(all.len(), 250);
        let [t, x] = ["time", "simulated"].map(|key| all[99][key].as_f64().unwrap());
        assert!((x - current(TRUE, t - TRUE[2])).abs() < 1e-3, "{x} at {t}");
    }
}

/// A batch over the run has a column of each channel's residuals, which are those of a run with the same values, alone
/// and in lanes.
#[test]
fn a_batch_has_columns_of_the_residuals() {
    let plan = "format = 2\nscenario = \"s.toml\"\n\
                vary = [{ name = \"L\", value = \"component.loop.inductance\", kind = \"values\", values = [\"80 nH\", \"100 nH\"] }]\n\
                [sampling]\nkind = \"grid\"\n";
    let folder = rlc(&csv(|| 0.0), "");
    let mut all = Vec::new();
    for lanes in ["", "lanes = 1\n"] {
        std::fs::write(folder.path("plan.toml"), plan.replacen("scenario", &format!("{lanes}scenario"), 1))
            .unwrap();
        let done =
            folder.ask(&["batch", "@plan.toml", "--out", "@t.h5", "--csv", "@t.csv", "--quiet", "--force"]);
        assert_eq!(done.code, 0, "{}{}", done.out, done.err);
        all.push(std::fs::read_to_string(folder.path("t.csv")).unwrap());
    }
    assert_eq!(all[0], all[1]);
    let lines: Vec<Vec<&str>> = all[0].lines().map(|l| l.split(',').collect()).collect();
    for (row, inductance) in [(1, "80 nH"), (2, "100 nH")] {
        std::fs::write(folder.path("one.toml"), format!("{}{RECORD}", CIRCUIT.replace("80 nH", inductance)))
            .unwrap();
        let (_, report) = folder.json(&["run", "@one.toml", "--no-estimate"]);
        for (column, key) in [("rms", "rms"), ("largest_residual", "largest_residual")] {
            let name = format!("scope.loop.current.{column}");
            let k = lines[0].iter().position(|h| *h == format!("{name} [A]")).unwrap_or_else(|| {
                panic!("no column {name}: {:?}", lines[0]);
            });
            let found: f64 = lines[row][k].parse().unwrap();
            let right = rows(&report, "measured")[0][key].as_f64().unwrap();
            assert!((found - right).abs() <= 1e-12 * right, "{name}: {found} and {right}");
        }
    }
}

/// The record is in the file, in the report and in the viewer.
#[test]
fn a_record_goes_where_the_waveforms_go() {
    let folder = rlc(&csv(|| 0.0), "");
    let done = folder.ask(&["run", "@s.toml", "--out", "@r.h5", "--plot", "@r.svg", "--quiet"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let picture = std::fs::read_to_string(folder.path("r.svg")).unwrap();
    assert!(picture.contains("loop.current measured"), "{picture}");
    let done = folder.ask(&["report", "@r.h5", "-o", "@r.html"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let page = std::fs::read_to_string(folder.path("r.html")).unwrap();
    assert!(page.matches("loop.current measured").count() >= 1 && page.contains("rms residual"));
    let path = folder.path("r.h5");
    let served = crate::viewer::Served::start(&[std::path::Path::new(&path)]);
    let meta = served.json("meta");
    let file = &meta["files"][0];
    assert_eq!(file["groups"], serde_json::json!(["w", "t", "m1"]));
    assert_eq!(file["m1"]["samples"], 250);
    assert_eq!(file["m1"]["signals"][0]["name"], "loop.current measured");
    let at = served.json("at?f=0&g=m1&s=0&t=1.0e-8&reach=1e-12");
    let there = at["values"][0].as_f64().unwrap();
    assert!((there - current(TRUE, 10e-9)).abs() < 1e-9, "{there}");
}

/// Times and channels of a fit may lie outside the run, in windows, and in other units.
#[test]
fn windows_units_and_skew_are_taken_into_account() {
    let lines: String = instants()
        .map(|t| format!("{};{}\n", 1e9 * t, 1e3 * current(TRUE, t - 4e-9)).replace('.', ","))
        .collect();
    let text = format!("Zeit (ns);Strom [mA]\n{lines}");
    let record = RECORD.replace("\"CH1\"", "\"Strom\"\nskew = \"4 ns\"").replace("0 ns", "3 ns");
    let record =
        record.replace("[[measured.channel]]", "from = \"29.5 ns\"\nto = \"100.5 ns\"\n[[measured.channel]]");
    let right = CIRCUIT.replace("80 nH", "100 nH").replace("1.5 ohm", "2 ohm");
    let folder = Folder::new(&[("s.toml", &format!("{right}{record}")), ("scope.csv", &text)]);
    let (code, report) = folder.json(&["run", "@s.toml", "--no-estimate"]);
    assert_eq!(code, 0, "{report}");
    let row = &rows(&report, "measured")[0];
    assert_eq!(row["samples"], 71.0);
    assert!(row["rms"].as_f64().unwrap() < 1e-3, "{row}");
    // Fitted from elsewhere, over the same samples.
    let folder = Folder::new(&[("s.toml", &format!("{CIRCUIT}{record}")), ("scope.csv", &text)]);
    let words = ["fit", "@s.toml", "--parameter", PATHS[0], "--parameter", PATHS[1], "--no-estimate"];
    let (code, report) = folder.json(&words);
    assert_eq!(code, 0, "{report}");
    assert_eq!(rows(&report, "measured")[0]["samples"], 71.0);
    assert!((value(&report, PATHS[0]) / 100e-9 - 1.0).abs() < 1e-4, "{report}");
}

#[test]
fn questions_without_an_answer_are_refused() {
    let folder = rlc(&csv(|| 0.0), "");
    let fit = |parameter: &'static str| ["fit", "@s.toml", "--parameter", parameter];
    folder.refuses(2, &fit("component.loop.inductnce"), "did you mean `inductance`?");
    folder.refuses(2, &fit("measured.channel.noise"), "does not give");
    folder.refuses(2, &["fit", "@s.toml", "--parameter", PATHS[0], "--parameter", PATHS[0]], "named twice");
    let none = Folder::new(&[("s.toml", CIRCUIT)]);
    none.refuses(2, &fit(PATHS[0]), "no [[measured]]");
    let outside = RECORD.replace("0 ns", "1 ms");
    let outside = Folder::new(&[("s.toml", &format!("{CIRCUIT}{outside}")), ("scope.csv", &csv(|| 0.0))]);
    outside.refuses(2, &fit(PATHS[0]), "0 samples within the run");
}
