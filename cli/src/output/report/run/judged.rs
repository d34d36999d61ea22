//! Limits that the user set, and ratings of the parts.

use crate::output::report::people_digits;

use super::Read;
use crate::judge::{Bounds, FACTOR, Limited, Ruling, SetBy, Spread, Uncertainty};
use crate::output::report::Grid;
use crate::output::result::Scalar;

/// A number of the summary against one bound of its limit.
pub(super) struct Against<'a> {
    scalar: &'a Scalar,
    limited: &'a Limited,
    /// Whether it is the most allowed; else the least.
    most: bool,
    bound: f64,
}

impl Against<'_> {
    fn name(&self) -> &str {
        &self.limited.limit.name
    }
    fn ruling(&self) -> Ruling {
        self.scalar.ruling()
    }
    /// What a reader must know of what the limit speaks of; empty where that happened.
    fn remark(&self) -> &'static str {
        self.limited.occurrence.remark(self.limited.limit.of)
    }

    fn fails(&self) -> bool {
        self.ruling() == Ruling::Fails
    }
    /// How far it is kept; below zero: exceeded.
    fn margin(&self) -> f64 {
        if self.most { self.bound - self.scalar.value } else { self.scalar.value - self.bound }
    }
    fn digits(&self, x: f64) -> String {
        self.limited.limit.shown(x, 4)
    }
    /// The margin with its share of the bound; a temperature's zero is arbitrary, so there is none.
    fn margin_words(&self) -> String {
        let limit = &self.limited.limit;
        if limit.of.is_count() {
            return limit.shown(self.margin().abs(), 3);
        }
        let margin = people_digits(self.margin().abs(), limit.unit_of_difference(), 3);
        let share = 100.0 * self.margin().abs() / self.bound.abs();
        if limit.unit == "degC" || !share.is_finite() { margin } else { format!("{margin} ({share:.1} %)") }
    }
    /// ± that the spread of the input adds; nothing for the nominal part.
    fn spread_words(&self) -> String {
        match &self.scalar.spread {
            Some(Spread::Linear { deviation } | Spread::Unresolved { deviation }) => {
                Uncertainty::within(FACTOR * deviation).words(&self.scalar.unit)
            }
            Some(Spread::NotLinear { .. }) => "not linear".into(),
            None => String::new(),
        }
    }
    /// How many times its error the margin is; `None`: the error is not known, or nothing.
    fn times(&self) -> Option<f64> {
        let times = self.margin().abs() / self.scalar.error.plus_minus()?;
        times.is_finite().then_some(times)
    }
    /// The number with its error, its bound, and the margin in units of the error.
    fn decides(&self) -> String {
        let remark = self.remark();
        if !self.scalar.value.is_finite() {
            let why = if remark.is_empty() { "is no finite number" } else { remark };
            return format!("{}: {why}, allowed is {}.", self.name(), self.bound_words());
        }
        let so_far = if remark.is_empty() { "" } else { "so far " };
        let found = format!("{so_far}{} {}", self.digits(self.scalar.value), self.both_words());
        let remark = if remark.is_empty() { String::new() } else { format!(" ({remark})") };
        let margin = if self.margin() < 0.0 { "exceeded by" } else { "margin" };
        let times = self.times().map_or(String::new(), |times| match times {
            x if x >= 1000.0 => ", more than 1000 times the error".into(),
            x => format!(", {} times the error", people_digits(x, "1", 2)),
        });
        format!(
            "{}: {}{remark}, allowed is {}; {margin} {}{times}.",
            self.name(),
            found.trim_end(),
            self.bound_words(),
            self.margin_words()
        )
    }
    /// The error, and what the spread of the input adds.
    fn both_words(&self) -> String {
        let error = self.scalar.error.words(self.limited.limit.unit_of_difference());
        match &self.scalar.spread {
            Some(Spread::NotLinear { why }) => format!("{error} (not linear in its inputs: {why})"),
            Some(_) => format!("{error} (by the input {})", self.spread_words()),
            None => error,
        }
    }
    fn bound_words(&self) -> String {
        format!("at {} {}", if self.most { "most" } else { "least" }, self.digits(self.bound))
    }
}

/// Numbers of the summary with a bound that users, or parts, set.
fn bounded<'a>(read: &'a Read<'_>, by: SetBy) -> Vec<Against<'a>> {
    let mut out = Vec::new();
    for scalar in read.summary.iter().flat_map(|s| &s.scalars) {
        let Some(limited) = scalar.limited.as_ref().filter(|l| l.limit.set_by == by) else { continue };
        let Bounds { lower, upper } = limited.bounds();
        let sides = [(upper, true), (lower, false)].into_iter().filter(|s| s.0.is_finite());
        out.extend(sides.map(|(bound, most)| Against { scalar, limited, most, bound }));
    }
    out
}

/// The limit or rating that decides, in words: the worst ruled, of those the one with the least margin, as a share of
/// the bound; of those that are not proven, in units of the error.
pub(super) fn deciding(read: &Read<'_>, limits: &[Against<'_>]) -> Option<String> {
    let ratings = bounded(read, SetBy::Part);
    let judged = |l: &&Against<'_>| !matches!(l.ruling(), Ruling::NotJudged | Ruling::Waived);
    let all = || limits.iter().chain(&ratings).filter(judged);
    let worst = all().map(|l| l.ruling()).max()?;
    // A count that is kept is kept exactly: its margin says nothing of how near it came.
    let counts = |l: &Against<'_>| worst == Ruling::Passes && l.limited.limit.of.is_count();
    let others = all().any(|l| !counts(l));
    let share = |l: &Against<'_>| (l.margin() / l.bound.abs(), l.margin());
    let nearest = all().filter(|l| l.ruling() == worst && !(others && counts(l))).min_by(|a, b| {
        // A margin counts by its share of the bound; where it is not known well enough, by its errors.
        let times =
            |l: &Against<'_>| l.times().filter(|_| worst == Ruling::NotProven).unwrap_or(f64::INFINITY);
        let order = times(a).total_cmp(&times(b));
        order.then(share(a).0.total_cmp(&share(b).0)).then(share(a).1.total_cmp(&share(b).1))
    })?;
    let what = match worst {
        Ruling::Fails => "Exceeded",
        Ruling::NotProven => "Not proven",
        _ => "Nearest to its limit",
    };
    let rated = if ratings.iter().any(|r| std::ptr::eq(r, nearest)) { " (a part's rating)" } else { "" };
    Some(format!("{what}{rated}: {}", nearest.decides()))
}

/// Limits that the user set.
pub(super) fn limits<'a>(read: &'a Read<'_>) -> Vec<Against<'a>> {
    bounded(read, SetBy::User)
}

/// What is asked.
pub(super) fn question(read: &Read<'_>, limits: &[Against<'_>]) -> String {
    if read.summary.is_none() {
        return "What happened until the record ends?".into();
    }
    if limits.is_empty() {
        return "Are the ratings of the parts kept? The scenario sets no limit of its own.".into();
    }
    let each: Vec<String> = limits.iter().map(|l| format!("{} {}", l.name(), l.bound_words())).collect();
    let word = if limits.len() == 1 { "limit" } else { "limits" };
    format!("Is the {word} set kept: {}?", each.join("; ")).replace("Is the limits set", "Are the limits set")
}

/// The answer: what decides, then whatever else fails or is not proven.
pub(super) fn sentences(read: &Read<'_>, limits: &[Against<'_>], verdict: &str) -> Vec<String> {
    let ratings = bounded(read, SetBy::Part);
    let deciding = deciding(read, limits);
    let worst = limits.iter().chain(&ratings).map(|l| l.ruling()).max().unwrap_or(Ruling::NotJudged);
    let doubts = read.summary.as_ref().map_or(0, |s| s.doubts.len());
    let mut out = Vec::new();
    if worst < Ruling::NotProven && doubts > 0 {
        let doubts = if doubts == 1 { "the doubt".into() } else { format!("the {doubts} doubts") };
        let kept = if worst == Ruling::Passes { "; what could be judged is kept" } else { "" };
        out.push(format!("Not proven for {doubts} below{kept}."));
    }
    out.extend(deciding.iter().cloned());
    for l in limits.iter().filter(|l| matches!(l.ruling(), Ruling::Fails | Ruling::NotProven)) {
        let report = l.decides();
        if !deciding.as_ref().is_some_and(|d| d.ends_with(&report)) {
            out.push(format!("{}: {report}", if l.fails() { "Exceeded" } else { "Not proven" }));
        }
    }
    let judged = |all: &[Against<'_>]| {
        all.iter().filter(|l| !matches!(l.ruling(), Ruling::NotJudged | Ruling::Waived)).count()
    };
    match (judged(limits), judged(&ratings)) {
        (0, 0) if read.summary.is_none() => {}
        (0, 0) => out.push("No limit is set and no rating is known that could be judged.".into()),
        (set, rated) if verdict == "passes" => {
            let several = |n: usize, what: &str| format!("{n} {what}{}", if n == 1 { "" } else { "s" });
            out.push(match (set, rated) {
                (set, 0) => format!("Kept: {} set.", several(set, "limit")),
                (0, rated) => {
                    format!("Kept: {} of the parts. The scenario sets no limit.", several(rated, "rating"))
                }
                _ => {
                    format!("Kept: {} set, {} of the parts.", several(set, "limit"), several(rated, "rating"))
                }
            });
        }
        _ => {}
    }
    out
}

/// A sign that marks a ruling without colour.
fn mark(ruling: Ruling) -> &'static str {
    match ruling {
        Ruling::Passes => "✓",
        Ruling::Fails => "✗",
        Ruling::NotProven => "?",
        Ruling::Waived | Ruling::NotJudged => "",
    }
}

fn outcome(l: &Against<'_>) -> String {
    let word = format!("{} {}", mark(l.ruling()), l.ruling().word());
    match l.remark() {
        "" => word.trim_start().to_string(),
        remark => format!("{}: {remark}", word.trim_start()),
    }
}

fn row(l: &Against<'_>) -> Vec<String> {
    let sign = if l.margin() < 0.0 { "−" } else { "" };
    vec![
        l.name().to_string(),
        l.digits(l.scalar.value),
        l.scalar.error.words(l.limited.limit.unit_of_difference()),
        l.spread_words(),
        l.bound_words(),
        format!("{sign}{}", l.margin_words()),
        outcome(l),
    ]
}

/// Number of the column of spreads.
const SPREADS: usize = 3;
const HEADS: [&str; 7] =
    ["quantity", ">found", ">error", ">spread of input", ">allowed", ">margin", "outcome"];

fn table(caption: &str, limits: &[Against<'_>]) -> Option<Grid> {
    if limits.is_empty() {
        return None;
    }
    // The nominal part has no column of spreads.
    let keeps = |k: usize| k != SPREADS || limits.iter().any(|l| l.scalar.spread.is_some());
    let heads: Vec<&str> = (0..HEADS.len()).filter(|k| keeps(*k)).map(|k| HEADS[k]).collect();
    let cells =
        |l: &Against<'_>| row(l).into_iter().enumerate().filter(|(k, _)| keeps(*k)).map(|c| c.1).collect();
    let mut grid = Grid::new(caption, &heads, limits.iter().map(cells).collect());
    let ruled = |ruling: Ruling| (0..limits.len()).filter(move |&k| limits[k].ruling() == ruling).collect();
    (grid.failed, grid.marked) = (ruled(Ruling::Fails), ruled(Ruling::NotProven));
    Some(grid)
}

/// The limits set.
pub(super) fn grid(limits: &[Against<'_>]) -> Option<Grid> {
    table("Limits that the scenario sets", limits)
}

/// Ratings of the parts.
pub(super) fn ratings(read: &Read<'_>) -> Option<Grid> {
    table(
        "Ratings of the parts; they are limits like those that the scenario sets",
        &bounded(read, SetBy::Part),
    )
}

/// Ratings that are exceeded, or not shown to be kept.
pub(super) fn exceeded_ratings(read: &Read<'_>) -> Vec<String> {
    let beyond = bounded(read, SetBy::Part).into_iter();
    let report = beyond.filter_map(|l| {
        let what = match l.ruling() {
            Ruling::Fails => "is exceeded",
            Ruling::NotProven => "is not shown to be kept",
            _ => return None,
        };
        Some(format!(
            "A rating of a part {what}: {} reaches {} {}, rated {}.",
            l.name(),
            l.digits(l.scalar.value),
            l.both_words(),
            l.bound_words()
        ))
    });
    report.map(|text| text.replace("  ", " ").replace(" ,", ",")).collect()
}
