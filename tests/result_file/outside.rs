//! The file read from outside: by h5py (the HDF Group's C library) and by xarray through the h5netcdf and netCDF4
//! engines.

use std::fs;
use std::path::{Path, PathBuf};

use joulestep::output::result::{Precision, block_length};
use serde_json::{Map, Value, json};

use super::written::*;
use crate::common::python::{output_of, python};

/// Lets `tests/result_file/read.py` compare the file with what is expected of it.
pub fn compare_from_outside(path: &Path, expected: &Value, engines: &[&str]) {
    let list = path.with_extension("json");
    fs::write(&list, expected.to_string()).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/result_file/read.py");
    print!("{}", output_of(python().arg(script).arg(path).arg(&list).args(engines)));
}

/// The expectation being gathered: numbers go to files of their own, so that they are compared as bytes.
struct Expected {
    folder: PathBuf,
    value: Value,
}

impl Expected {
    fn new(folder: &Path, complete: u8) -> Self {
        let none = || Value::Object(Map::new());
        let value = json!({
            "numbers": none(), "texts": none(), "attributes": none(), "dims": none(), "complete": complete,
        });
        Self { folder: folder.to_owned(), value }
    }

    fn bytes(&mut self, path: &str, dims: &[&str], bytes: Vec<u8>) {
        let count = self.value["numbers"].as_object().map_or(0, Map::len);
        let file = self.folder.join(format!("{count}.bin"));
        fs::write(&file, bytes).unwrap();
        self.value["numbers"][path] = json!(file);
        if !dims.is_empty() {
            self.value["dims"][path] = json!(dims);
        }
    }

    fn numbers(&mut self, path: &str, dims: &[&str], values: impl IntoIterator<Item = f64>) {
        self.bytes(path, dims, values.into_iter().flat_map(f64::to_le_bytes).collect());
    }

    fn texts<'a>(&mut self, path: &str, dim: &str, texts: impl IntoIterator<Item = &'a str>) {
        self.value["texts"][path] = texts.into_iter().collect();
        self.value["dims"][path] = json!([dim]);
    }

    fn attribute(&mut self, path: &str, name: &str, value: impl Into<Value>) {
        self.value["attributes"][path][name] = value.into();
    }
}

/// Everything that `write` put into the file.
fn expected(folder: &Path, samples: usize, precision: Precision) -> Value {
    let memory = describe(samples);
    let mut e = Expected::new(folder, 1);
    let stored = |value: f64| match precision {
        Precision::Double => value.to_le_bytes().to_vec(),
        Precision::Single => (value as f32).to_le_bytes().to_vec(),
    };
    e.attribute("/", "producer", "joulestep");
    e.texts("inputs/name", "name", [""]);
    e.texts("inputs/text", "name", [SCENARIO]);
    e.attribute("/", "format_version", 2);
    e.numbers("waveforms/time", &["time"], memory.time.iter().copied());
    e.attribute("waveforms/time", "units", "s");
    let channels = &memory.layout.channels;
    let plain = channels[..3].iter().map(|column| column.name.as_str());
    for (c, dataset) in plain.chain(HOSTILE_DATASETS).enumerate() {
        let (column, values) = (&channels[c], channel(&memory, c));
        let path = format!("waveforms/{dataset}");
        e.bytes(&path, &["time"], values.iter().flat_map(|&value| stored(value)).collect());
        e.attribute(&path, "units", if column.unit.is_empty() { "1" } else { &column.unit });
        let long_name = if column.long_name.is_empty() { &column.name } else { &column.long_name };
        if !long_name.is_empty() {
            e.attribute(&path, "long_name", long_name.as_str());
        }
        if column.name != dataset && !column.name.is_empty() {
            e.attribute(&path, "original_name", column.name.as_str());
        }
        let holds = column.name.starts_with("line(");
        if holds {
            e.attribute(&path, "interpolation", "previous");
        }
        // In the overview "extreme" is the name of an axis.
        let dataset = if dataset == "extreme" { "extreme_2" } else { dataset };
        for level in 1..=4 {
            let path = format!("overview/{level}/{dataset}");
            let pairs = extremes(&values, level).into_iter().flatten();
            e.bytes(&path, &["time", "extreme"], pairs.flat_map(stored).collect());
            if holds {
                e.attribute(&path, "interpolation", "previous");
            }
        }
    }
    for level in 1..=4 {
        let path = format!("overview/{level}/time");
        e.numbers(&path, &["time"], memory.time.iter().copied().step_by(block_length(level)));
        e.attribute(&path, "samples_per_block", block_length(level) as f64);
        e.texts(&format!("overview/{level}/extreme"), "extreme", ["minimum", "maximum"]);
    }
    e.numbers("thermal/time", &["time"], memory.thermal_time.iter().copied());
    for (c, node) in ["Q1.jfet", "Q1.mosfet"].into_iter().enumerate() {
        let path = format!("thermal/{node}");
        e.numbers(&path, &["time"], memory.thermal.iter().map(|celsius| celsius[c]));
        e.attribute(&path, "units", "degC");
    }
    let events = &memory.events;
    e.numbers("events/time", &["time"], events.iter().map(|event| event.time));
    e.numbers("events/value", &["time"], events.iter().map(|event| event.value));
    e.texts("events/kind", "time", events.iter().map(|event| event.kind.word()));
    e.texts("events/subject", "time", events.iter().map(|event| &*event.subject));
    e.texts("events/note", "time", events.iter().map(|event| &*event.note));
    e.texts("events/unit", "time", events.iter().map(|event| event.unit));
    let rows = &memory.rows;
    e.bytes("steps/row", &["row"], (0..rows.len() as i64).flat_map(i64::to_le_bytes).collect());
    e.texts("steps/kind", "row", rows.iter().map(|row| row.kind));
    e.texts("steps/subject", "row", rows.iter().map(|row| &*row.subject));
    e.numbers("steps/begin", &["row"], rows.iter().map(|row| row.begin));
    e.numbers("steps/end", &["row"], rows.iter().map(|row| row.end));
    e.numbers("steps/heat", &["row", "heat_input"], rows.iter().flat_map(|row| row.heat.clone()));
    e.numbers("steps/temperature", &["row", "heat_input"], rows.iter().flat_map(|r| r.temperature.clone()));
    e.numbers("steps/peak", &["row", "watched"], rows.iter().flat_map(|row| row.peaks.clone()));
    e.texts("steps/heat_input", "heat_input", ["Q1.jfet", "Q1.mosfet"]);
    e.texts("steps/watched", "watched", ["voltage(drain)", "Q1.current", "voltage(gate)"]);
    e.texts("steps/watched_unit", "watched", ["V", "A", "V"]);
    let ledger = ledger();
    e.texts("ledger/component", "component", ledger.rows.iter().map(|row| &*row.component));
    e.numbers("ledger/delivered", &["component"], ledger.rows.iter().map(|row| row.delivered));
    e.numbers("ledger/dissipated", &["component"], ledger.rows.iter().map(|row| row.dissipated));
    e.numbers("ledger/stored_change", &["component"], ledger.rows.iter().map(|row| row.stored_change));
    e.attribute("ledger/delivered", "units", "J");
    e.attribute("ledger", "residual", ledger.residual);
    e.attribute("ledger", "residual_relative", ledger.residual_relative);
    e.numbers("summary/peak drain voltage", &[], [731.25]);
    e.attribute("summary/peak drain voltage", "units", "V");
    e.attribute("summary/peak drain voltage", "maximum", 750.0);
    e.attribute("summary/peak drain voltage", "verdict", "passes");
    e.attribute("summary/hottest junction", "verdict", "fails");
    e.numbers("summary/v_i", &[], [3.0]);
    e.attribute("summary/v_i", "original_name", "v/i");
    e.attribute("summary", "verdict", "fails");
    e.value
}

fn every_group_is_read(engines: &[&str]) {
    for (precision, deflate) in [(Precision::Double, 1), (Precision::Single, 6), (Precision::Double, 0)] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("outside.h5");
        let samples = 5000;
        write(&path, samples, small(precision, deflate));
        let expected = expected(folder.path(), samples, precision);
        compare_from_outside(&path, &expected, engines);
    }
}

#[test]
#[cfg_attr(not(with_h5py), ignore = "no Python with h5py")]
fn h5py_reads_every_group() {
    every_group_is_read(&[]);
}

#[test]
#[cfg_attr(
    not(all(with_h5py, with_xarray, with_h5netcdf)),
    ignore = "no Python with h5py, xarray and h5netcdf"
)]
fn xarray_reads_every_group_by_h5netcdf() {
    every_group_is_read(&["h5netcdf"]);
}

#[test]
#[cfg_attr(
    not(all(with_h5py, with_xarray, with_netcdf4)),
    ignore = "no Python with h5py, xarray and netCDF4"
)]
fn xarray_reads_every_group_by_netcdf4() {
    every_group_is_read(&["netcdf4"]);
}

/// Jumps in a record, as a general-purpose reader sees them: instants rise, so that labels are unique; the nearest
/// sample and the value between samples can be asked for, and have the value of the wave.
const JUMPS: &str = r#"
import sys
import numpy as np
import xarray

for engine in sys.argv[2:]:
    for group in ("waveforms", "thermal"):
        with xarray.open_dataset(sys.argv[1], group=group, engine=engine) as data:
            time = data["time"].values
            assert len(time) > 20, len(time)
            assert (np.diff(time) > 0).all(), f"{group}: {(np.diff(time) <= 0).sum()} instants do not rise"
            assert data.indexes["time"].is_unique and data.indexes["time"].is_monotonic_increasing
    with xarray.open_dataset(sys.argv[1], group="waveforms", engine=engine) as data:
        v = data["voltage(a)"]
        # 100 V for 5.4 us of 20 us; requested away from the jumps and right at them.
        at = np.array([1e-6, 5.3e-6, 5.5e-6, 19.9e-6, 21e-6, 1.9055e-3])
        want = np.array([100.0, 100.0, 0.0, 0.0, 100.0, 0.0])
        near = v.sel(time=at, method="nearest").values
        assert (near == want).all(), near
        between = v.interp(time=at).values
        assert np.allclose(between, want, rtol=0, atol=1e-9), between
        energy = float((v * v).integrate("time"))
        assert abs(energy / 5.4 - 1) < 1e-9, energy
    print(f"xarray {xarray.__version__} with {engine}: {len(time)} instants rise")
"#;

#[test]
#[cfg_attr(
    not(all(with_xarray, with_h5netcdf, with_scipy)),
    ignore = "no Python with xarray, h5netcdf and scipy"
)]
fn xarray_selects_and_interpolates_at_jumps() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let scenario = r#"
format = 2
component = [
    { name = "supply", kind = "voltage-source", pins = ["a", "gnd"], points = [["0 s", "100 V"], ["5.4 us", "100 V"], ["5.4 us", "0 V"], ["20 us", "0 V"]], period = "20 us" },
    { name = "R1", kind = "resistor", pins = ["a", "gnd"], resistance = "1 ohm", heat = "R1", temperature-coefficient = "1e-12 1/K" },
]
[[thermal.boundary]]
name = "air"
temperature = "25 degC"
[[thermal.chain]]
name = "R1"
kind = "cauer"
end = "air"
capacitance = ["1 J/K"]
resistance = ["1 K/W"]
[steps]
end = "2 ms"
base = "1 us"
coupling = "20 us"
[record]
signals = ["voltage(a)"]
"#;
    std::fs::write(path("s.toml"), scenario).unwrap();
    let done = crate::common::program::joulestep(&["run", &path("s.toml"), "--out", &path("s.h5")]);
    assert_eq!(done.code, 0, "{}{}", done.out, done.err);
    let script = ["-c", JUMPS, &path("s.h5"), "h5netcdf"];
    print!("{}", crate::common::python::output_of(crate::common::python::python().args(script)));
}

/// A file of an earlier format is refused with its version, by the reader and by the program.
#[test]
#[cfg_attr(not(with_h5py), ignore = "no Python with h5py")]
fn a_file_of_format_1_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("old.h5");
    write(&path, 100, small(Precision::Double, 0));
    let code = "import sys, h5py\nwith h5py.File(sys.argv[1], 'r+') as f: f.attrs['format_version'] = 1";
    output_of(python().args(["-c", code]).arg(&path));
    let expected = "format 1 of an earlier Joulestep";
    let error = joulestep::output::result::ResultFile::open(&path).map(|_| ()).unwrap_err().to_string();
    assert!(error.contains(expected) && error.contains("format 2, which this program reads"), "{error}");
    let out = folder.path().join("r.html");
    let run =
        crate::common::program::joulestep(&["report", path.to_str().unwrap(), "-o", out.to_str().unwrap()]);
    assert!(run.code != 0 && run.err.contains(expected), "{} {}", run.code, run.err);
}
