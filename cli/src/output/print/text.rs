//! A study for people: the verdict first, then the quantities, the tables, and what they rest on.

use std::fmt::Write;

use crate::diagnostic::{filled, printable};
use crate::judge::{Uncertainty, Verdict};
use crate::output::answer::{Outcome, Study, StudyTable};
use crate::output::table::{Cell, aligned};

/// Columns of the text.
const WIDTH: usize = 110;
/// A table with more rows is shown by its first and last ones.
const ROWS: usize = 40;
/// Rows shown of such a table at either end.
const ENDS: usize = 12;

/// The study in lines.
pub fn text(study: &Study) -> String {
    let mut out = format!("{}\n", printable(&study.title));
    match &study.outcome {
        Outcome::Done => {}
        Outcome::Interrupted => out.push_str("\nINTERRUPTED: what follows is of what there was until then\n"),
        Outcome::Failed(why) => {
            out.push('\n');
            filled(&printable(&format!("FAILED: {why}")), WIDTH, &mut out);
        }
    }
    if let Some(verdict) = study.verdict {
        // What has no end has no error to be estimated.
        let judged = study.answers.iter().filter(|a| !a.bounds().is_none() && a.value.is_finite());
        let bare = judged.into_iter().any(|a| a.error == Uncertainty::Bare);
        let bare = if bare && verdict != Verdict::NotJudged { ", without error estimate" } else { "" };
        let input = match study.input.as_str() {
            "" => String::new(),
            input => format!(", {input}"),
        };
        let _ = writeln!(out, "\nverdict: {}{bare}{input}", verdict.word());
    }
    list("doubt: ", &study.doubts, &mut out);
    quantities(study, &mut out);
    for table in study.tables.iter().filter(|t| !t.machine_only && !t.data.rows.is_empty()) {
        rows(table, &mut out);
    }
    let errors = || study.tables.iter().flat_map(|t| t.data.errors());
    if errors().any(|e| matches!(e, Uncertainty::NotConverging { .. })) {
        out.push_str("  *: the computations for this error do not converge\n");
    }
    let of_answers = study.answers.iter().map(|a| &a.error);
    let unknown = of_answers.chain(errors()).find_map(|e| match e {
        Uncertainty::NotEstimated { why } if !why.is_empty() => Some(why),
        _ => None,
    });
    if let Some(why) = unknown {
        filled(&printable(&format!("not estimated: {why}")), WIDTH, &mut out);
    }
    if !study.notes.is_empty() {
        out.push_str("\nnotes\n");
        list("", &study.notes, &mut out);
    }
    if !study.conditions.is_empty() {
        out.push_str("\nconditions\n");
        list("", &study.conditions, &mut out);
    }
    if !study.definitions.is_empty() {
        out.push_str("\ndefinitions\n");
        for (term, words) in &study.definitions {
            filled(&printable(&format!("{term}: {words}")), WIDTH, &mut out);
        }
    }
    out
}

fn list(before: &str, sentences: &[String], out: &mut String) {
    for sentence in sentences {
        filled(&printable(&format!("{before}{sentence}")), WIDTH, out);
    }
}

fn quantities(study: &Study, out: &mut String) {
    if study.answers.is_empty() {
        return;
    }
    let heads = ["quantity", "value", "\u{b1}", "limit", "ruling", "remark"];
    let rows = study.rows();
    // A column without any content is left out.
    let shown: Vec<usize> = (0..heads.len()).filter(|&k| rows.iter().any(|r| !r[k].is_empty())).collect();
    let pick = |row: &[String]| shown.iter().map(|&k| printable(&row[k])).collect::<Vec<_>>();
    let mut lines = vec![pick(&heads.map(String::from))];
    lines.extend(rows.iter().map(|row| pick(row)));
    let right: Vec<bool> = shown.iter().map(|&k| matches!(k, 1 | 2)).collect();
    out.push('\n');
    out.push_str(&aligned(&lines, &right));
}

fn rows(table: &StudyTable, out: &mut String) {
    let _ = writeln!(out, "\n{}", printable(&table.title));
    let names: Vec<&str> = table.data.heads.iter().map(|h| h.name.as_str()).collect();
    let (keys, rest) = names.split_at(table.keys.min(names.len()));
    // A key that is the same in all rows stands in none of them.
    let same = |k: &usize| {
        let first = table.data.rows.first().and_then(|r| r.get(*k));
        keys.len() > 1 && table.data.rows.len() > 1 && table.data.rows.iter().all(|r| r.get(*k) == first)
    };
    let keys: Vec<&str> = (0..keys.len()).filter(|k| !same(k)).map(|k| keys[k]).collect();
    // Errors stand beside their numbers by themselves.
    let says = |name: &&str| {
        let k = names.iter().position(|n| n == name).unwrap_or(0);
        table.data.rows.iter().any(|row| !matches!(row.get(k), Some(Cell::Text(text)) if text.is_empty()))
    };
    let rest: Vec<&str> = rest.iter().copied().filter(|n| !is_error(n, &names)).filter(says).collect();
    let count = table.data.rows.len();
    let mut data = table.data.clone();
    if count > ROWS {
        data.rows.drain(ENDS..count - ENDS);
    }
    out.push_str(&data.blocks(&keys, &rest, WIDTH));
    if count > ROWS {
        let _ = writeln!(
            out,
            "  the first and last {ENDS} of {count} rows; all of them: --csv={}, --json or --out",
            table.name
        );
    }
}

fn is_error(name: &str, names: &[&str]) -> bool {
    name.strip_suffix("_error").is_some_and(|of| names.contains(&of))
}
