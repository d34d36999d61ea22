//! The viewer: who is let in, whether what it tells is what the file holds, and the page in a real browser.

use std::f64::consts::TAU;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use joulestep::diagnostic::Sources;
use joulestep::output::result::{ResultWriter, WriterOptions};
use joulestep_engine::recorder::{Column, Event, EventKind, Layout, Recorder};
use serde_json::Value;

use crate::common::http::{self, Answer};

mod access;
mod connections;
mod exact;
mod growing;
mod long;
mod page;
mod readings;

/// A name that must stay text.
const HOSTILE: &str = "<img src=x onerror=\"window.hostile=1\">&amp;'\"";
/// A scenario whose texts must stay text.
const SCENARIO: &str = "format = 2\ntitle = \"</title><script>window.hostile = 2</script> breaker\"\n";
/// Distance of samples, s.
const STEP: f64 = 1e-7;
/// Distance of temperatures, in samples.
const COUPLING: usize = 100;

const NAMES: [(&str, &str); 5] =
    [("voltage(bus)", "V"), ("load.current", "A"), ("breaker.gate", "V"), ("line(trip)", ""), (HOSTILE, "V")];

/// The value of signal `c` at sample `k`.
fn value(c: usize, k: usize) -> f64 {
    let t = k as f64 * STEP;
    match c {
        // A straight line and another: their product is a parabola.
        0 => 400.0 - 1e4 * t,
        1 => 5.0 + 2e4 * t,
        2 => 12.0 * (TAU * 1e4 * t).sin(),
        3 => f64::from(u8::from(k >= 6000)),
        _ => (k % 997) as f64 * 0.1,
    }
}

fn layout() -> Layout {
    let column =
        |name: &str, unit: &str| Column { name: name.into(), long_name: String::new(), unit: unit.into() };
    Layout {
        channels: NAMES.iter().map(|(name, unit)| column(name, unit)).collect(),
        thermal: vec![column("jfet", "degC")],
        heat: vec![],
        watched: vec![],
    }
}

/// Records samples of the run.
fn record(writer: &mut ResultWriter, from: usize, to: usize) {
    for k in from..to {
        let t = k as f64 * STEP;
        writer.sample(t, &[0, 1, 2, 3, 4].map(|c| value(c, k)));
        if k % COUPLING == 0 {
            writer.thermal(t, &[50.0 + 1e-3 * k as f64]);
        }
        if k == 6000 {
            let note = HOSTILE.to_string();
            let event = Event::new(t, EventKind::Trip, "overcurrent");
            writer.event(&Event { note, value: 17.0, unit: "A", ..event });
        }
    }
}

/// A file with that many samples.
fn written(path: &Path, samples: usize) {
    let mut writer =
        ResultWriter::create(path, &Sources::of_text(SCENARIO), WriterOptions::default()).unwrap();
    writer.begin(&layout());
    record(&mut writer, 0, samples);
    writer.finish(true, None, None).unwrap();
}

/// A file with that many samples, `a.h5` in a folder of its own, in a viewer.
fn served(samples: usize) -> (tempfile::TempDir, Served) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.h5");
    written(&path, samples);
    let served = Served::start(&[&path]);
    (folder, served)
}

/// Checkpoints often.
fn hasty() -> WriterOptions {
    WriterOptions { checkpoint_interval: Duration::from_millis(20), ..WriterOptions::default() }
}

/// A viewer that runs; ended when it goes out of scope.
pub struct Served {
    program: Child,
    port: u16,
    address: String,
}

impl Served {
    pub fn start(files: &[&Path]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
        command.arg("view").args(files).args(["--no-open", "--json"]);
        let mut program = command.stdin(Stdio::null()).stdout(Stdio::piped()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(program.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let report: Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
        let port = report["port"].as_u64().unwrap().try_into().unwrap();
        Self { program, port, address: report["address"].as_str().unwrap().into() }
    }

    /// The path of the page, with the token.
    fn path(&self) -> &str {
        &self.address[format!("http://127.0.0.1:{}", self.port).len()..]
    }

    /// Asks as the page asks.
    fn get(&self, what: &str) -> Answer {
        let host = format!("Host: 127.0.0.1:{}", self.port);
        http::request(self.port, "GET", &format!("{}{what}", self.path()), &[&host], b"").unwrap()
    }

    /// An answer that must be there.
    pub fn json(&self, what: &str) -> Value {
        let answer = self.get(what);
        assert_eq!(answer.status, 200, "{what}: {}", answer.text());
        answer.json()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}
