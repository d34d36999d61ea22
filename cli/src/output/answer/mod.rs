//! The one form of a study's answer: quantities with errors, limits and rulings, tables, figures, and what they rest
//! on.
//!
//! A study gives a [`Study`]; text, JSON, CSV, result file and report each know this form and no study.

mod assess;
mod rows;
mod table;

pub use assess::{Computation, Estimation, assess};
pub use table::{StudyFigure, StudyTable};

use joulestep_engine::units::people;

use crate::diagnostic::Sources;
use crate::judge::{Bounds, Ruling, Uncertainty, Verdict};
use crate::output::table::shown;

/// Errors below this share of a number are of its rounding.
const ROUNDING: f64 = 1e-11;

/// How a computation ended.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Outcome {
    /// At its end.
    #[default]
    Done,
    /// By the user: the answer is of what there was until then.
    Interrupted,
    /// The equations could not be solved.
    Failed(String),
}

impl Outcome {
    /// In a word.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Interrupted => "interrupted",
            Self::Failed(_) => "failed",
        }
    }

    /// Why it failed.
    pub fn why(&self) -> Option<&str> {
        match self {
            Self::Failed(why) => Some(why),
            Self::Done | Self::Interrupted => None,
        }
    }
}

/// A study's answer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Study {
    /// Name of the study: "rating", "dead-time", …
    pub kind: String,
    /// The question, in one line.
    pub title: String,
    /// The command line.
    pub command: String,
    /// The files that went in.
    pub inputs: Sources,
    /// How the computation ended.
    pub outcome: Outcome,
    /// The verdict over all limits; `None` where nothing is judged.
    pub verdict: Option<Verdict>,
    /// The answers, the most important first.
    pub answers: Vec<Answer>,
    /// Answers in sentences, of studies that give no quantities yet.
    pub statements: Vec<String>,
    /// Reasons for which the verdict cannot be "passes", whatever the numbers say.
    pub doubts: Vec<String>,
    /// Remarks: sentences without numbers of their own.
    pub notes: Vec<String>,
    /// Conditions and assumptions under which the answers hold.
    pub conditions: Vec<String>,
    /// Definitions of the quantities: symbol or name, and words.
    pub definitions: Vec<(String, String)>,
    /// The tables; the first is the main one.
    pub tables: Vec<StudyTable>,
    /// The figures.
    pub figures: Vec<StudyFigure>,
    /// What the estimate of errors needs; no output shows it.
    pub computation: Computation,
}

/// One quantity of an answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Dotted name, as a batch names its column: `continuous.current`.
    pub name: String,
    /// The quantity in words.
    pub quantity: String,
    /// Its value in `unit`; not finite where there is none.
    pub value: f64,
    /// Unit symbol; "degC" for a temperature.
    pub unit: String,
    /// What is known of its error.
    pub error: Uncertainty,
    /// What an extreme is estimated to miss between the ends of steps, signed.
    pub missed: f64,
    /// Errors that coarser computations do not show, ±.
    pub further: f64,
    /// What the value must keep.
    pub bounds: Bounds,
    /// What sets the bounds: "rating", "limit", the name of an option; empty where there are none.
    pub limit: String,
    /// Whether the laws behind the value are within the range for which they are known.
    pub known: bool,
    /// The reason for which the user waived the limit.
    pub waived: Option<String>,
    /// The ruling over its limit.
    pub ruling: Ruling,
    /// What else belongs to the value, in words: "limited by the junction of the JFET".
    pub remark: String,
}

impl Default for Answer {
    fn default() -> Self {
        Self {
            name: String::new(),
            quantity: String::new(),
            value: f64::NAN,
            unit: String::new(),
            error: Uncertainty::Bare,
            missed: 0.0,
            further: 0.0,
            bounds: Bounds::NONE,
            limit: String::new(),
            known: true,
            waived: None,
            ruling: Ruling::NotJudged,
            remark: String::new(),
        }
    }
}

impl Answer {
    /// A quantity without limit; `unit` is a unit symbol.
    pub fn new(name: impl Into<String>, quantity: impl Into<String>, value: f64, unit: &str) -> Self {
        Self { name: name.into(), quantity: quantity.into(), value, unit: unit.into(), ..Self::default() }
    }

    /// With an error that is known already.
    pub fn error(self, error: Uncertainty) -> Self {
        Self { error, ..self }
    }

    /// With an error that adds to what coarser computations show, ±.
    pub fn further(self, further: f64) -> Self {
        Self { further, ..self }
    }

    /// With bounds, and what sets them.
    pub fn limited(self, bounds: Bounds, limit: impl Into<String>) -> Self {
        Self { bounds, limit: limit.into(), ..self }
    }

    /// With a remark.
    pub fn remark(self, remark: impl Into<String>) -> Self {
        Self { remark: remark.into(), ..self }
    }

    /// The value with its unit, for people; a dash where there is none.
    pub fn words(&self) -> String {
        match self.value {
            x if x.is_nan() => "-".into(),
            x if x.is_infinite() && self.unit == "s" => "no end".into(),
            x if x.is_infinite() => "no bound".into(),
            x => shown(x, &self.unit),
        }
    }

    /// The bounds, for people: "at most 30 V".
    pub fn bounds_words(&self) -> String {
        let side = |word: &str, x: f64| x.is_finite().then(|| format!("{word} {}", people(x, &self.unit)));
        let both = [side("at least", self.bounds.lower), side("at most", self.bounds.upper)];
        both.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// All of it in a sentence.
    pub fn sentence(&self) -> String {
        let mut out = format!("{}: {}", self.quantity, self.words());
        for more in [self.error.words(&self.unit), self.remark.clone()] {
            if !more.is_empty() {
                out.push_str(if more == self.remark { ", " } else { " " });
                out.push_str(&more);
            }
        }
        if !self.bounds.is_none() {
            let by = if self.limit.is_empty() { String::new() } else { format!(" ({})", self.limit) };
            out.push_str(&format!("; {}{by}: {}", self.bounds_words(), self.ruling.word()));
        }
        out + "."
    }
}

impl Study {
    /// The answers as people read them: quantity, value, ±, limit, ruling, remark.
    pub fn rows(&self) -> Vec<Vec<String>> {
        let row = |a: &Answer| {
            let limit = match (a.bounds_words(), a.limit.as_str()) {
                (bounds, "") => bounds,
                (bounds, _) if bounds.is_empty() => bounds,
                (bounds, by) => format!("{bounds} ({by})"),
            };
            let ruling = if a.bounds.is_none() { "" } else { a.ruling.word() };
            let remark = match &a.waived {
                Some(reason) if a.remark.is_empty() => format!("waived: {reason}"),
                Some(reason) => format!("{}; waived: {reason}", a.remark),
                None => a.remark.clone(),
            };
            // A number that computations agree on but for rounding needs no error beside it.
            let rounding = a.error.plus_minus().is_some_and(|e| e <= ROUNDING * a.value.abs());
            let error = if rounding { String::new() } else { a.error.words(&a.unit) };
            let error = error.trim_start_matches("\u{b1} ");
            vec![a.quantity.clone(), a.words(), error.into(), limit, ruling.into(), remark]
        };
        self.answers.iter().map(row).collect()
    }

    /// The table of this name.
    pub fn table(&self, name: &str) -> Option<&StudyTable> {
        self.tables.iter().find(|t| t.name == name)
    }
}
