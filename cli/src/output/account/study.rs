//! What a study keeps of its limits and ratings.

use super::{Account, Judgement};
use crate::judge::{Uncertainty, Verdict};
use crate::output::answer::StudyTable;
use crate::output::table::{Cell, Head, Table};

/// The tables of ratings and limits, where there are any: values in the unit that the row names.
pub fn tables(a: &Account) -> Vec<StudyTable> {
    let heads = vec![
        Head::text("what"),
        Head::text("unit"),
        Head::number("minimum", "at least", "1"),
        Head::number("least", "least", "1"),
        Head::number("least_error", "\u{b1}", "1"),
        Head::number("largest", "largest", "1"),
        Head::number("largest_error", "\u{b1}", "1"),
        Head::number("maximum", "at most", "1"),
        Head::text("verdict"),
    ];
    let row = |j: &Judgement| {
        let mut row: Vec<Cell> =
            vec![j.limit.name.as_str().into(), j.limit.unit.as_str().into(), j.limit.bounds.lower.into()];
        for (found, error, bounds) in j.sides() {
            let report = [Cell::from(found), error_cell(error)];
            row.extend(if bounds.is_none() { [Cell::None, Cell::None] } else { report });
        }
        row.extend([j.limit.bounds.upper.into(), j.ruling.word().into()]);
        row
    };
    let table = |by_user: bool, name: &str, title: &str| {
        let rows: Vec<Vec<Cell>> =
            a.judged.iter().filter(|j| j.limit.by_user() == by_user).map(row).collect();
        let data = Table { heads: heads.clone(), rows };
        (!data.rows.is_empty()).then(|| StudyTable::new(name, title, 2, data))
    };
    let both = [table(false, "ratings", "Ratings of the parts"), table(true, "limits", "Limits set")];
    both.into_iter().flatten().collect()
}

fn error_cell(error: &Uncertainty) -> Cell {
    if *error == Uncertainty::Bare { Cell::None } else { Cell::Error(error.clone()) }
}

/// The verdict in a sentence, with what it rests on.
pub fn answers(a: &Account) -> Vec<String> {
    let verdict = a.verdict();
    let bare = if a.judges_bare() && verdict != Verdict::NotJudged { ", without error estimate" } else { "" };
    let mut out =
        vec![format!("Over the ratings of the parts and the limits set: {}{bare}.", verdict.word())];
    out.extend(a.doubts.iter().map(|d| format!("Doubt: {}.", d.text)));
    out.extend(
        a.waivers.iter().map(|w| format!("Waived: `{}`: {}.", w.rating, w.reason.trim_end_matches('.'))),
    );
    out.extend(a.notes.iter().cloned().chain(a.stall()).map(|n| format!("Note: {n}.")));
    out
}
