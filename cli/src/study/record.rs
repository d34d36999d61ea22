//! The result file that a study fills while it runs, closed with its answer.

use std::fmt;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use super::StudyError;
use crate::diagnostic::Sources;
use crate::judge::{Uncertainty, Verdict};
use crate::output::answer::{Answer, Outcome, Study, StudyTable};
use crate::output::result::{LedgerTable, ResultError, ResultWriter, Summary, WriterOptions};
use crate::output::table::{Cell, Table};

/// The file, and its writer once a computation has come to its end.
pub struct Recording {
    path: PathBuf,
    open: Mutex<Option<(ResultWriter, Option<LedgerTable>)>>,
}

impl fmt::Debug for Recording {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Recording of {}", self.path.display())
    }
}

impl Recording {
    /// A recording into this file, which is made when a computation begins.
    pub fn new(path: PathBuf) -> Self {
        Self { path, open: Mutex::new(None) }
    }

    /// A new file in place of that of a computation before; `inputs` are the files that went in, `kind` is the study's
    /// name.
    ///
    /// # Errors
    /// [`StudyError::Output`].
    pub fn create(&self, inputs: &Sources, kind: &'static str) -> Result<ResultWriter, StudyError> {
        // One that is open is closed before it is replaced.
        drop(self.open.lock().unwrap_or_else(PoisonError::into_inner).take());
        let made = ResultWriter::create(&self.path, inputs, WriterOptions::default());
        let mut writer = made.map_err(|e| StudyError::Output(e.to_string()))?;
        writer.studies(kind);
        Ok(writer)
    }

    /// Takes the writer of a computation that is over.
    pub fn keep(&self, writer: ResultWriter, ledger: Option<LedgerTable>) {
        *self.open.lock().unwrap_or_else(PoisonError::into_inner) = Some((writer, ledger));
    }

    /// Closes the file with the answer; one that nothing was recorded into holds the answer alone.
    ///
    /// # Errors
    /// As of [`Study::write`].
    pub fn finish(self, study: &Study) -> Result<(), ResultError> {
        let Some((mut writer, ledger)) = self.open.into_inner().unwrap_or_else(PoisonError::into_inner)
        else {
            return study.write(&self.path);
        };
        writer.found(study.clone());
        let complete = study.outcome == Outcome::Done;
        writer.finish(complete, ledger.as_ref(), Some(&summary(study))).map(|_| ())
    }
}

/// The answers, and the quantities of the tables, as the numbers that a reader of recorded runs looks at first.
fn summary(study: &Study) -> Summary {
    // What never came (a fault that was cleared) has no number.
    let told = study.answers.iter().filter(|a| !a.value.is_nan() || !a.bounds().is_none());
    let mut doubts = study.doubts.clone();
    if study.outcome != Outcome::Done && study.verdict == Some(Verdict::NotProven) {
        doubts.push("it did not come to its end".into());
    }
    let waived = study.answers.iter().filter_map(|a| Some(format!("`{}`: {}", a.name, a.waived()?)));
    Summary {
        answers: told.cloned().chain(study.tables.iter().flat_map(quantities)).collect(),
        input: study.input.clone(),
        doubts,
        waivers: waived.collect(),
        notes: study.notes.clone(),
    }
}

/// The quantities of a table, each row by its first text; its second one, if any, says what it is.
fn quantities(table: &StudyTable) -> Vec<Answer> {
    let Table { heads, rows } = &table.data;
    let columns = (0..heads.len()).filter(|&k| table.quantities.contains(&heads[k].name));
    let columns: Vec<usize> = columns.collect();
    let answer = |row: &Vec<Cell>, k: usize| {
        let mut texts = row.iter().filter_map(|c| if let Cell::Text(text) = c { Some(text) } else { None });
        let subject = texts.next().map_or("", String::as_str);
        let words = texts.next().filter(|_| heads[1].symbol.is_empty()).map_or(subject, String::as_str);
        let error = match row.get(k + 1) {
            Some(Cell::Error(error)) => error.clone(),
            _ if table.estimated.contains(&heads[k].name) => Uncertainty::Bare,
            _ => Uncertainty::within(0.0),
        };
        let (name, words) = (format!("{subject}.{}", heads[k].name), format!("{} {words}", heads[k].symbol));
        let value = if let Cell::Number(x) = row[k] { x } else { f64::NAN };
        Answer::new(name, words, value, table.data.unit_of(row, k)).error(error)
    };
    rows.iter()
        .flat_map(|row| columns.iter().map(move |&k| (row, k)))
        .map(|(row, k)| answer(row, k))
        .collect()
}
