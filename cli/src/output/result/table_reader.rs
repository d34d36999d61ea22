//! Reads the table of a batch.

use std::collections::BTreeMap;
use std::path::Path;

use super::archive::Archive;
use super::error::ResultError;
use super::inputs;
use super::of_this_format;
use crate::diagnostic::Sources;

/// A column of a batch's table.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadColumn {
    /// Its name.
    pub name: String,
    /// Unit symbol; "1" for a plain number.
    pub unit: String,
    /// Whether it is varied; else it is a result.
    pub input: bool,
    /// Whether it holds errors of the column before it.
    pub error: bool,
    /// What is known of errors, in a word.
    pub kind: String,
    /// One number per row; NaN where there is none.
    pub values: Vec<f64>,
}

/// The table of a batch, as read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadTable {
    /// One line that names the plan.
    pub title: String,
    /// Plan and scenario with all files.
    pub inputs: Sources,
    /// Digest of them and of the program that ran them.
    pub digest: String,
    /// Whether it was written to its end.
    pub complete: bool,
    /// The program's version that wrote it.
    pub version: String,
    /// Number of each row's variant.
    pub variants: Vec<usize>,
    /// Inputs, then outputs.
    pub columns: Vec<ReadColumn>,
    /// How each variant ended.
    pub status: Vec<String>,
    /// Verdict of each variant.
    pub verdict: Vec<String>,
    /// Why a variant did not end well.
    pub error: Vec<String>,
    /// Why the verdict of a variant cannot be "passes", whatever its numbers say.
    pub doubts: Vec<String>,
    /// Numbers of the rows of which each flag is set.
    pub flags: BTreeMap<String, Vec<usize>>,
    /// Which errors are estimated, in words.
    pub estimate: String,
}

/// The table of a batch; `None` where the file holds none.
///
/// # Errors
/// A file that cannot be opened, is not HDF5, or is of a later format.
pub fn read_table(path: &Path) -> Result<Option<ReadTable>, ResultError> {
    let archive = Archive::open(path, false)?;
    if !archive.has("batch/variant") {
        return Ok(None);
    }
    if let Some(version) = archive.root_number("format_version") {
        of_this_format(path, version)?;
    }
    let count = archive.common_length("batch")?;
    let text = |name: &str| archive.group_text("/", name).unwrap_or_default();
    let mut table = ReadTable {
        title: archive.group_text("batch", "title").unwrap_or_default(),
        inputs: inputs::read(&archive)?,
        digest: text("digest"),
        estimate: archive.group_text("batch", "estimate").unwrap_or_default(),
        complete: archive.root_number("complete") == Some(1),
        version: text("producer_version"),
        ..ReadTable::default()
    };
    for dataset in archive.datasets("batch")? {
        let path = format!("batch/{dataset}");
        match (dataset.as_str(), archive.text(&path, "role")) {
            ("variant", _) => {
                table.variants = archive.integers(&path, 0..count)?.into_iter().map(|v| v as usize).collect();
            }
            ("status", _) => table.status = archive.texts(&path)?,
            ("verdict", _) => table.verdict = archive.texts(&path)?,
            ("error", _) => table.error = archive.texts(&path)?,
            ("doubts", _) => table.doubts = archive.texts(&path)?,
            (_, Some(role)) => table.columns.push(ReadColumn {
                name: archive.text(&path, "long_name").unwrap_or(dataset),
                unit: archive.text(&path, "units").unwrap_or_default(),
                input: role == "input",
                error: role == "error",
                kind: archive.text(&path, "kind").unwrap_or_default(),
                values: archive.reals(&path, 0..count)?,
            }),
            (flag @ ("estimated" | "out_of_range" | "stalled"), None) => {
                let all = archive.integers(&path, 0..count)?.into_iter().enumerate();
                let set = all.filter(|(_, x)| *x != 0).map(|(k, _)| k).collect();
                table.flags.insert(flag.to_string(), set);
            }
            _ => {}
        }
    }
    for texts in [&mut table.status, &mut table.verdict, &mut table.error, &mut table.doubts] {
        texts.truncate(count);
    }
    Ok(Some(table))
}
