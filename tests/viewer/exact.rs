//! What the viewer tells is what the file holds: samples bit for bit, minima and maxima of all samples, integrals
//! against closed forms.

use std::f64::consts::TAU;
use std::ops::Range;

use joulestep::output::result::ResultFile;
use serde_json::Value;

use super::{COUPLING, HOSTILE, NAMES, STEP, Served, served, value, written};

const SAMPLES: usize = 300_000;

/// A window as it is sent.
struct Window {
    block: usize,
    range: Range<usize>,
    begins: Vec<f64>,
    end: f64,
    rest: Vec<u8>,
}

fn real(bytes: &[u8], at: usize) -> f64 {
    f64::from_le_bytes(bytes[8 * at..8 * at + 8].try_into().unwrap())
}

impl Window {
    fn ask(served: &Served, group: &str, signals: &str, from: f64, to: f64, count: usize) -> Self {
        let what = format!("window?f=0&g={group}&s={signals}&from={from:e}&to={to:e}&n={count}");
        let answer = served.get(&what);
        assert_eq!(answer.status, 200, "{}", answer.text());
        let bytes = answer.body;
        let entries = real(&bytes, 1) as usize;
        let range = real(&bytes, 3) as usize..real(&bytes, 4) as usize;
        let begins = (0..entries).map(|k| real(&bytes, 8 + k)).collect();
        let rest = bytes[8 * (8 + entries)..].to_vec();
        assert_eq!(rest.len(), entries * 8 * signals.split(',').count());
        Self { block: real(&bytes, 0) as usize, range, begins, end: real(&bytes, 6), rest }
    }

    fn pairs(&self, signal: usize) -> Vec<[f32; 2]> {
        let entries = self.begins.len();
        let one = |at: usize| f32::from_le_bytes(self.rest[at..at + 4].try_into().unwrap());
        (0..entries).map(|k| 8 * (signal * entries + k)).map(|at| [one(at), one(at + 4)]).collect()
    }

    fn values(&self, signal: usize) -> Vec<f64> {
        let entries = self.begins.len();
        (0..entries).map(|k| real(&self.rest, signal * entries + k)).collect()
    }
}

#[test]
fn windows_hold_every_extreme_and_come_down_to_the_samples() {
    let (_folder, served) = served(SAMPLES);
    // From everything down to some samples: through all levels of the overview.
    for (from, to, count) in [
        (-1.0, 1.0, 3),
        (0.0, 0.03, 1000),
        (1e-3, 1.2e-2, 3000),
        (5.000_05e-3, 6e-3, 400),
        (1e-3, 1.005e-3, 20),
        (1e-3, 1.000_3e-3, 100),
        (0.5, 0.6, 100),
        (-2.0, -1.0, 100),
    ] {
        let window = Window::ask(&served, "w", "0,2,4", from, to, count);
        let Window { block, range, begins, .. } = &window;
        assert!(range.start as f64 * STEP <= from.max(0.0) + STEP, "{from} to {to}");
        assert!(range.end == SAMPLES || range.end as f64 * STEP > to, "{from} to {to}");
        assert_eq!(begins.len(), range.len().div_ceil(*block), "{from} to {to}");
        assert!(begins.len() <= 2 * count + 4, "{} of {count}", begins.len());
        let begun: Vec<f64> = range.clone().step_by(*block).map(|k| k as f64 * STEP).collect();
        assert_eq!(*begins, begun);
        let end = if range.end < SAMPLES { range.end } else { SAMPLES - 1 };
        assert_eq!(window.end, end as f64 * STEP);
        for (place, signal) in [0, 2, 4].into_iter().enumerate() {
            if *block == 1 {
                let expected: Vec<f64> = range.clone().map(|k| value(signal, k)).collect();
                assert_eq!(window.values(place), expected, "{from} to {to}");
                continue;
            }
            for ([low, high], begin) in window.pairs(place).into_iter().zip(range.clone().step_by(*block)) {
                let inside = (begin..(begin + block).min(range.end)).map(|k| value(signal, k) as f32);
                assert_eq!(low, inside.clone().fold(f32::INFINITY, f32::min), "{from} to {to}, {begin}");
                assert_eq!(high, inside.fold(f32::NEG_INFINITY, f32::max), "{from} to {to}, {begin}");
            }
        }
    }
    // Temperatures have no overview in the file.
    let window = Window::ask(&served, "t", "0", 0.0, 0.03, 10);
    assert_eq!(window.range, 0..SAMPLES / COUPLING);
    for ([low, high], begin) in window.pairs(0).into_iter().zip((0..).step_by(window.block)) {
        let at = |k: usize| (50.0 + 1e-3 * (k * COUPLING) as f64) as f32;
        assert_eq!([low, high], [at(begin), at((begin + window.block).min(SAMPLES / COUPLING) - 1)]);
    }
}

#[test]
fn a_cursor_near_a_sample_tells_it_bit_for_bit() {
    let (folder, served) = served(SAMPLES);
    let file = ResultFile::open(&folder.path().join("a.h5")).unwrap();
    let time = file.time(0..SAMPLES).unwrap();
    for t in [-1.0, 0.0, 4.9e-8, 5.1e-8, 1e-3, 0.012_345_678_9, 0.029_999_9, 7.0] {
        let report = served.json(&format!("at?f=0&g=w&s=0,1,2,3,4&t={t:e}&reach=10"));
        let sample = report["samples"][0].as_u64().unwrap() as usize;
        assert_eq!(report["samples"][1], sample);
        let nearest = |a: &usize, b: &usize| (time[*a] - t).abs().total_cmp(&(time[*b] - t).abs());
        assert_eq!(Some(sample), (0..SAMPLES).min_by(nearest), "{t}");
        assert_eq!(report["time"].as_f64(), Some(time[sample]));
        for (c, (name, _)) in NAMES.iter().enumerate() {
            let held = file.window(name, sample..sample + 1).unwrap()[0];
            assert_eq!(report["values"][c].as_f64().unwrap().to_bits(), held.to_bits());
            assert_eq!(held, value(c, sample));
        }
    }
    let report = served.json("at?f=0&g=w&s=0&i=299999");
    assert_eq!(report["time"].as_f64(), Some(time[299_999]));
}

/// Between samples a cursor tells the straight line through both, or the earlier one where the signal holds; where no
/// line is drawn it tells nothing.
#[test]
fn a_cursor_between_samples_tells_what_the_line_shows() {
    let (_folder, served) = served(SAMPLES);
    let near = |found: &Value, expected: f64| {
        let found = found.as_f64().unwrap();
        assert!((found - expected).abs() <= 1e-12 * expected.abs(), "{found} against {expected}");
    };
    for (before, share) in [(0, 0.5), (5999, 0.01), (5999, 0.99), (6000, 0.3), (996, 0.25), (123_456, 0.7)] {
        let t = (before as f64 + share) * STEP;
        let report = served.json(&format!("at?f=0&g=w&s=0,1,2,3,4&t={t:e}"));
        assert_eq!(report["samples"], serde_json::json!([before, before + 1]));
        assert_eq!(report["time"].as_f64(), Some(t));
        near(&report["values"][0], 400.0 - 1e4 * t);
        near(&report["values"][1], 5.0 + 2e4 * t);
        let share = (t - before as f64 * STEP) / STEP;
        near(&report["values"][4], (1.0 - share) * value(4, before) + share * value(4, before + 1));
        assert_eq!(report["values"][3].as_f64(), Some(value(3, before)), "{before}");
    }
    // Temperatures have fewer samples: theirs is the line between those.
    let report = served.json("at?f=0&g=t&s=0&t=0.01234567");
    assert_eq!(report["samples"], serde_json::json!([1234, 1235]));
    near(&report["values"][0], 50.0 + 1e-3 * 0.012_345_67 / STEP);
    for t in [-1e-9, 0.03] {
        let report = served.json(&format!("at?f=0&g=w&s=0,3&t={t:e}"));
        assert_eq!(report["values"], serde_json::json!([null, null]), "{t}");
    }
    assert_eq!(served.get("at?f=0&g=w&s=0&t=1e-3&reach=x").status, 400);
}

/// Integrals of straight lines and their products are polynomials; of a whole number of periods of a sine, the mean
/// is 0 and the rms the amplitude over √2 (closed forms, any handbook of mathematics).
#[test]
fn integrals_between_samples_are_those_of_the_closed_forms() {
    let (_folder, served) = served(SAMPLES);
    let near = |found: &Value, expected: f64, within: f64| {
        let found = found.as_f64().unwrap();
        assert!((found - expected).abs() <= within * expected.abs(), "{found} against {expected}");
    };
    // More than one piece of the reader.
    let (first, last) = (1000, 201_000);
    let report = served.json(&format!("integrals?f=0&g=w&s=0,1,2,3&p=0:1,1:1&from={first}&to={last}"));
    let (a, b) = (first as f64 * STEP, last as f64 * STEP);
    let length = b - a;
    let line = |p: f64, q: f64| p * length + q * (b * b - a * a) / 2.0;
    let product = |p: f64, q: f64, r: f64, s: f64| {
        p * r * length + (p * s + q * r) * (b * b - a * a) / 2.0 + q * s * (b.powi(3) - a.powi(3)) / 3.0
    };
    near(&report["signals"][0]["integral"], line(400.0, -1e4), 1e-13);
    near(&report["signals"][1]["integral"], line(5.0, 2e4), 1e-13);
    near(&report["signals"][0]["square"], product(400.0, -1e4, 400.0, -1e4), 1e-13);
    near(&report["products"][0], product(400.0, -1e4, 5.0, 2e4), 1e-13);
    near(&report["products"][1], product(5.0, 2e4, 5.0, 2e4), 1e-13);
    assert_eq!(report["products"][1], report["signals"][1]["square"]);
    assert_eq!(report["samples"], last - first + 1);
    // 200 periods; the straight lines between 1000 samples a period miss (2π/1000)²/6 of the square's integral.
    let sine = &report["signals"][2];
    assert!(sine["integral"].as_f64().unwrap().abs() < 1e-9 * 12.0 * length);
    let mean_square = sine["square"].as_f64().unwrap() / length;
    let missed = (TAU / 1000.0).powi(2) / 6.0;
    assert!((mean_square / 72.0 - (1.0 - missed)).abs() < 1e-8, "{mean_square}");
    near(&sine["max"], 12.0, 1e-12);
    near(&sine["min"], -12.0, 1e-12);
    // The line goes on at sample 6000, at once.
    near(&report["signals"][3]["integral"], (201_000 - 6000) as f64 * STEP, 1e-12);
    near(&report["signals"][3]["square"], (201_000 - 6000) as f64 * STEP, 1e-12);
    assert_eq!(report["signals"][0]["max_at"].as_f64(), Some(first as f64 * STEP));
    // Between instants that are no samples: straight lines stay exact, and what holds begins where it begins.
    let (a, b) = (5998.7 * STEP, 6001.5 * STEP);
    let report =
        served.json(&format!("integrals?f=0&g=w&s=0,1,3&p=0:1,3:1&from=5998&to=6002&a={a:e}&b={b:e}"));
    let length = b - a;
    let line = |p: f64, q: f64, a: f64| p * (b - a) + q * (b * b - a * a) / 2.0;
    near(&report["signals"][0]["integral"], line(400.0, -1e4, a), 1e-12);
    near(&report["signals"][0]["max"], 400.0 - 1e4 * a, 1e-14);
    near(&report["signals"][1]["max"], 5.0 + 2e4 * b, 1e-14);
    near(&report["signals"][2]["integral"], 1.5 * STEP, 1e-9);
    near(&report["products"][1], line(5.0, 2e4, 6000.0 * STEP), 1e-9);
    assert_eq!((report["begin"].as_f64(), report["end"].as_f64()), (Some(a), Some(b)));
    near(&report["signals"][0]["integral"], length * (400.0 - 1e4 * (a + b) / 2.0), 1e-12);
    // Both within one interval.
    let (a, b) = (7.2 * STEP, 7.6 * STEP);
    let report = served.json(&format!("integrals?f=0&g=w&s=0&from=7&to=8&a={a:e}&b={b:e}"));
    near(&report["signals"][0]["integral"], (b - a) * (400.0 - 1e4 * (a + b) / 2.0), 1e-12);
    // A single sample has no length.
    let report = served.json("integrals?f=0&g=w&s=0&from=7&to=7");
    assert_eq!(report["signals"][0]["integral"], 0.0);
}

#[test]
fn csv_holds_every_sample_with_all_digits() {
    let (_folder, served) = served(SAMPLES);
    let (first, last) = (100, 20_099);
    let answer = served.get(&format!("csv?f=0&g=w&s=4,1&from={first}&to={last}"));
    assert_eq!(answer.status, 200);
    assert!(answer.header("content-disposition").unwrap().starts_with("attachment"));
    let text = answer.text();
    let mut lines = text.split("\r\n");
    let quoted = HOSTILE.replace('"', "\"\"");
    assert_eq!(lines.next(), Some(&*format!("time (s),\"{quoted} (V)\",load.current (A)")));
    for k in first..=last {
        let line = lines.next().unwrap();
        let numbers: Vec<f64> = line.split(',').map(|n| n.parse().unwrap()).collect();
        assert_eq!(numbers, [k as f64 * STEP, value(4, k), value(1, k)], "{line}");
    }
    assert_eq!((lines.next(), lines.next()), (Some(""), None));
    let span = served.json("span?f=0&g=w&from=0.001&to=0.002");
    assert_eq!((span["first"].as_u64(), span["count"].as_u64()), (Some(10_000), Some(10_001)));
}

#[test]
fn the_page_is_told_what_the_file_says_about_itself() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.h5");
    written(&path, 9000);
    let other = folder.path().join("b.h5");
    written(&other, 500);
    let served = Served::start(&[&path, &other]);
    let report = served.json("meta");
    let file = &report["files"][0];
    assert_eq!(file["title"], "</title><script>window.hostile = 2</script> breaker");
    assert_eq!((file["name"].as_str(), file["complete"].as_bool()), (Some("a.h5"), Some(true)));
    assert_eq!(file["w"]["samples"], 9000);
    assert_eq!(file["w"]["to"].as_f64(), Some(8999.0 * STEP));
    for (c, (name, unit)) in NAMES.iter().enumerate() {
        let signal = &file["w"]["signals"][c];
        assert_eq!(signal["holds"], name.starts_with("line("));
        assert_eq!((signal["name"].as_str(), signal["unit"].as_str()), (Some(*name), Some(*unit)));
        let values = (0..9000).map(|k| value(c, k));
        assert_eq!(signal["max"].as_f64(), values.clone().reduce(f64::max));
        assert_eq!(signal["min"].as_f64(), values.reduce(f64::min));
    }
    assert_eq!((&file["t"]["samples"], &report["files"][1]["w"]["samples"]), (&90.into(), &500.into()));
    let events = served.json("events?f=0");
    assert_eq!((events["all"].as_u64(), events["events"][0]["note"].as_str()), (Some(1), Some(HOSTILE)));
    assert_eq!(events["events"][0]["time"].as_f64(), Some(6000.0 * STEP));
    assert_eq!(served.json("events?f=1")["all"], 0);
}
