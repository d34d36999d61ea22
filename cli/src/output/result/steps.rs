//! `/steps`: one row per coupling interval and per edge of a drive.

use joulestep_engine::recorder::{Column, Layout, Row};

use super::archive::Archive;
use super::error::ResultError;
use super::store::Store;
use super::structure::{Form, Growing};
use super::writer::WriterOptions;

/// Rows in a chunk.
const CHUNK: usize = 64;

/// Width of `kind`, bytes.
const WORD: usize = 16;

/// Width of `subject`.
const NAME: usize = 64;

/// The account's rows as columns; tables hold one vector per row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StepTable {
    /// "interval" or "edge", of each row.
    pub kind: Vec<String>,
    /// The drive whose edge begins the row; empty for an interval.
    pub subject: Vec<String>,
    /// Start, s.
    pub begin: Vec<f64>,
    /// End, s.
    pub end: Vec<f64>,
    /// Names of the heat inputs.
    pub heat_inputs: Vec<String>,
    /// Heat of each heat input over the row, J.
    pub heat: Vec<Vec<f64>>,
    /// Temperature of each heat input at the row's end, °C.
    pub temperature: Vec<Vec<f64>>,
    /// Names of the watched voltages and currents.
    pub watched: Vec<String>,
    /// Their unit symbols.
    pub watched_unit: Vec<String>,
    /// Peak of each watched quantity over the row.
    pub peak: Vec<Vec<f64>>,
}

/// The group being written.
pub(super) struct Steps {
    heats: usize,
    watched: usize,
    written: i64,
    waiting: Vec<Row<f64>>,
}

impl Steps {
    pub(super) fn create(
        store: &mut Store,
        layout: &Layout,
        options: &WriterOptions,
    ) -> Result<Self, ResultError> {
        let growing = |name, width, deflate, units, long_name| Growing {
            group: "steps",
            name,
            width,
            chunk: CHUNK,
            deflate,
            units,
            long_name,
        };
        let deflate = options.deflate;
        store.grow_integers(&growing("row", None, deflate, "1", "number of the row"))?;
        store.scale("steps/row", "row")?;
        store.grow_texts::<WORD>(&growing("kind", None, deflate, "", "interval or edge"))?;
        store.grow_texts::<NAME>(&growing(
            "subject",
            None,
            deflate,
            "",
            "drive whose edge begins the row",
        ))?;
        store.grow_reals(Form::Double, &growing("begin", None, deflate, "s", "start of the row"))?;
        store.grow_reals(Form::Double, &growing("end", None, deflate, "s", "end of the row"))?;
        let mut along_row = vec!["kind", "subject", "begin", "end"];
        let mut tables = Vec::new();
        let (heats, watched) = (layout.heat.len(), layout.watched.len());
        if heats > 0 {
            store.texts("steps", "heat_input", &names(&layout.heat), "heat input")?;
            store.scale("steps/heat_input", "heat_input")?;
            tables.push(("heat", "heat_input", heats, "J", "heat over the row"));
            tables.push(("temperature", "heat_input", heats, "degC", "temperature at the row's end"));
        }
        if watched > 0 {
            store.texts("steps", "watched", &names(&layout.watched), "watched voltage or current")?;
            store.scale("steps/watched", "watched")?;
            let units: Vec<String> = layout.watched.iter().map(|column| column.unit.clone()).collect();
            store.texts("steps", "watched_unit", &units, "unit of the watched quantity")?;
            store.attach("steps/watched_unit", 0, "steps/watched")?;
            tables.push(("peak", "watched", watched, "", "peak over the row, in watched_unit"));
        }
        for (name, axis, width, units, long_name) in tables {
            store.grow_reals(Form::Double, &growing(name, Some(width), deflate, units, long_name))?;
            store.attach(&format!("steps/{name}"), 1, &format!("steps/{axis}"))?;
            along_row.push(name);
        }
        for name in along_row {
            store.attach(&format!("steps/{name}"), 0, "steps/row")?;
        }
        Ok(Self { heats, watched, written: 0, waiting: Vec::new() })
    }

    /// Takes the row in; true when it was appended to the file with its chunk.
    pub(super) fn add(&mut self, store: &mut Store, row: Row<f64>) -> Result<bool, ResultError> {
        let found = [row.heat.len(), row.temperature.len(), row.peaks.len()];
        let expected = [self.heats, self.heats, self.watched];
        if found != expected {
            return Err(ResultError::content(
                store.path(),
                format!("a row with {found:?} heats, temperatures and peaks"),
                format!("{expected:?} as the layout says"),
            ));
        }
        self.waiting.push(row);
        let full = self.waiting.len() == CHUNK;
        if full {
            self.finish(store)?;
        }
        Ok(full)
    }

    /// Appends what waits.
    pub(super) fn finish(&mut self, store: &mut Store) -> Result<(), ResultError> {
        let rows = &self.waiting;
        if rows.is_empty() {
            return Ok(());
        }
        let numbers: Vec<i64> = (self.written..).take(rows.len()).collect();
        store.append("steps/row", &numbers)?;
        store.append_texts::<WORD>("steps/kind", &rows.iter().map(|row| row.kind).collect::<Vec<_>>())?;
        store.append_texts::<NAME>(
            "steps/subject",
            &rows.iter().map(|row| row.subject.as_str()).collect::<Vec<_>>(),
        )?;
        store.append("steps/begin", &rows.iter().map(|row| row.begin).collect::<Vec<_>>())?;
        store.append("steps/end", &rows.iter().map(|row| row.end).collect::<Vec<_>>())?;
        let table =
            |pick: fn(&Row<f64>) -> &Vec<f64>| rows.iter().flat_map(pick).copied().collect::<Vec<_>>();
        if self.heats > 0 {
            store.append("steps/heat", &table(|row| &row.heat))?;
            store.append("steps/temperature", &table(|row| &row.temperature))?;
        }
        if self.watched > 0 {
            store.append("steps/peak", &table(|row| &row.peaks))?;
        }
        self.written += rows.len() as i64;
        self.waiting.clear();
        Ok(())
    }
}

fn names(columns: &[Column]) -> Vec<String> {
    columns.iter().map(|column| column.name.clone()).collect()
}

/// All rows of the file.
pub(super) fn read(archive: &Archive) -> Result<StepTable, ResultError> {
    let mut table = StepTable::default();
    if !archive.has("steps/row") {
        return Ok(table);
    }
    let mut along_row = vec!["row", "kind", "subject", "begin", "end"];
    if archive.has("steps/heat_input") {
        along_row.extend(["heat", "temperature"]);
        table.heat_inputs = archive.texts("steps/heat_input")?;
    }
    if archive.has("steps/watched") {
        along_row.push("peak");
        table.watched = archive.texts("steps/watched")?;
        table.watched_unit = archive.texts("steps/watched_unit")?;
        table.watched_unit.resize(table.watched.len(), String::new());
    }
    let paths: Vec<String> = along_row.iter().map(|name| format!("steps/{name}")).collect();
    let count = archive.shortest(&paths)?;
    let column = |name: &str| archive.reals(&format!("steps/{name}"), 0..count);
    let rows = |name: &str, width: usize| -> Result<Vec<Vec<f64>>, ResultError> {
        if width == 0 {
            return Ok(vec![Vec::new(); count]);
        }
        let flat = archive.table(&format!("steps/{name}"), 0..count, width)?;
        Ok(flat.chunks_exact(width).map(<[f64]>::to_vec).collect())
    };
    table.kind = archive.texts("steps/kind")?;
    table.subject = archive.texts("steps/subject")?;
    table.kind.truncate(count);
    table.subject.truncate(count);
    table.begin = column("begin")?;
    table.end = column("end")?;
    table.heat = rows("heat", table.heat_inputs.len())?;
    table.temperature = rows("temperature", table.heat_inputs.len())?;
    table.peak = rows("peak", table.watched.len())?;
    Ok(table)
}
