//! Limits that the user set, and ratings of the parts.

use joulestep_engine::units::people_digits;

use super::Read;
use crate::judge::{FACTOR, Ruling, Spread, Uncertainty};
use crate::report::Grid;

/// A limit with what the run did with it.
pub(super) struct Limit {
    pub name: String,
    pub unit: String,
    /// Whether it is the most allowed; else the least.
    pub most: bool,
    pub bound: f64,
    pub found: f64,
    pub error: Uncertainty,
    /// What the spread of the input does to it.
    pub spread: Option<Spread>,
    pub ruling: Ruling,
}

impl Limit {
    fn fails(&self) -> bool {
        self.ruling == Ruling::Fails
    }
    /// How far it is kept; below zero: exceeded.
    fn margin(&self) -> f64 {
        if self.most { self.bound - self.found } else { self.found - self.bound }
    }
    fn digits(&self, x: f64) -> String {
        people_digits(x, &self.unit, 4)
    }
    /// The margin with its share of the bound; a temperature's zero is arbitrary, so there is none.
    fn margin_words(&self) -> String {
        let unit = if self.unit == "degC" { "K" } else { &self.unit };
        let margin = people_digits(self.margin().abs(), unit, 3);
        let share = 100.0 * self.margin().abs() / self.bound.abs();
        if self.unit == "degC" || !share.is_finite() { margin } else { format!("{margin} ({share:.1} %)") }
    }
    /// ± that the spread of the input adds; nothing for the nominal part.
    fn spread_words(&self) -> String {
        match &self.spread {
            Some(Spread::Linear { deviation } | Spread::Unresolved { deviation }) => {
                Uncertainty::within(FACTOR * deviation).words(&self.unit)
            }
            Some(Spread::NotLinear { .. }) => "not linear".into(),
            None => String::new(),
        }
    }
    /// The error, and what the spread of the input adds.
    fn both_words(&self) -> String {
        let error = self.error.words(&self.unit);
        match &self.spread {
            Some(Spread::NotLinear { why }) => format!("{error} (not linear in its inputs: {why})"),
            Some(_) => format!("{error} (by the input {})", self.spread_words()),
            None => error,
        }
    }
    fn bound_words(&self) -> String {
        format!("at {} {}", if self.most { "most" } else { "least" }, self.digits(self.bound))
    }
}

/// Numbers of the summary with a bound whose names begin so.
fn bounded(read: &Read<'_>, rated: bool) -> Vec<Limit> {
    let mut out = Vec::new();
    for s in read.summary.iter().flat_map(|s| &s.scalars) {
        for (bound, most) in [(s.maximum, true), (s.minimum, false)] {
            let Some(bound) = bound else { continue };
            let of_part = s.name.strip_prefix("rating.");
            if of_part.is_some() != rated {
                continue;
            }
            let end = if most { ".largest" } else { ".least" };
            let name = of_part.or(s.name.strip_prefix("limit.")).unwrap_or(&s.name);
            let name = name.strip_suffix(end).unwrap_or(name).to_string();
            let (unit, error, spread) = (s.unit.clone(), s.error.clone(), s.spread.clone());
            out.push(Limit { name, unit, most, bound, found: s.value, error, spread, ruling: s.ruling() });
        }
    }
    out
}

/// Limits that the user set.
pub(super) fn limits(read: &Read<'_>) -> Vec<Limit> {
    bounded(read, false)
}

/// What is asked.
pub(super) fn question(limits: &[Limit]) -> String {
    if limits.is_empty() {
        return "What happens? The scenario sets no limit to be judged.".into();
    }
    let each: Vec<String> = limits.iter().map(|l| format!("{} {}", l.name, l.bound_words())).collect();
    let word = if limits.len() == 1 { "limit" } else { "limits" };
    format!("Is the {word} set kept: {}?", each.join("; ")).replace("Is the limits set", "Are the limits set")
}

/// The answer.
pub(super) fn sentences(limits: &[Limit], verdict: &str) -> Vec<String> {
    let mut out = Vec::new();
    for l in limits.iter().filter(|l| l.ruling == Ruling::NotProven) {
        out.push(format!(
            "{} is not proven: {} {}, allowed is {}.",
            l.name,
            l.digits(l.found),
            l.both_words(),
            l.bound_words()
        ));
    }
    for l in limits.iter().filter(|l| l.fails()) {
        out.push(format!(
            "{} reaches {}; allowed is {}: exceeded by {}.",
            l.name,
            l.digits(l.found),
            l.bound_words(),
            l.margin_words()
        ));
    }
    if out.is_empty() && verdict == "passes" {
        out.push(match limits.len() {
            1 => "The limit set is kept.".into(),
            n => format!("All {n} limits set are kept."),
        });
    }
    let share = |l: &&Limit| l.margin() / l.bound.abs();
    let nearest = limits.iter().filter(|l| l.ruling == Ruling::Passes && share(l).is_finite());
    if let Some(l) = nearest.min_by(|a, b| share(a).total_cmp(&share(b))).filter(|_| out.len() < 2) {
        out.push(format!(
            "Nearest to its limit is {}: {} of {}, a margin of {}.",
            l.name,
            l.digits(l.found),
            l.bound_words(),
            l.margin_words()
        ));
    }
    if limits.is_empty() {
        out.push("The scenario sets no limit: nothing is judged.".into());
    }
    out
}

fn row(l: &Limit) -> Vec<String> {
    let sign = if l.margin() < 0.0 { "−" } else { "" };
    vec![
        l.name.clone(),
        l.digits(l.found),
        l.error.words(&l.unit),
        l.spread_words(),
        l.bound_words(),
        format!("{sign}{}", l.margin_words()),
        l.ruling.word().into(),
    ]
}

/// Number of the column of spreads.
const SPREADS: usize = 3;
const HEADS: [&str; 7] =
    ["quantity", ">found", ">error", ">spread of input", ">allowed", ">margin", "outcome"];

fn table(caption: &str, limits: &[Limit]) -> Option<Grid> {
    if limits.is_empty() {
        return None;
    }
    // The nominal part has no column of spreads.
    let keeps = |k: usize| k != SPREADS || limits.iter().any(|l| l.spread.is_some());
    let heads: Vec<&str> = (0..HEADS.len()).filter(|k| keeps(*k)).map(|k| HEADS[k]).collect();
    let cells = |l: &Limit| row(l).into_iter().enumerate().filter(|(k, _)| keeps(*k)).map(|c| c.1).collect();
    let mut grid = Grid::new(caption, &heads, limits.iter().map(cells).collect());
    grid.marked = limits
        .iter()
        .enumerate()
        .filter(|(_, l)| matches!(l.ruling, Ruling::Fails | Ruling::NotProven))
        .map(|(k, _)| k)
        .collect();
    Some(grid)
}

/// The limits set.
pub(super) fn grid(limits: &[Limit]) -> Option<Grid> {
    table("Limits that the scenario sets", limits)
}

/// Ratings of the parts.
pub(super) fn ratings(read: &Read<'_>) -> Option<Grid> {
    table("Ratings of the parts; they are limits like those that the scenario sets", &bounded(read, true))
}

/// Ratings that are exceeded, or not shown to be kept.
pub(super) fn exceeded_ratings(read: &Read<'_>) -> Vec<String> {
    let beyond = bounded(read, true).into_iter();
    let told = beyond.filter_map(|l| {
        let what = match l.ruling {
            Ruling::Fails => "is exceeded",
            Ruling::NotProven => "is not shown to be kept",
            _ => return None,
        };
        Some(format!(
            "A rating of a part {what}: {} reaches {} {}, rated {}.",
            l.name,
            l.digits(l.found),
            l.both_words(),
            l.bound_words()
        ))
    });
    told.map(|text| text.replace("  ", " ").replace(" ,", ",")).collect()
}
