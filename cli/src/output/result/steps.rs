//! `/steps`: one row per coupling interval and per edge of a drive.

use joulestep_engine::recorder::{Column, Layout, Row, Switching};

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

/// Width of `reason`.
const REASON: usize = 128;

/// Numbers of a switching event: name, unit, what they are.
const SWITCHING: [(&str, &str, &str); 3] = [
    ("energy", "J", "E_on or E_off by IEC 60747-8 between begin and end"),
    ("switched_voltage", "V", "voltage that is switched"),
    ("switched_current", "A", "current that is switched"),
];

/// The account's rows as columns; tables hold one vector per row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StepTable {
    /// "interval", "edge", "turn-on" or "turn-off", of each row.
    pub kind: Vec<String>,
    /// The drive whose edge begins the row, or the device that switches; empty for an interval.
    pub subject: Vec<String>,
    /// Start, s.
    pub begin: Vec<f64>,
    /// End, s.
    pub end: Vec<f64>,
    /// E_on or E_off of a switching event, J; NaN where the limits of the definition are not reached, and elsewhere.
    pub energy: Vec<f64>,
    /// Voltage and current that it switches, V and A.
    pub switched: Vec<(f64, f64)>,
    /// Why it has no energy; empty where it has.
    pub reason: Vec<String>,
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
        for (name, units, words) in SWITCHING {
            store.grow_reals(Form::Double, &growing(name, None, deflate, units, words))?;
        }
        let words = "why a switching event has no energy";
        store.grow_texts::<REASON>(&growing("reason", None, deflate, "", words))?;
        let mut along_row = vec!["kind", "subject", "begin", "end", "reason"];
        along_row.extend(SWITCHING.map(|s| s.0));
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
        let switching =
            |row: &Row<f64>, pick: fn(&Switching) -> f64| row.switching.as_ref().map_or(f64::NAN, pick);
        let picks: [fn(&Switching) -> f64; 3] = [|s| s.energy, |s| s.voltage, |s| s.current];
        for ((name, ..), pick) in SWITCHING.into_iter().zip(picks) {
            let column: Vec<f64> = rows.iter().map(|row| switching(row, pick)).collect();
            store.append(&format!("steps/{name}"), &column)?;
        }
        let reason = |row: &Row<f64>| row.switching.as_ref().map_or(String::new(), |s| s.reason.clone());
        let reasons: Vec<String> = rows.iter().map(reason).collect();
        store.append_texts::<REASON>(
            "steps/reason",
            &reasons.iter().map(String::as_str).collect::<Vec<_>>(),
        )?;
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
    // Files of earlier programs have none.
    let measured = archive.has("steps/energy");
    if measured {
        along_row.extend(SWITCHING.map(|s| s.0).into_iter().chain(["reason"]));
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
    table.energy = if measured { column("energy")? } else { vec![f64::NAN; count] };
    table.switched = match measured {
        true => column("switched_voltage")?.into_iter().zip(column("switched_current")?).collect(),
        false => vec![(f64::NAN, f64::NAN); count],
    };
    table.reason = if measured { archive.texts("steps/reason")? } else { Vec::new() };
    table.reason.resize(count, String::new());
    table.heat = rows("heat", table.heat_inputs.len())?;
    table.temperature = rows("temperature", table.heat_inputs.len())?;
    table.peak = rows("peak", table.watched.len())?;
    Ok(table)
}
