//! Result files of studies: what was asked, the answers, tables, curves, and the texts of everything that went in.
//!
//! One form for all of them, so that one reader and one report serve every study:
//!
//! | Where | What |
//! |---|---|
//! | `/` attributes | as of a run, without a time of making; `study` (its kind), `scenario` (full text of all files that went in) |
//! | `/statements` | attributes `title`, `command`, `outcome` ("done", "interrupted", "failed"), `why`, `input` (what of it the verdict holds for) and `verdict` ("passes", "fails", "not proven", "not judged"); along `row`: `kind` ("doubt", "note", "condition", "definition"), `term`, `text` |
//! | `/answers` | along `row`: `name`, `quantity`, `value`, `unit`, `error` (±), `error_kind`, `minimum`, `maximum`, `limit` (what sets them), `ruling`, `remark` |
//! | `/tables/<name>` | along `row`: a dataset per column with `units`, `symbol`, `long_name`; attributes `title` and `keys` (leading columns that name a row) |
//! | `/measured/<number>` | attributes `record` and `signal`; along `time` (s): `measured`, and `simulated` at the same instants |
//! | `/figures/<number>/<panel>/<curve>` | `x` and `y` with `units`; of bars, `group` and a dataset per series; what they look like in the text attributes `layout` and `look` |
//!
//! The same study gives the same bytes. A mission, which is followed through time, has the groups of a run as well.

mod curves;
pub(super) mod overlays;
mod tables;

use std::path::Path;

use super::archive::Archive;
use super::error::ResultError;
use super::inputs;
use super::store::Store;
use super::{FORMAT_VERSION, of_this_format};
use crate::judge::Verdict;
use crate::output::answer::{Outcome, Study};

impl Study {
    /// Writes the study; a file of that name is replaced in one move.
    ///
    /// # Errors
    /// [`ResultError`].
    pub fn write(&self, path: &Path) -> Result<(), ResultError> {
        let mut store = Store::create(path)?;
        store.group_number("/", "complete", 0i64)?;
        store.group_number("/", "format_version", FORMAT_VERSION)?;
        let texts = [
            ("producer", env!("CARGO_PKG_NAME")),
            ("producer_version", env!("CARGO_PKG_VERSION")),
            ("study", &self.kind),
        ];
        for (name, text) in texts {
            store.group_text("/", name, text)?;
        }
        inputs::write(&store, &self.inputs)?;
        self.write_into(&store)?;
        store.publish()?;
        store.finish(true)
    }

    /// Writes what it says, its tables and figures into a file whose root names it.
    pub(super) fn write_into(&self, store: &Store) -> Result<(), ResultError> {
        // Not in the root: HDF5 keeps more than a few attributes in another way, in which `complete` cannot be set.
        store.group("statements")?;
        let verdict = self.verdict.unwrap_or(Verdict::NotJudged).word();
        let judged = if self.verdict.is_some() { "yes" } else { "no" };
        let texts =
            [("title", &*self.title), ("command", &self.command), ("verdict", verdict), ("judged", judged)];
        let ended = [
            ("outcome", self.outcome.word()),
            ("why", self.outcome.why().unwrap_or("")),
            ("input", &self.input),
        ];
        for (name, text) in ended {
            store.group_text("statements", name, text)?;
        }
        for (name, text) in texts {
            store.group_text("statements", name, text)?;
        }
        tables::write_statements(store, self)?;
        tables::write_answers(store, &self.answer_table())?;
        let shown: Vec<_> = self.tables.iter().filter(|t| !t.machine_only).cloned().collect();
        tables::write(store, &shown)?;
        overlays::write(store, &self.overlays)?;
        curves::write(store, &self.figures)
    }

    /// Whether the file holds the answer of a study; a recorded file has one once its computation is over.
    ///
    /// # Errors
    /// A file that cannot be opened, or is not HDF5.
    pub fn is_in(path: &Path) -> Result<bool, ResultError> {
        Ok(Archive::open(path, false)?.group_text("statements", "outcome").is_some())
    }

    /// Reads a study.
    ///
    /// # Errors
    /// A file that cannot be opened, holds no study, or is of a later format.
    pub fn read(path: &Path) -> Result<Self, ResultError> {
        let archive = Archive::open(path, false)?;
        let statement = |name: &str| archive.group_text("statements", name).unwrap_or_default();
        let Some(kind) = archive.group_text("/", "study") else {
            return Err(ResultError::content(path, "a file without the attribute study", "a study"));
        };
        if let Some(version) = archive.root_number("format_version") {
            of_this_format(path, version)?;
        }
        let verdict = Verdict::of_word(&statement("verdict")).filter(|_| statement("judged") == "yes");
        let mut study = Self {
            kind,
            title: statement("title"),
            command: statement("command"),
            inputs: inputs::read(&archive)?,
            outcome: match &*statement("outcome") {
                "interrupted" => Outcome::Interrupted,
                "failed" => Outcome::Failed(statement("why")),
                _ => Outcome::Done,
            },
            verdict,
            input: statement("input"),
            tables: tables::read(&archive)?,
            figures: curves::read(&archive)?,
            overlays: overlays::read(&archive)?,
            ..Self::default()
        };
        study.answers = Self::answers_of(&tables::read_answers(&archive)?);
        tables::read_statements(&archive, &mut study)?;
        Ok(study)
    }
}
