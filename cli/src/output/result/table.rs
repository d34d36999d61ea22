//! `/batch`: the table of a batch, one row per variant, written at once when all rows are there; `/statistics`: what
//! the rows say together.

use std::borrow::Cow;
use std::path::Path;

use super::FORMAT_VERSION;
use super::archive::Archive;
use super::error::ResultError;
use super::inputs;
use super::names::{self, Names};
use super::store::Store;
use super::structure::{Form, Growing};
use crate::diagnostic::Sources;

/// Rows of a chunk.
const CHUNK: usize = 1024;
/// Longest text of `error`, bytes; longer ones are cut and end in "…".
const ERROR: usize = 512;

/// Longest name of a result file, bytes.
const FILE: usize = 32;

/// A column of numbers.
#[derive(Clone, Debug)]
pub struct TableColumn<'a> {
    /// Its name.
    pub name: Cow<'a, str>,
    /// Unit symbol; "1" for a plain number.
    pub unit: &'a str,
    /// "input", "output" or "error" (± of the output before it).
    pub role: &'static str,
    /// What is known of errors, in a word; empty for other columns.
    pub kind: &'static str,
    /// One number per row; NaN where there is none.
    pub values: Vec<f64>,
}

/// A table of `/statistics`.
#[derive(Clone, Debug)]
pub struct Statistic<'a> {
    /// Its name.
    pub name: &'static str,
    /// In words.
    pub words: &'static str,
    /// Columns of texts, the first of which says what a row is about.
    pub texts: Vec<(&'static str, Vec<String>)>,
    /// Columns of numbers: name and what it is in words.
    pub numbers: Vec<(&'a str, &'a str, Vec<f64>)>,
}

/// The table of a batch.
#[derive(Clone, Debug)]
pub struct BatchTable<'a> {
    /// One line that names the plan.
    pub title: &'a str,
    /// Plan and scenario with all files.
    pub inputs: &'a Sources,
    /// Digest of them.
    pub digest: &'a str,
    /// Number of each row's variant, ascending.
    pub variants: Vec<i64>,
    /// Which errors are estimated, in words.
    pub estimate: &'a str,
    /// Columns of zeros and ones: name, what one means, one number per row.
    pub flags: Vec<(&'static str, &'static str, Vec<i64>)>,
    /// Inputs, then outputs, each with its errors.
    pub columns: Vec<TableColumn<'a>>,
    /// How each variant ended.
    pub status: Vec<&'static str>,
    /// Verdict of each variant.
    pub verdict: Vec<&'static str>,
    /// Why a variant did not end well; empty where it did.
    pub error: Vec<&'a str>,
    /// Why the verdict of a variant cannot be "passes", whatever its numbers say; empty where nothing speaks against
    /// it.
    pub doubts: Vec<&'a str>,
    /// Result file of each variant whose waveforms are kept, in the folder of the table's waveforms; empty for the
    /// others. `None`: the plan keeps none.
    pub waveforms: Option<Vec<String>>,
    /// What the rows say together.
    pub statistics: Vec<Statistic<'a>>,
}

/// Whether the file is a table of a batch, and no result of a run.
pub fn is_table(path: &Path) -> bool {
    Archive::open(path, true).is_ok_and(|archive| archive.has("batch/variant"))
}

/// Writes the table; a file of that name is replaced in one move. The same rows give the same bytes: the file holds no
/// time of its making.
///
/// # Errors
/// [`ResultError`].
pub fn write_table(path: &Path, table: &BatchTable<'_>) -> Result<(), ResultError> {
    let _writing = crate::signals::writing();
    let mut store = Store::create(path)?;
    store.group_number("/", "complete", 0i64)?;
    store.group_text("/", "producer", env!("CARGO_PKG_NAME"))?;
    store.group_text("/", "producer_version", env!("CARGO_PKG_VERSION"))?;
    store.group_number("/", "format_version", FORMAT_VERSION)?;
    inputs::write(&store, table.inputs)?;
    store.group_text("/", "digest", table.digest)?;
    store.group("batch")?;
    store.group_text("batch", "title", table.title)?;
    store.group_text("batch", "estimate", table.estimate)?;
    let growing = |name, units, long_name, deflate| Growing {
        group: "batch",
        name,
        width: None,
        chunk: CHUNK,
        deflate,
        units,
        long_name,
    };
    store.grow_integers(&growing("variant", "1", "number of the variant, from 0", 4))?;
    store.scale("batch/variant", "variant")?;
    let own = ["variant", "status", "verdict", "doubts", "error", "waveforms"];
    let mut taken =
        Names::reserving(&own.into_iter().chain(table.flags.iter().map(|f| f.0)).collect::<Vec<_>>());
    let datasets: Vec<String> = table.columns.iter().map(|c| taken.take(&c.name)).collect();
    for (column, dataset) in table.columns.iter().zip(&datasets) {
        let units = names::unit(column.unit);
        store.grow_reals(Form::Double, &growing(dataset, units, &column.name, 4))?;
        store.text_attribute(&format!("batch/{dataset}"), "role", column.role)?;
        if !column.kind.is_empty() {
            store.text_attribute(&format!("batch/{dataset}"), "kind", column.kind)?;
        }
        store.attach(&format!("batch/{dataset}"), 0, "batch/variant")?;
    }
    store.grow_texts::<16>(&growing("status", "", "how the variant ended", 4))?;
    store.grow_texts::<16>(&growing("verdict", "", "verdict over limits and ratings", 4))?;
    store.grow_texts::<ERROR>(&growing("doubts", "", "why the verdict cannot be passes", 4))?;
    store.grow_texts::<ERROR>(&growing("error", "", "why the variant did not end well", 4))?;
    let waveforms = table.waveforms.as_ref();
    if waveforms.is_some() {
        let words = "result file of the variant in the folder of waveforms";
        store.grow_texts::<FILE>(&growing("waveforms", "", words, 4))?;
    }
    for (name, words, _) in &table.flags {
        store.grow_integers(&growing(name, "1", words, 4))?;
        store.attach(&format!("batch/{name}"), 0, "batch/variant")?;
    }
    for name in ["status", "verdict", "doubts", "error"].into_iter().chain(waveforms.map(|_| "waveforms")) {
        store.attach(&format!("batch/{name}"), 0, "batch/variant")?;
    }
    statistics(&store, &table.statistics)?;
    store.publish()?;
    store.append("batch/variant", &table.variants)?;
    for (column, dataset) in table.columns.iter().zip(&datasets) {
        store.append(&format!("batch/{dataset}"), &column.values)?;
    }
    store.append_texts::<16>("batch/status", &table.status)?;
    store.append_texts::<16>("batch/verdict", &table.verdict)?;
    store.append_texts::<ERROR>("batch/doubts", &table.doubts)?;
    store.append_texts::<ERROR>("batch/error", &table.error)?;
    for (name, _, values) in &table.flags {
        store.append(&format!("batch/{name}"), values)?;
    }
    if let Some(files) = waveforms {
        store
            .append_texts::<FILE>("batch/waveforms", &files.iter().map(String::as_str).collect::<Vec<_>>())?;
    }
    store.finish(true)
}

fn statistics(store: &Store, all: &[Statistic<'_>]) -> Result<(), ResultError> {
    store.group("statistics")?;
    for s in all {
        let group = format!("statistics/{}", s.name);
        store.group(&group)?;
        store.group_text(&group, "long_name", s.words)?;
        let mut taken = Names::reserving(&s.texts.iter().map(|t| t.0).collect::<Vec<_>>());
        for (name, texts) in &s.texts {
            store.texts(&group, name, texts, "")?;
        }
        for (name, words, values) in &s.numbers {
            store.reals(&group, &taken.take(name), values, "", words)?;
        }
    }
    Ok(())
}
