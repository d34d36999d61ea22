//! A result file as the viewer has it open.

use std::path::{Path, PathBuf};

use super::http::Answer;
use super::track::{Group, Track};
use crate::result::{ResultError, ResultFile, StoredEvent, is_table};

/// A file that cannot be shown.
#[derive(Debug, thiserror::Error)]
pub enum Unshown {
    /// It cannot be read, or is no result file.
    #[error(transparent)]
    Unreadable(#[from] ResultError),
    /// It is the table of a batch.
    #[error(
        "{}: found the table of a batch, expected the result of a run; `joulestep report` shows tables, and \
         `joulestep run` gives the waveforms of a variant",
        .0.display()
    )]
    Table(PathBuf),
    /// Nothing was recorded.
    #[error("{}: found no recorded signal, expected waveforms; `[record]` in the scenario lists what is kept", .0.display())]
    Empty(PathBuf),
}

/// An open file.
pub(super) struct Shown {
    pub path: PathBuf,
    pub file: ResultFile,
    pub waveforms: Track,
    pub thermal: Track,
    /// Whether a run was writing it when it was opened.
    pub writing: bool,
    events: Option<Vec<StoredEvent>>,
}

/// Whether the file can be shown.
pub(super) fn look(path: &Path) -> Result<(), Unshown> {
    if is_table(path) {
        return Err(Unshown::Table(path.to_owned()));
    }
    let shown = Shown::open(path)?;
    if shown.file.channels().is_empty() && shown.file.thermal_channels().is_empty() {
        return Err(Unshown::Empty(path.to_owned()));
    }
    Ok(())
}

/// The file's trouble as an answer.
pub(super) fn unread(error: ResultError) -> Answer {
    Answer::wrong(500, error.to_string())
}

impl Shown {
    /// Opens the file, also while a run writes it.
    ///
    /// # Errors
    /// What reading it met.
    pub fn open(path: &Path) -> Result<Self, ResultError> {
        let writing = ResultFile::being_written(path);
        let file = ResultFile::open_beside_writer(path)?;
        let (waveforms, thermal) = (Track::new(&file, Group::Waveforms)?, Track::new(&file, Group::Thermal)?);
        Ok(Self { path: path.to_owned(), file, waveforms, thermal, writing, events: None })
    }

    /// Whether there may be more in it later.
    pub fn grows(&self) -> bool {
        !self.file.complete()
    }

    /// The group that a request names: "w", or "t" for the temperatures.
    pub fn track(&mut self, name: &str) -> Result<(&ResultFile, &mut Track), Answer> {
        match name {
            "w" => Ok((&self.file, &mut self.waveforms)),
            "t" => Ok((&self.file, &mut self.thermal)),
            _ => Err(Answer::wrong(400, format!("g: found {name:?}, expected w or t"))),
        }
    }

    /// What happened, read once.
    pub fn events(&mut self) -> Result<&[StoredEvent], Answer> {
        let events = match self.events.take() {
            Some(events) => events,
            None => self.file.events().map_err(unread)?,
        };
        Ok(self.events.insert(events))
    }
}
