//! The catalogue of studies: questions that the program answers.
//!
//! An [`Entry`] is a name, the table of its parameters, the files it takes, and one function from a [`Question`] to an
//! [`answer::Study`](crate::answer::Study). Command, options, outputs, report, schema, completions and the subject of a
//! batch follow from it. To add a study: one file with an `Entry`, its `mod` line and its line in [`CATALOGUE`].

pub mod cache;
pub mod command;
pub mod inputs;
pub mod question;

pub mod dead_time;
pub mod rating;
pub mod resistance;

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

pub use cache::Cache;
pub use inputs::{Count, Input, What};
pub use question::Question;

use crate::answer::Study;
use crate::diagnostic::Diagnostic;
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, INTERRUPTED, NUMERICAL};
use crate::judge::Level;
use crate::scenario::shape::Section;

/// All studies, in the order of the help.
pub static CATALOGUE: &[&Entry] = &[&dead_time::STUDY, &rating::STUDY, &resistance::STUDY];

/// A study.
#[derive(Debug)]
pub struct Entry {
    /// Words of its command: "rating", "parts resistance".
    pub name: &'static str,
    /// Its parameters: options of the command and keys of a plan alike. The section's name is that of a plan's table,
    /// its help the first line of the command's.
    pub section: &'static Section,
    /// Further paragraphs of help.
    pub help: &'static str,
    /// Command lines that show its use.
    pub examples: &'static str,
    /// The files it takes, each under a key of the section.
    pub inputs: &'static [Input],
    /// What finer levels refine, in words ("steps"); empty where computations at other levels tell nothing, because the
    /// study knows its errors by itself.
    pub refines: &'static str,
    /// Computes it at the level of the context. Numbers that levels change are answers or estimated columns.
    pub solve: fn(&Question, &Context<'_>) -> Result<Study, StudyError>,
}

/// What a computation gets beside its question.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    /// How fine it is.
    pub level: Level,
    /// Set when the user asks to stop.
    pub stop: &'a AtomicBool,
    /// Whether progress is shown.
    pub quiet: bool,
    /// Whether only the answers are asked for, no tables and figures: in a batch.
    pub brief: bool,
    /// Whether errors are asked for.
    pub errors: bool,
    /// Intermediate results by what they were made from.
    pub cache: &'a Cache,
    /// The result file that a recording study fills while it runs.
    pub record: Option<&'a Path>,
}

impl Context<'_> {
    /// The same at another level. Only the computation as stated shows progress and records.
    pub fn at(self, level: Level) -> Self {
        let stated = level == Level::STATED;
        Self { level, quiet: self.quiet || !stated, record: self.record.filter(|_| stated), ..self }
    }

    /// Refuses to go on once the user asks to stop.
    ///
    /// # Errors
    /// [`StudyError::Interrupted`].
    pub fn go_on(&self) -> Result<(), StudyError> {
        if self.stop.load(Ordering::Relaxed) { Err(StudyError::Interrupted) } else { Ok(()) }
    }
}

/// Why there is no answer.
#[derive(Clone, Debug, thiserror::Error)]
pub enum StudyError {
    /// A value does not fit; it has a place.
    #[error("{}", .0.line())]
    Value(Box<Diagnostic>),
    /// The question cannot be answered as it is put.
    #[error("{0}")]
    Refused(String),
    /// The equations could not be solved.
    #[error("{0}")]
    Numerical(String),
    /// A file cannot be written.
    #[error("{0}")]
    Output(String),
    /// The user asked to stop.
    #[error("interrupted")]
    Interrupted,
}

impl StudyError {
    /// The exit code.
    pub fn code(&self) -> u8 {
        match self {
            Self::Value(_) | Self::Refused(_) => BAD_INPUT,
            Self::Numerical(_) => NUMERICAL,
            Self::Output(_) => INPUT_OUTPUT,
            Self::Interrupted => INTERRUPTED,
        }
    }
}

impl Entry {
    /// The last word of its name: its command where it stands under another.
    pub fn word(&self) -> &'static str {
        self.name.rsplit(' ').next().unwrap_or(self.name)
    }
}

/// The study of this name, or of this table of a plan.
pub fn find(name: &str) -> Option<&'static Entry> {
    CATALOGUE.iter().copied().find(|e| e.name == name || e.section.name == name)
}
