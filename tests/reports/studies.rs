//! Every study leaves a file of one form, and every file makes a report.

use std::fs;
use std::path::{Path, PathBuf};

use joulestep::output::answer::Study;
use joulestep_engine::units::people_digits;

use super::{done, judged, page, text};
use crate::common::answers::{rows, value};
use crate::common::program::describe;
use crate::common::python::{output_of, python};

const RATING: &[&str] = &[
    "rating",
    "cascode-700v-7m",
    "mosfet-sic-700v-12m",
    "--fault",
    "500 A",
    "--points",
    "12",
    "--parallel",
    "3",
    "--total",
    "90 A",
];

fn run(folder: &Path, name: &str, args: &[&str]) -> PathBuf {
    let out = folder.join(format!("{name}.h5"));
    judged(&[args, &["--out", text(&out)]].concat());
    out
}

/// Tables hold every digit that the CSV tells, and the report the numbers of the JSON.
#[test]
fn files_hold_what_the_command_prints() {
    let folder = tempfile::tempdir().unwrap();
    let args = RATING;
    let result = run(folder.path(), "rating", args);
    let study = Study::read(&result).unwrap();
    let surge = study.tables.iter().find(|t| t.name == "surge").unwrap();
    assert_eq!(surge.data.csv(), done(&[args, &["--csv"]].concat(), 0));
    let json = describe(&[args, &["--json"]].concat());
    let out = folder.path().join("rating.html");
    done(&["report", text(&result), "-o", text(&out)], 0);
    let page = page::parsed(&out);
    for part in ["cascode-700v-7m", "mosfet-sic-700v-12m"] {
        let current = value(&json, &format!("{part}.continuous.current"));
        let row = format!("{part}:continuouscurrent{}", people_digits(current, "A", 3));
        let row: String = row.split_whitespace().collect();
        assert!(page.text.split_whitespace().collect::<String>().contains(&row), "{row}: {}", page.text);
    }
    // The figure's curve is the table's column.
    let joulestep::output::plot::Panel::Chart(chart) = &study.figures[0].figure.panels[0] else {
        panic!("a chart")
    };
    let curve = &rows(&json, "surge")[..chart.curves[0].points.len()];
    for (row, point) in curve.iter().zip(&chart.curves[0].points) {
        assert_eq!((row["width"].as_f64(), row["current"].as_f64()), (Some(point.0), Some(point.1)));
    }
}

#[test]
fn measured_points_have_a_report() {
    let folder = tempfile::tempdir().unwrap();
    let points = folder.path().join("points.csv");
    // Z = 0.4·(1 − exp(−t/0.02)) + 0.6·(1 − exp(−t/1)), K/W.
    let z = |t: f64| 0.4 * (1.0 - (-t / 0.02).exp()) + 0.6 * (1.0 - (-t).exp());
    let lines = (0..30).map(|k| 1e-4 * 10f64.powf(f64::from(k) / 6.0)).map(|t| format!("{t},{}\n", z(t)));
    fs::write(&points, lines.collect::<String>()).unwrap();
    let out = folder.path().join("fit.h5");
    done(&["impedance", "--points", text(&points), "--terms", "2", "--out", text(&out)], 0);
    let html = folder.path().join("fit.html");
    done(&["report", text(&out), "-o", text(&html)], 0);
    let page = page::parsed(&html);
    assert!(page.text.contains("thermal resistance in all: 1.00 K/W"), "{}", page.text);
}

/// A batch: yield, limits and percentiles are those that the command tells; drawn and readable.
#[test]
fn a_batch_has_a_report() {
    let folder = tempfile::tempdir().unwrap();
    let plan = fs::read_to_string("examples/inrush-tolerances.toml").unwrap();
    let plan = plan.replace("variants = 200", "variants = 24");
    let file = folder.path().join("plan.toml");
    fs::write(&file, plan).unwrap();
    fs::copy("examples/inrush-chains.toml", folder.path().join("inrush-chains.toml")).unwrap();
    let table = folder.path().join("table.h5");
    let json = describe(&["batch", text(&file), "--out", text(&table), "--json", "--quiet"]);
    let out = folder.path().join("batch.html");
    done(&["report", text(&table), "-o", text(&out)], 0);
    let page = page::parsed(&out);
    let kept = &json["yield"];
    let sentence = format!(
        "The yield is {} of {} variants ({:.2} %; with 95 % confidence {:.2} % to {:.2} %",
        kept["variants"],
        kept["of"],
        100.0 * kept["variants"].as_f64().unwrap() / kept["of"].as_f64().unwrap(),
        100.0 * kept["lower"].as_f64().unwrap(),
        100.0 * kept["upper"].as_f64().unwrap(),
    );
    assert!(page.text.contains(&sentence), "{sentence}\n{}", page.text);
    let output = &json["outputs"].as_array().unwrap()[0];
    let median = output["percentiles"]["50"].as_f64().unwrap();
    let shown = joulestep_engine::units::people(median, output["unit"].as_str().unwrap());
    assert!(page.text.contains(&shown), "{shown}");
    for words in ["Histogram", "Tornado", "Percentiles of the requested outputs", "plan.toml"] {
        assert!(page.text.contains(words), "{words}");
    }
}

/// Read from outside: every table as a data frame with units, every curve as x and y.
#[test]
#[cfg_attr(
    not(all(with_h5py, with_xarray, with_h5netcdf)),
    ignore = "no Python with h5py, xarray and h5netcdf"
)]
fn studies_are_read_from_outside() {
    let folder = tempfile::tempdir().unwrap();
    let args = RATING;
    let result = run(folder.path(), "rating", args);
    let script = "
import sys, json, h5py
f = h5py.File(sys.argv[1])
assert f.attrs['study'] == 'rating' and f.attrs['complete'] == 1, dict(f.attrs)
surge = f['tables/surge']
curve = f['figures/1/1/1']
out = {
    'columns': surge.attrs['columns'].split('\\n'),
    'units': {k: surge[k].attrs.get('units', '') for k in surge},
    'current': [float(x).hex() for x in surge['current'][:]],
    'parts': [p.decode() for p in surge['part'][:]],
    'y': [float(x).hex() for x in curve['y'][:]],
    'scale': curve['y'].dims[0][0].name,
}
print(json.dumps(out))
import xarray
d = xarray.open_dataset(sys.argv[1], group='tables/surge', engine='h5netcdf')
frame = d.to_dataframe()
assert len(frame) == len(out['current']) and d['current'].attrs['units'] == 'A', frame
";
    let printed = output_of(python().args(["-c", script]).arg(&result));
    let read: serde_json::Value = serde_json::from_str(&printed).unwrap();
    let study = Study::read(&result).unwrap();
    let surge = &study.tables.iter().find(|t| t.name == "surge").unwrap().data;
    let names: Vec<&str> = surge.heads.iter().map(|h| h.name.as_str()).collect();
    assert_eq!(read["columns"], serde_json::json!(names));
    assert_eq!(read["units"]["width"], "s");
    assert_eq!(read["parts"].as_array().unwrap().len(), surge.rows.len());
    assert_eq!(read["current"].as_array().unwrap().len(), surge.rows.len());
    assert_eq!(read["scale"], "/figures/1/1/1/x");
    let first = &read["current"].as_array().unwrap()[..12];
    assert_eq!(first, read["y"].as_array().unwrap().as_slice());
}
