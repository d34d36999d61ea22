//! The table of a batch: HDF5 through the result store, and CSV.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::Path;

use crate::batch::block::note;
use crate::batch::row::Row;
use crate::batch::variant::Study;
use crate::result::{ResultError, Table, TableColumn, write_table};

/// Writes the HDF5 table; the same rows give the same bytes.
///
/// # Errors
/// Those of the file.
pub fn hdf5(path: &Path, study: &Study, rows: &BTreeMap<usize, Row>) -> Result<(), ResultError> {
    let mut columns = Vec::new();
    for (k, input) in study.plan.inputs.iter().enumerate() {
        let values = rows.keys().map(|variant| study.inputs(*variant)[k]).collect();
        columns.push(TableColumn { name: &input.name, unit: &input.slot.unit, role: "input", values });
    }
    for (k, output) in study.outputs.iter().enumerate() {
        let values = rows.values().map(|row| row.outputs[k]).collect();
        columns.push(TableColumn { name: &output.name, unit: &output.unit, role: "output", values });
    }
    let table = Table {
        title: &study.plan.title,
        text: &study.text,
        digest: &study.digest,
        lanes: study.lanes as i64,
        lanes_note: &note(study.lanes),
        variants: rows.keys().map(|v| *v as i64).collect(),
        columns,
        status: rows.values().map(|r| r.status.word()).collect(),
        verdict: rows.values().map(|r| r.verdict.word()).collect(),
        error: rows.values().map(|r| r.error.as_str()).collect(),
    };
    write_table(path, &table)
}

/// Writes the table as CSV (RFC 4180): a line of names, each with its unit in brackets, and a line per variant; a
/// number that is none is an empty cell.
///
/// # Errors
/// Those of the stream.
pub fn csv(out: &mut dyn Write, study: &Study, rows: &BTreeMap<usize, Row>) -> io::Result<()> {
    let mut writer = csv::Writer::from_writer(out);
    let names = study.plan.inputs.iter().map(|i| (&i.name, &i.slot.unit));
    let names = names.chain(study.outputs.iter().map(|o| (&o.name, &o.unit)));
    let named = names.map(|(name, unit)| if unit == "1" { name.clone() } else { format!("{name} [{unit}]") });
    let header: Vec<String> = std::iter::once("variant".to_string()).chain(named).collect();
    let last = ["status", "verdict", "error"].map(str::to_string);
    writer.write_record(header.iter().chain(&last))?;
    for (variant, row) in rows {
        let numbers = study.inputs(*variant).iter().chain(&row.outputs);
        let number = |x: &f64| if x.is_nan() { String::new() } else { format!("{x:?}") };
        let mut record = vec![variant.to_string()];
        record.extend(numbers.map(number));
        record.extend([row.status.word().to_string(), row.verdict.word().to_string(), row.error.clone()]);
        writer.write_record(&record)?;
    }
    writer.flush()
}
