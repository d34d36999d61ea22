//! The catalogue of studies: questions that the program answers.
//!
//! An [`Entry`] is a name, the table of its parameters, the files it takes, and one function from a [`Question`] to an
//! [`answer::Study`](crate::output::answer::Study). Command, options, outputs, report, schema, completions and the subject of a
//! batch follow from it. To add a study: one file with an `Entry`, its `mod` line and its line in [`CATALOGUE`].

pub mod cache;
pub mod heat_path;
pub mod inputs;
pub(crate) mod measured;
pub mod question;
pub mod record;

pub mod compare;
pub mod cycle;
pub mod dead_time;
pub mod derive;
pub mod double_pulse;
pub mod extract;
pub mod fit;
pub mod impedance;
pub mod mission;
pub mod rating;
pub mod resistance;
pub mod run;
pub mod sizing;
pub mod soa;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::error::SolverError;
use joulestep_engine::run::setup::Refusal as NoStart;

pub use cache::Cache;
pub use inputs::{Count, Input, What};
pub use question::{Checked, Question};
pub use record::Recording;

use crate::diagnostic::{Diagnostic, Refusal};
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, NUMERICAL};
use crate::input::keys::shape::{Key, Section};
use crate::input::scenario::build::Reductions;
use crate::judge::Level;
use crate::output::answer::{Estimation, Study};

/// All studies, in the order of the help.
pub static CATALOGUE: &[&Entry] = &[
    &run::STUDY,
    &fit::STUDY,
    &cycle::STUDY,
    &mission::STUDY,
    &double_pulse::STUDY,
    &dead_time::STUDY,
    &rating::STUDY,
    &soa::STUDY,
    &sizing::STUDY,
    &impedance::STUDY,
    &compare::STUDY,
    &resistance::STUDY,
    &extract::STUDY,
    &derive::STUDY,
];

/// Cells of a package of which only names are asked.
const SKETCHED: usize = 6000;

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
    /// A quick question to it, by which tests hold its forms against each other.
    pub trial: Trial,
    /// What finer levels refine, in words ("steps"); empty where computations at other levels tell nothing, because the
    /// study knows its errors by itself.
    pub refines: &'static str,
    /// Keys that name what it writes itself, each with whether it is a folder.
    pub writes: &'static [(Key, bool)],
    /// Computes it at the level of the context. Numbers that levels change are answers or estimated columns.
    pub solve: fn(&Question, &Context<'_>) -> Result<Study, StudyError>,
}

/// A question to a study.
#[derive(Clone, Copy, Debug)]
pub struct Trial {
    /// Words of the command line; files are relative to the workspace.
    pub args: &'static [&'static str],
    /// A parameter with two values: that of the question, and another that changes the answer.
    pub vary: (&'static str, [&'static str; 2]),
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
    /// Whether only names, units and limits of the answers are asked for: numbers may be rough.
    pub sketch: bool,
    /// In a batch the question that its variants vary: they may begin with what it leaves.
    pub base: Option<&'a Question>,
    /// How errors are found.
    pub estimation: Estimation,
    /// Intermediate results by what they were made from.
    pub cache: &'a Cache,
    /// The result file that a recording study fills while it runs.
    pub record: Option<&'a Recording>,
}

impl Context<'_> {
    /// Cells of a package's mesh of which these were asked for.
    pub fn cells(&self, asked: usize) -> usize {
        if self.sketch { asked.min(SKETCHED) } else { asked }
    }

    /// The same at another level. Coarser ones show no progress and record nothing; what a finer one records takes the
    /// place of what was recorded before.
    pub fn at(self, level: Level) -> Self {
        let coarser = level > Level::STATED;
        Self { level, quiet: self.quiet || coarser, record: self.record.filter(|_| !coarser), ..self }
    }

    /// Packages that were solved already.
    pub fn reductions(&self) -> Arc<Reductions> {
        let made = self.cache.get("reductions".into(), || Ok::<_, ()>(Reductions::default()));
        made.unwrap_or_default()
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
    /// A scenario cannot be built; what is wrong with it.
    #[error("{}", .0.iter().map(Diagnostic::line).collect::<Vec<_>>().join("; "))]
    Invalid(Vec<Diagnostic>),
    /// The question cannot be answered as it is put.
    #[error("{0}")]
    Refused(String),
    /// The equations could not be solved.
    #[error("{0}")]
    Numerical(String),
    /// A file cannot be written, or a result file not read.
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
            Self::Value(_) | Self::Invalid(_) | Self::Refused(_) => BAD_INPUT,
            Self::Numerical(_) => NUMERICAL,
            Self::Output(_) => INPUT_OUTPUT,
            Self::Interrupted => crate::signals::code(),
        }
    }
}

impl From<NoStart> for StudyError {
    fn from(why: NoStart) -> Self {
        match why {
            NoStart::Start(SolverError::Interrupted) => Self::Interrupted,
            NoStart::Start(_) => Self::Numerical(why.to_string()),
            _ => Self::Refused(why.to_string()),
        }
    }
}

impl From<Refusal> for StudyError {
    fn from(refusal: Refusal) -> Self {
        Self::Invalid(refusal.diagnostics)
    }
}

impl Entry {
    /// Whether a scenario is among its files.
    pub fn takes_scenario(&self) -> bool {
        self.inputs.iter().any(|i| i.what == What::Scenario)
    }

    /// Key of the root table of a scenario that is one of several ways to put the question.
    pub fn circuit(&self) -> Option<&'static str> {
        self.inputs.iter().find(|i| i.what == What::Circuit).map(|i| i.root)
    }

    /// The last word of its name: its command where it stands under another.
    pub fn word(&self) -> &'static str {
        self.name.rsplit(' ').next().unwrap_or(self.name)
    }
}

/// The study of this name, or of this table of a plan.
pub fn find(name: &str) -> Option<&'static Entry> {
    CATALOGUE.iter().copied().find(|e| e.name == name || e.section.name == name)
}
