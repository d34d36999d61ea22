//! The one form of a study's answer: quantities with errors, limits and rulings, tables, figures, and what they rest
//! on.
//!
//! A study gives a [`Study`]; text, JSON, CSV, result file and report each know this form and no study.

mod assess;
pub mod overlay;
mod rows;
mod table;

pub use assess::{Computation, Estimation, assess};
pub use table::{StudyFigure, StudyTable};

use joulestep_engine::units::people_digits;

use crate::diagnostic::Sources;
use crate::judge::{
    Bounds, End, Limit, Limited, Ruling, SetBy, Spread, Uncertainty, Verdict, spelled_difference,
};
use crate::output::table::shown_digits;

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

/// Name of the table of a run's events, which a recorded file has as such.
pub const EVENTS: &str = "events";
/// Title of the figure of recorded signals, which a recorded file has as such.
pub const WAVEFORMS: &str = "Waveforms";

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
    /// What of the input the verdict holds for, in words: "nominal part"; empty where nothing is said.
    pub input: String,
    /// The answers, the most important first.
    pub answers: Vec<Answer>,
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
    /// What was measured, beside what was simulated; a recorded file has it as waveforms.
    pub overlays: Vec<overlay::Overlay>,
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
    /// What the value must keep: a limit, a rating, what an option requires.
    pub limited: Option<Limited>,
    /// Whether the laws behind the value are within the range for which they are known.
    pub known: bool,
    /// The ruling over its limit.
    pub ruling: Ruling,
    /// What the spread of the input does to it; `None`: it is that of the nominal part.
    pub spread: Option<Spread>,
    /// Whether it is a count, or an error itself, of which coarser computations tell nothing.
    pub exact: bool,
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
            limited: None,
            known: true,
            ruling: Ruling::NotJudged,
            spread: None,
            exact: false,
            remark: String::new(),
        }
    }
}

impl Answer {
    /// A quantity without limit; `unit` is a unit symbol.
    pub fn new(name: impl Into<String>, quantity: impl Into<String>, value: f64, unit: &str) -> Self {
        Self { name: name.into(), quantity: quantity.into(), value, unit: unit.into(), ..Self::default() }
    }

    /// A count, or an error itself: what it is, it is.
    pub fn count(name: &str, quantity: &str, value: f64, unit: &str) -> Self {
        Self { exact: true, error: Uncertainty::within(0.0), ..Self::new(name, quantity, value, unit) }
    }

    /// With an error that is known already.
    pub fn error(self, error: Uncertainty) -> Self {
        Self { error, ..self }
    }

    /// With an error that adds to what coarser computations show, ±.
    pub fn further(self, further: f64) -> Self {
        Self { further, ..self }
    }

    /// With bounds under its own name, and what sets them: "rating", "limit", the name of an option.
    pub fn limited(self, bounds: Bounds, by: &str) -> Self {
        let set_by = if by == SetBy::Part.sets() { SetBy::Part } else { SetBy::User };
        let (name, unit) = (self.name.clone(), self.unit.clone());
        let limit = Limit { name, set_by, unit, bounds, ..Limit::default() };
        let by = if by == set_by.sets() { String::new() } else { by.into() };
        Self { limited: Some(Limited { limit, end: End::Only, by, ..Limited::default() }), ..self }
    }

    /// What the value must keep.
    pub fn bounds(&self) -> Bounds {
        self.limited.as_ref().map_or(Bounds::NONE, Limited::bounds)
    }

    /// What sets the bounds, in a word; empty where there are none.
    pub fn set_by(&self) -> &str {
        self.limited.as_ref().map_or("", Limited::sets)
    }

    /// The reason for which the user waived the limit.
    pub fn waived(&self) -> Option<&str> {
        self.limited.as_ref()?.limit.waived.as_deref()
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
            x => self.shown(x),
        }
    }

    /// A number of its kind for people; counts in full.
    fn shown(&self, x: f64) -> String {
        match self.limited.as_ref().map(|l| &l.limit).filter(|l| l.of.is_count()) {
            Some(limit) => limit.shown(x, self.digits()),
            None => shown_digits(x, &self.unit, self.digits()),
        }
    }

    /// Digits for people: what is judged has one more.
    fn digits(&self) -> usize {
        if self.bounds().is_none() { 3 } else { 4 }
    }

    /// The bounds, for people: "at most 30 V".
    pub fn bounds_words(&self) -> String {
        let bounds = self.bounds();
        let side = |word: &str, x: f64| x.is_finite().then(|| format!("{word} {}", self.shown(x)));
        let both = [side("at least", bounds.lower), side("at most", bounds.upper)];
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
        if !self.bounds().is_none() {
            out.push_str(&format!("; {} ({}): {}", self.bounds_words(), self.set_by(), self.ruling.word()));
            let margin = self.margin_words();
            if !margin.is_empty() {
                let times = self.margin_in_errors().map_or(String::new(), |times| match times {
                    x if x >= 1000.0 => ", more than 1000 times the error".into(),
                    x => format!(", {} times the error", people_digits(x, "1", 2)),
                });
                out.push_str(&format!(", margin {margin}{times}"));
            }
        }
        out + "."
    }

    /// How far the nearer of its bounds is kept; below zero: exceeded.
    pub fn margin(&self) -> f64 {
        let Bounds { lower, upper } = self.bounds();
        (upper - self.value).min(self.value - lower)
    }

    /// The margin as a share of the bound; of a temperature, whose zero is arbitrary, there is none.
    pub fn margin_share(&self) -> Option<f64> {
        let Bounds { lower, upper } = self.bounds();
        let bound = if upper - self.value <= self.value - lower { upper } else { lower };
        let share = self.margin() / bound.abs();
        (self.unit != "degC" && share.is_finite()).then_some(share)
    }

    /// How many times its error the margin is; `None`: the error is not known, or nothing.
    pub fn margin_in_errors(&self) -> Option<f64> {
        let times = self.margin().abs() / self.error.plus_minus()?;
        times.is_finite().then_some(times)
    }

    /// The margin with its share of the bound; nothing where there is no bound or no value.
    pub fn margin_words(&self) -> String {
        if !self.margin().is_finite() {
            return String::new();
        }
        let unit = spelled_difference(&self.unit);
        let share = self.margin_share().map_or(String::new(), |x| format!(" ({:.1} %)", 100.0 * x));
        format!("{}{share}", people_digits(self.margin(), unit, 3))
    }
}

impl Study {
    /// The answers as people read them: quantity, value, ±, limit, ruling, remark.
    pub fn rows(&self) -> Vec<Vec<String>> {
        let row = |a: &Answer| {
            let (limit, ruling) = match a.bounds_words() {
                none if none.is_empty() => (none, ""),
                bounds => (format!("{bounds} ({})", a.set_by()), a.ruling.word()),
            };
            let remark = match a.waived() {
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
