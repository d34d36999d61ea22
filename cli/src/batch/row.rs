//! A variant's row, and the columns that all rows share.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::batch::errors::Estimate;
use crate::batch::plan::{Plan, Search};
use crate::batch::variant::{Bound, Once, PlannedBatch};
use crate::judge::{Bounds, Computed, Number, Occurrence};
use crate::output::answer::{Outcome, Study};
use crate::output::result::Verdict;

/// How a variant ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Run to its end.
    Done,
    /// Its values make no scenario.
    Refused,
    /// Its equations could not be solved.
    Failed,
    /// The search found no value in its range.
    #[serde(rename = "not found")]
    NotFound,
    /// The program itself failed.
    Broken,
}

impl Status {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Done, Self::Refused, Self::Failed, Self::NotFound, Self::Broken];

    /// The word written in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Refused => "refused",
            Self::Failed => "failed",
            Self::NotFound => "not found",
            Self::Broken => "broken",
        }
    }

    /// By its word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.word() == word)
    }
}

/// What a variant yielded.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Row {
    /// Its number, from 0.
    pub variant: usize,
    /// How it ended.
    pub status: Status,
    /// The verdict over the limits of the user and the ratings of the parts. It follows from the rest of the row and
    /// the errors of the columns, so no journal keeps it.
    #[serde(skip, default = "unjudged")]
    pub verdict: Verdict,
    /// Why it did not end well; empty where it did.
    pub error: String,
    /// Its numbers, in the order of the columns; NaN where there is none.
    #[serde(with = "bits")]
    pub outputs: Vec<f64>,
    /// Lower and upper bound of every limit, one after the other; empty where they are those of the subject as it
    /// stands.
    #[serde(default, skip_serializing_if = "Vec::is_empty", with = "bits")]
    pub bounds: Vec<f64>,
    /// Why the verdict cannot be "passes", whatever the numbers say; empty where nothing speaks against it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub doubts: String,
    /// Whether a law was used outside the range for which it is known.
    #[serde(default, skip_serializing_if = "is_false")]
    pub out_of_range: bool,
    /// Numbers of the limits whose events were not over at the end: their numbers may still grow.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub open: Vec<usize>,
    /// Whether steps exceeded the error bound at their finest length.
    #[serde(default, skip_serializing_if = "is_false")]
    pub stalled: bool,
    /// The errors of its numbers, where coarser runs estimated them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub estimate: Option<Estimate>,
}

fn unjudged() -> Verdict {
    Verdict::NotJudged
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "what serde asks for")]
fn is_false(flag: &bool) -> bool {
    !flag
}

impl Row {
    /// A row that is not judged yet.
    pub fn new(status: Status, error: String, outputs: Vec<f64>) -> Self {
        Self {
            variant: 0,
            status,
            verdict: Verdict::NotJudged,
            error,
            outputs,
            bounds: Vec::new(),
            doubts: String::new(),
            out_of_range: false,
            open: Vec::new(),
            stalled: false,
            estimate: None,
        }
    }
}

/// Numbers as the hexadecimal digits of their IEEE 754 binary64, 16 each, so that they come back to the last bit.
pub(super) mod bits {
    use serde::de::{Deserialize, Deserializer, Error};
    use serde::ser::Serializer;

    pub fn serialize<S: Serializer>(numbers: &[f64], to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&numbers.iter().map(|x| format!("{:016x}", x.to_bits())).collect::<String>())
    }

    pub fn deserialize<'a, D: Deserializer<'a>>(from: D) -> Result<Vec<f64>, D::Error> {
        let digits = String::deserialize(from)?;
        let (numbers, []) = digits.as_bytes().as_chunks::<16>() else {
            return Err(D::Error::custom("a length that is no multiple of 16"));
        };
        let number = |digits| u64::from_str_radix(str::from_utf8(digits).ok()?, 16).ok().map(f64::from_bits);
        let numbers = numbers.iter().map(|digits: &[u8; 16]| number(digits)).collect::<Option<_>>();
        numbers.ok_or_else(|| D::Error::custom("digits that are not hexadecimal"))
    }
}

/// A column of numbers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Column {
    /// Its name.
    pub name: String,
    /// Unit symbol.
    pub unit: String,
    /// Whether coarser computations tell nothing of its errors: it is one itself, or a count.
    #[serde(skip)]
    pub exact: bool,
}

impl Column {
    /// What a study has columns of.
    pub fn all_of(study: &Study) -> Vec<Self> {
        study.columns().into_iter().map(|(name, unit, exact)| Self { name, unit, exact }).collect()
    }
}

/// The columns of a plan's outputs, and the limits: the value found by a search; further numbers; the study's `own`.
/// `limits` count columns from the first of these.
pub fn columns(plan: &Plan, own: &[Column], mut limits: Vec<Bound>) -> (Vec<Column>, Vec<Bound>) {
    let column =
        |name: &String, unit: &String| Column { name: name.clone(), unit: unit.clone(), exact: false };
    let found = plan.search.iter().map(|s| column(&s.name, &s.parameter.unit));
    let mut all: Vec<Column> = found.chain(plan.measures.iter().map(|m| column(&m.name, &m.unit))).collect();
    let shift = all.len();
    for (number, limit) in (1..).zip(&mut limits) {
        limit.columns = (limit.columns.0 + shift, limit.columns.1 + shift);
        // A path identifies a limit by its name or its place.
        let paths = [limit.limit.name.clone(), number.to_string()];
        limit.varied = (varied(plan, &paths, "min"), varied(plan, &paths, "max"));
    }
    all.extend(own.iter().cloned());
    (all, limits)
}

/// The input that varies a bound of the limit at one of these paths.
fn varied(plan: &Plan, paths: &[String], key: &str) -> Option<usize> {
    plan.inputs.iter().position(|i| paths.iter().any(|p| i.parameter.path == format!("limit.{p}.{key}")))
}

impl PlannedBatch {
    /// What a study of a variant gives; `of_plan`: the bounds of the limits that the plan sets; `measured`: the further
    /// numbers.
    pub(super) fn row(&self, study: &Study, of_plan: &[Bounds], measured: &[f64]) -> Once {
        let (status, error) = match &study.outcome {
            Outcome::Failed(why) => (Status::Failed, why.clone()),
            _ => (Status::Done, String::new()),
        };
        let computed = study.computed();
        let own: BTreeMap<&str, &Number> = computed.numbers.iter().map(|n| (n.name.as_str(), n)).collect();
        let found = self.plan.search.iter().map(|s| Number::plain(&s.name, f64::NAN));
        let further = self.plan.measures.iter().zip(measured).map(|(m, x)| Number::plain(&m.name, *x));
        let mut numbers: Vec<Number> = found.chain(further).collect();
        for column in &self.outputs[numbers.len()..] {
            let Some(number) = own.get(column.name.as_str()) else {
                // A number that decides what there is to tell: not one that a table with common columns can vary.
                return self.without(Status::Refused, "this variant has a different set of outputs".into());
            };
            numbers.push((*number).clone());
        }
        let answers = || study.answers.iter().filter(|a| !a.exact);
        let answer = |column: usize| answers().find(|a| a.name == self.outputs[column].name);
        let bounds = |(k, limit): (usize, &Bound)| {
            of_plan.get(k).copied().unwrap_or_else(|| {
                let (least, largest) = (answer(limit.columns.0), answer(limit.columns.1));
                let lower = least.map_or(f64::NEG_INFINITY, |a| a.bounds().lower);
                Bounds { lower, upper: largest.map_or(f64::INFINITY, |a| a.bounds().upper) }
            })
        };
        let bounds: Vec<Bounds> = self.limits.iter().enumerate().map(bounds).collect();
        let is_open = |l: &Bound| {
            let of = answer(l.columns.0).or(answer(l.columns.1)).and_then(|a| a.limited.as_ref());
            of.is_some_and(|l| l.occurrence == Occurrence::Open)
        };
        let open: Vec<usize> = (0..self.limits.len()).filter(|&k| is_open(&self.limits[k])).collect();
        let searched = |s: &Search| {
            let k = self.limits.iter().position(|l| l.limit.name == s.limit)?;
            let (least, largest) = self.limits[k].columns;
            let happened = !open.contains(&k);
            Some(happened && bounds[k].hold(numbers[least].value, numbers[largest].value))
        };
        let kept = self.plan.search.as_ref().and_then(searched).filter(|_| status == Status::Done);
        let mut row = Row::new(status, error, numbers.iter().map(|n| n.value).collect());
        if !self.limits.iter().map(|l| l.limit.bounds).eq(bounds.iter().copied()) {
            row.bounds = bounds.iter().flat_map(|b| [b.lower, b.upper]).collect();
        }
        row.doubts = study.doubts.join("; ");
        row.out_of_range = study.answers.iter().any(|a| !a.known && !a.bounds().is_none());
        row.stalled = study.computation.stalled;
        row.open = open;
        Once { row, kept, computed: Computed { numbers, ..computed } }
    }
}
