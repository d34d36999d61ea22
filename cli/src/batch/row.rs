//! A variant's row, and the columns that all rows share.

use joulestep_engine::run::watch::Watch;
use serde::{Deserialize, Serialize};

use crate::batch::errors::Estimate;
use crate::batch::plan::{MeasureSpec, Plan};
use crate::batch::variant::Bound;
use crate::input::scenario::build::Ready;
use crate::judge::{End, Number};
use crate::output::account::Account;
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
}

fn column(name: impl Into<String>, unit: &str) -> Column {
    Column { name: name.into(), unit: unit.to_string() }
}

/// The columns of a plan's outputs, and the user's limits: the value found by a search; further numbers; extremes of
/// what the limits bound (the user's first) and of the recorded signals; junctions; energies; let-through of
/// protections; the ledger's residual.
pub fn columns(plan: &Plan, ready: &Ready) -> (Vec<Column>, Vec<Bound>) {
    let mut all: Vec<Column> = Vec::new();
    all.extend(plan.search.iter().map(|s| column(&s.name, &s.parameter.unit)));
    all.extend(plan.measures.iter().map(|m| column(&m.name, &m.unit)));
    let mut limits = Vec::new();
    let mut judged: Vec<_> = ready.judging.judged.iter().collect();
    judged.sort_by_key(|j| j.limit.set_by);
    let watches = &ready.setup.watches;
    for limit in judged.into_iter().map(|j| &j.limit) {
        let columns = (all.len(), all.len() + 1);
        // Limits of the user come first, in the order of the scenario; a path identifies one by name or place.
        let paths = [limit.name.clone(), (limits.len() + 1).to_string()];
        let varied = match limit.by_user() {
            true => (varied(plan, &paths, "min"), varied(plan, &paths, "max")),
            false => (None, None),
        };
        limits.push(Bound { limit: limit.clone(), columns, varied });
        all.extend(End::BOTH.map(|end| column(limit.number(end), &limit.unit)));
    }
    for watch in &watches[..ready.signals] {
        all.push(column(format!("{}.least", watch.name), watch.unit));
        all.push(column(format!("{}.largest", watch.name), watch.unit));
    }
    for name in junctions(ready, watches) {
        all.push(column(format!("{name}.hottest"), "degC"));
        all.push(column(format!("{name}.end"), "degC"));
        all.push(column(format!("{name}.heat"), "J"));
    }
    for placed in &ready.placed {
        for what in ["delivered", "dissipated", "stored"] {
            all.push(column(format!("{}.{what}", placed.name), "J"));
        }
    }
    all.extend(ready.metered.iter().map(|protection| column(format!("{protection}.let-through"), "A^2 s")));
    all.push(column("ledger.residual", "J"));
    all.push(column("ledger.residual-relative", "1"));
    (all, limits)
}

/// The columns of a plan whose subject is no scenario, from the subject's own; and its limits.
pub fn columns_of_study(plan: &Plan, own: Vec<Column>, mut limits: Vec<Bound>) -> (Vec<Column>, Vec<Bound>) {
    let found = plan.search.as_ref().map(|s| column(&s.name, &s.parameter.unit));
    let shift = usize::from(found.is_some());
    for (number, limit) in (1..).zip(&mut limits) {
        limit.columns = (limit.columns.0 + shift, limit.columns.1 + shift);
        let paths = [limit.limit.name.clone(), number.to_string()];
        limit.varied = (varied(plan, &paths, "min"), varied(plan, &paths, "max"));
    }
    (found.into_iter().chain(own).collect(), limits)
}

/// The input that varies a bound of the limit at one of these paths.
fn varied(plan: &Plan, paths: &[String], key: &str) -> Option<usize> {
    plan.inputs.iter().position(|i| paths.iter().any(|p| i.parameter.path == format!("limit.{p}.{key}")))
}

/// Dies with a temperature, in the order of the account.
fn junctions(ready: &Ready, watches: &[Watch]) -> Vec<String> {
    let mut names = Vec::new();
    for placed in &ready.placed {
        for (k, (die, _)) in placed.built.dies.iter().enumerate() {
            let name = format!("{}.{die}", placed.name);
            let watched = watches.iter().any(|w| w.name == format!("{name}.temperature"));
            if placed.heat[k].is_some() && watched && ready.setup.thermal.is_some() {
                names.push(name);
            }
        }
    }
    names
}

/// Outputs of the ledger, which come last: they are errors themselves and have none.
pub const OF_LEDGER: usize = 2;

/// The numbers of a run in the order of [`columns`], but for what a search found; of energies those of the
/// scenario's own components only, which come first.
pub fn numbers(account: &Account, specs: &[MeasureSpec], measured: &[f64], components: usize) -> Vec<Number> {
    let mut all: Vec<Number> = specs.iter().zip(measured).map(|(s, x)| Number::plain(&s.name, *x)).collect();
    let mut of_account = account.computed(Vec::new()).numbers;
    let before = 2 * (account.judged.len() + account.peaks.len()) + 3 * account.junctions.len();
    let (own, every) = (before + 3 * components, before + 3 * account.energies.len());
    of_account.drain(own.min(every)..every);
    all.extend(of_account);
    all.push(Number::plain("ledger.residual", account.residual));
    all.push(Number::plain("ledger.residual-relative", account.relative));
    all
}
