//! The answers as a table of their own, and back.

use super::{Answer, Study};
use crate::judge::{Bounded, Bounds, End, Limit, Limited, Occurrence, Ruling, Uncertainty};
use crate::output::table::{Cell, Head, Table};

/// Columns of [`Study::answer_table`], in order.
const COLUMNS: [(&str, bool); 18] = [
    ("name", false),
    ("quantity", false),
    ("value", true),
    ("unit", false),
    ("error", true),
    ("error_kind", false),
    ("error_why", false),
    ("minimum", true),
    ("maximum", true),
    ("limit", false),
    ("limit_name", false),
    ("limit_kind", false),
    ("limit_end", false),
    ("occurrence", false),
    ("ruling", false),
    ("waived", false),
    ("range", false),
    ("remark", false),
];

/// Beyond the range of a law, as files write it.
const BEYOND: &str = "beyond";

impl Study {
    /// The answers as a table: one row each; numbers in the unit that the row names, NaN where there is none.
    pub fn answer_table(&self) -> Table {
        let head = |&(name, number): &(&str, bool)| match number {
            true => Head::number(name, name, "1"),
            false => Head::text(name),
        };
        let row = |a: &Answer| -> Vec<Cell> {
            let why = match &a.error {
                Uncertainty::NotEstimated { why } => why.as_str(),
                _ => "",
            };
            let (limited, bounds) = (a.limited.as_ref(), a.bounds());
            let [kind, occurrence] = limited.map_or([""; 2], Limited::words);
            vec![
                a.name.as_str().into(),
                a.quantity.as_str().into(),
                // An endless time stays one: a cell drops what is not finite.
                if a.value.is_infinite() { Cell::Number(a.value) } else { a.value.into() },
                a.unit.as_str().into(),
                a.error.plus_minus().into(),
                a.error.word().into(),
                why.into(),
                bounds.lower.into(),
                bounds.upper.into(),
                a.set_by().into(),
                limited.map_or("", |l| l.limit.name.as_str()).into(),
                kind.into(),
                limited.map_or("", |l| l.end.word()).into(),
                occurrence.into(),
                a.ruling.word().into(),
                a.waived().unwrap_or("").into(),
                if a.known { "" } else { BEYOND }.into(),
                a.remark.as_str().into(),
            ]
        };
        Table { heads: COLUMNS.iter().map(head).collect(), rows: self.answers.iter().map(row).collect() }
    }

    /// The answers of such a table.
    pub(crate) fn answers_of(data: &Table) -> Vec<Answer> {
        let at = |name: &str| data.heads.iter().position(|h| h.name == name);
        let answer = |row: &Vec<Cell>| {
            let text = |name: &str| match at(name).and_then(|k| row.get(k)) {
                Some(Cell::Text(text)) => text.clone(),
                _ => String::new(),
            };
            let number = |name: &str| match at(name).and_then(|k| row.get(k)) {
                Some(Cell::Number(x)) => Some(*x).filter(|x| !x.is_nan()),
                _ => None,
            };
            let bounds = Bounds {
                lower: number("minimum").unwrap_or(f64::NEG_INFINITY),
                upper: number("maximum").unwrap_or(f64::INFINITY),
            };
            let own = Answer { name: text("name"), unit: text("unit"), ..Answer::default() };
            let own = own.limited(bounds, &text("limit"));
            let limited = End::of_word(&text("limit_end")).zip(own.limited).map(|(end, limited)| Limited {
                limit: Limit {
                    name: text("limit_name"),
                    of: Bounded::of_word(&text("limit_kind")),
                    waived: Some(text("waived")).filter(|why| !why.is_empty()),
                    ..limited.limit
                },
                end,
                occurrence: Occurrence::of_word(&text("occurrence")),
                by: limited.by,
            });
            Answer {
                name: text("name"),
                quantity: text("quantity"),
                value: number("value").unwrap_or(f64::NAN),
                unit: text("unit"),
                error: Uncertainty::of_word(&text("error_kind"), number("error"), Some(text("error_why"))),
                known: text("range") != BEYOND,
                limited,
                ruling: Ruling::of_word(&text("ruling")),
                remark: text("remark"),
                ..Answer::default()
            }
        };
        data.rows.iter().map(answer).collect()
    }
}
