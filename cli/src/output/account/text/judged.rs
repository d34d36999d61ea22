//! Limits, ratings, the verdict, and what it rests on.

use super::{WIDTH, error, errors_beside, heading, line};
use crate::diagnostic::{filled, printable};
use crate::judge::Uncertainty;
use crate::output::account::{Account, Judgement};

/// Limits, ratings and the verdict of a study that told the numbers of `more` errors before.
pub fn judged(a: &Account, more: &[&Uncertainty]) -> String {
    let mut out = String::new();
    limits(&mut out, a, more);
    out
}

/// Limits, ratings and the verdict.
pub(super) fn limits(out: &mut String, a: &Account, more: &[&Uncertainty]) {
    let row = |j: &Judgement| {
        let bound = |x: f64| if x.is_finite() { j.limit.shown(x, 4) } else { String::new() };
        let [least, most] = j.sides();
        let side = |(found, known, bounds): (f64, &Uncertainty, crate::judge::Bounds)| {
            if bounds.is_none() {
                return [String::new(), String::new()];
            }
            [
                if found.is_finite() { j.limit.shown(found, 4) } else { "-".into() },
                error(known, j.limit.unit_of_difference()),
            ]
        };
        let mut row = vec![j.limit.name.clone(), bound(j.limit.bounds.lower)];
        row.extend(side(least));
        row.extend(side(most));
        let word = if j.is_unseen() { "not seen" } else { j.ruling.word() };
        row.extend([bound(j.limit.bounds.upper), word.to_string()]);
        row
    };
    for (by_user, words) in [(false, "Ratings of the parts"), (true, "Limits set")] {
        let rows: Vec<Vec<String>> =
            a.judged.iter().filter(|j| j.limit.by_user() == by_user).map(row).collect();
        if !rows.is_empty() {
            heading(out, words, "");
            let columns = ["what", ">at least", ">least", ">±", ">largest", ">±", ">at most", ""];
            errors_beside(out, &columns, rows);
            let of = a.judged.iter().filter(|j| j.limit.by_user() == by_user && !j.remark().is_empty());
            of.for_each(|j| line(out, &format!("  {}: {}", j.limit.name, j.remark())));
        }
    }
    marks(out, a, more);
    out.push('\n');
    conclusions(out, a);
    line(out, &format!("Verdict: {}", a.verdict_words()));
}

/// What the marks in the tables mean, where they occur.
fn marks(out: &mut String, a: &Account, more: &[&Uncertainty]) {
    let shown = a.judged.iter().flat_map(Judgement::sides).filter(|s| !s.2.is_none()).map(|s| s.1);
    let shown: Vec<&Uncertainty> = match more.is_empty() {
        true => a.errors().collect(),
        // A study shows these alone.
        false => shown.chain(more.iter().copied()).collect(),
    };
    let errors = || shown.iter().copied();
    if errors().any(|e| matches!(e, Uncertainty::NotConverging { .. })) {
        let text = "* coarser runs do not converge here; ± is three times the larger difference between them";
        out.push('\n');
        filled(text, WIDTH, out);
    }
    if let Some(why) = errors().find_map(|e| match e {
        Uncertainty::NotEstimated { why } => Some(why),
        _ => None,
    }) {
        out.push('\n');
        filled(&printable(&format!("not estimated: {why}")), WIDTH, out);
    }
}

/// Doubts, waivers and notes, a line each.
fn conclusions(out: &mut String, a: &Account) {
    let doubts = a.doubts.iter().map(|d| ("Doubt", d.text.clone()));
    let waivers = a.waivers.iter().map(|w| ("Waived", format!("`{}`: {}", w.rating, w.reason)));
    let notes = a.notes.iter().cloned().chain(a.stall()).map(|n| ("Note", n));
    let all: Vec<(&str, String)> = doubts.chain(waivers).chain(notes).collect();
    for (what, text) in &all {
        filled(&printable(&format!("{what}: {text}")), WIDTH, out);
    }
    if !all.is_empty() {
        out.push('\n');
    }
}
