//! The shipped plan: its schema, its table, and what the page about tables says of reading it.

use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

use serde_json::Value;

use super::program::ended;
use crate::common::program::{Done, joulestep};
use crate::common::python::{output_of, python};

const PLAN: &str = "examples/inrush-tolerances.toml";

/// The plan's batch with everything that it can write, run once for all that look at it.
fn batch() -> &'static (tempfile::TempDir, Done) {
    static BATCH: OnceLock<(tempfile::TempDir, Done)> = OnceLock::new();
    BATCH.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let [out, csv, parquet, svg] = ["table.h5", "table.csv", "table.parquet", "table.svg"]
            .map(|name| folder.path().join(name).to_str().unwrap().to_string());
        let files = ["--out", &out, "--csv", &csv, "--parquet", &parquet, "--svg", &svg];
        let done = joulestep(&[&["batch", PLAN, "--progress", "json"], &files[..]].concat());
        assert!(done.code <= 1, "{}{}", done.out, done.err);
        (folder, done)
    })
}

fn file(name: &str) -> PathBuf {
    batch().0.path().join(name)
}

/// By a schema implementation that is not ours: every shipped plan fits, and a wrong key of a study does not.
#[test]
fn the_shipped_plans_fit_the_schema_that_knows_every_study() {
    let schema: Value = serde_json::from_str(&joulestep(&["schema", "plan"]).out).unwrap();
    let validator = crate::common::schema::validator_for(&schema).unwrap();
    for study in joulestep::study::CATALOGUE {
        let table = study.section.name;
        assert!(schema["properties"][table].is_object(), "no table of `{}`", study.name);
        let wrong = serde_json::json!({
            "format": 1, "sampling": { "kind": "grid" }, "vary": [], table: { "no-such-key": 1 }
        });
        assert!(!validator.is_valid(&wrong), "`{table}` takes a key that it has not");
    }
    let mut count = 0;
    for file in fs::read_dir("examples").unwrap() {
        let path = file.unwrap().path();
        let text = if path.extension().is_some_and(|e| e == "toml") {
            fs::read_to_string(&path).unwrap()
        } else {
            continue;
        };
        if !text.contains("\n[sampling]\n") {
            continue;
        }
        let plan: toml::Table = text.parse().unwrap();
        let fits = validator.validate(&serde_json::to_value(&plan).unwrap());
        assert!(fits.is_ok(), "{}: {fits:?}", path.display());
        count += 1;
    }
    assert!(count >= 3, "{count} plans");
}

#[test]
fn the_shipped_plan_runs() {
    let done = &batch().1;
    assert!(ended(&done.out, "done", 200), "{}{}", done.out, done.err);
    let last: Value = serde_json::from_str(done.err.lines().last().unwrap()).unwrap();
    assert_eq!((&last["finished"], &last["of"]), (&Value::from(200), &Value::from(200)));
    assert!(fs::read_to_string(file("table.svg")).unwrap().contains("Tornado"));
}

#[test]
#[cfg_attr(not(all(with_h5py, with_pandas)), ignore = "no Python with h5py and pandas")]
fn the_shipped_script_reads_the_table() {
    let printed = output_of(python().arg("examples/read_batch.py").arg(file("table.h5")));
    assert!(printed.contains("200 variants, complete") && printed.contains("done"), "{printed}");
}

/// Every block of Python on the page about tables, as it stands there, where its tables are.
#[test]
#[cfg_attr(
    not(all(with_xarray, with_h5netcdf, with_pandas, with_pyarrow)),
    ignore = "no Python with xarray, h5netcdf, pandas and pyarrow"
)]
fn the_page_about_tables_says_what_python_does() {
    let page = fs::read_to_string("examples/batch-tables.md").unwrap();
    let blocks = page.split("\n\n").filter(|b| b.starts_with("    import "));
    let blocks: Vec<String> = blocks
        .map(|b| b.lines().map(|l| l.trim_start_matches("    ")).collect::<Vec<_>>().join("\n"))
        .collect();
    assert_eq!(blocks.len(), 3);
    for block in blocks {
        let code =
            format!("{block}\nprint('length', len(table['heatsink'] if 'heatsink' in table else table))");
        let printed = output_of(python().current_dir(batch().0.path()).args(["-c", &code]));
        assert!(printed.contains("length 200"), "{code}\n{printed}");
    }
}
