//! What the spread of the input does to the numbers of an account.

use serde::Serialize;

use super::{Account, Judgement};
use crate::judge::{FACTOR, Spread, Uncertainty, Verdict};

/// An input that spreads.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Varied {
    /// Where it stands: `component.Q1.threshold`.
    pub name: String,
    /// Unit symbol.
    pub unit: String,
    /// Its value in the scenario.
    pub value: f64,
    /// Its standard deviation (K for a temperature).
    pub deviation: f64,
}

/// What the inputs do to a number.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NumberSpread {
    /// The number, as the result file calls it.
    pub name: String,
    /// Its spread.
    #[serde(flatten)]
    pub spread: Spread,
    /// The input that does most.
    pub most_by: Option<String>,
}

/// The spread of all numbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Spreads {
    /// Standard deviations that are judged.
    pub factor: f64,
    /// Runs that were made.
    pub runs: usize,
    /// The inputs.
    pub inputs: Vec<Varied>,
    /// In the order of [`Account::computed`].
    pub numbers: Vec<NumberSpread>,
}

impl Account {
    /// Takes the spread of [`Account::computed`]'s numbers, and rules anew.
    pub fn take_spread(&mut self, spread: Spreads) {
        self.spread = Some(spread);
        self.rule();
    }

    /// The errors of the extremes of the limit number `k`, with what the input's spread adds.
    pub(super) fn errors_with_spread(&self, k: usize, j: &Judgement) -> [Uncertainty; 2] {
        let with = |side: usize, error: &Uncertainty| {
            let own = self.spread.as_ref().and_then(|s| s.numbers.get(2 * k + side));
            own.map_or_else(|| error.clone(), |own| own.spread.beside(error))
        };
        [with(0, &j.least_error), with(1, &j.largest_error)]
    }

    /// The spread of a number by its name.
    pub fn spread_of(&self, name: &str) -> Option<&NumberSpread> {
        self.spread.as_ref()?.numbers.iter().find(|n| n.name == name)
    }

    /// What of the input the verdict holds for.
    pub fn input(&self) -> String {
        match &self.spread {
            None => "nominal part".into(),
            Some(s) => format!("with {FACTOR} standard deviations of {} inputs", s.inputs.len()),
        }
    }

    /// The verdict with what it holds for: "passes, without error estimate, nominal part".
    pub fn verdict_words(&self) -> String {
        let verdict = self.verdict();
        let bare = if self.judges_bare() { ", without error estimate" } else { "" };
        match verdict {
            Verdict::NotJudged => verdict.word().into(),
            _ => format!("{}{bare}, {}", verdict.word(), self.input()),
        }
    }
}
