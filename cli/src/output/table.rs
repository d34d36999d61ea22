//! A table of results: the same rows as text, CSV and JSON.

use std::collections::BTreeMap;

use joulestep_engine::units::people_digits;
use serde::{Serialize, Serializer};

use crate::judge::Uncertainty;

mod errors;
mod rows;

pub use rows::Rows;

/// One column.
#[derive(Clone, Debug, PartialEq)]
pub struct Head {
    /// Key in JSON, name in CSV.
    pub name: String,
    /// Symbol above the column in text.
    pub symbol: String,
    /// Unit symbol; empty for text; [`OF_ROW`] where every row has its own.
    pub unit: String,
    /// Significant digits for people.
    pub digits: usize,
}

/// Unit of a column whose rows have units of their own: those of the text column [`UNIT`].
pub const OF_ROW: &str = "of row";
/// Least width to which texts of a last column are broken.
pub(crate) const NARROWEST: usize = 24;
/// Name of the column that holds the units of rows.
pub const UNIT: &str = "unit";

impl Head {
    /// A column of numbers.
    pub fn number(name: &str, symbol: &str, unit: &str) -> Self {
        Self { name: name.into(), symbol: symbol.into(), unit: unit.into(), digits: 3 }
    }
    /// A column of text for programs and documents: too long for a terminal.
    pub fn long_text(name: &str) -> Self {
        Self::number(name, "", "")
    }
    /// A column of instants, s.
    pub fn instant(name: &str, symbol: &str) -> Self {
        Self { digits: 6, ..Self::number(name, symbol, "s") }
    }
    /// A column of text.
    pub fn text(name: &str) -> Self {
        Self::number(name, &name.replace('_', " "), "")
    }
}

/// One cell.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Cell {
    /// Text.
    Text(String),
    /// A number in the column's unit.
    Number(f64),
    /// The error of the number in the column before.
    Error(Uncertainty),
    /// There is none.
    None,
}

impl From<Option<f64>> for Cell {
    fn from(x: Option<f64>) -> Self {
        x.filter(|x| x.is_finite()).map_or(Self::None, Self::Number)
    }
}
impl From<f64> for Cell {
    fn from(x: f64) -> Self {
        Some(x).into()
    }
}
impl From<&str> for Cell {
    fn from(x: &str) -> Self {
        Self::Text(x.into())
    }
}

impl From<String> for Cell {
    fn from(x: String) -> Self {
        Self::Text(x)
    }
}
impl From<Uncertainty> for Cell {
    fn from(error: Uncertainty) -> Self {
        Self::Error(error)
    }
}

/// Rows under heads.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// The columns.
    pub heads: Vec<Head>,
    /// The rows, each with a cell per column.
    pub rows: Vec<Vec<Cell>>,
}

/// A field of CSV, quoted where it must be (RFC 4180).
fn field(text: &str) -> String {
    if text.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.into()
    }
}

impl Table {
    /// CSV by RFC 4180: the names with their units in the first line, numbers in SI units with all their digits, an
    /// empty field where there is none.
    pub fn csv(&self) -> String {
        let head = |h: &Head| match h.unit.as_str() {
            "" | "1" | OF_ROW => field(&h.name),
            unit => field(&format!("{} ({unit})", h.name)),
        };
        let cell = |c: &Cell| match c {
            Cell::Text(text) => field(text),
            Cell::Number(x) => format!("{x:e}"),
            Cell::Error(error) => error.plus_minus().map_or(String::new(), |x| format!("{x:e}")),
            Cell::None => String::new(),
        };
        let line = |fields: Vec<String>| fields.join(",") + "\r\n";
        let mut out = line(self.heads.iter().map(head).collect());
        for row in &self.rows {
            out.push_str(&line(row.iter().map(cell).collect()));
        }
        out
    }

    /// The columns of these names, in their order, each with its error's.
    pub fn part(&self, names: &[&str]) -> Self {
        let picked = self.picked(names);
        let rows = self.rows.iter().map(|row| picked.iter().map(|&k| row[k].clone()).collect());
        Self { heads: picked.iter().map(|&k| self.heads[k].clone()).collect(), rows: rows.collect() }
    }

    /// Units of the columns of numbers, by name.
    pub fn units(&self) -> BTreeMap<String, String> {
        let numbers = self.heads.iter().filter(|h| !h.unit.is_empty());
        numbers.map(|h| (h.name.clone(), h.unit.clone())).collect()
    }

    /// The columns of these names, each with its error's, as aligned text; numbers with a prefix and three digits, a
    /// dash where there is none.
    pub fn text(&self, names: &[&str]) -> String {
        self.text_of(&self.picked(names))
    }

    /// The unit of a cell.
    pub fn unit_of<'a>(&'a self, row: &'a [Cell], column: usize) -> &'a str {
        let named = || match row.get(self.heads.iter().position(|h| h.name == UNIT)?) {
            Some(Cell::Text(unit)) => Some(unit.as_str()),
            _ => None,
        };
        match self.heads[column].unit.as_str() {
            OF_ROW => named().unwrap_or("1"),
            unit => unit,
        }
    }

    /// Whether nobody need read a column: units that stand beside their numbers.
    pub fn is_for_programs(&self, column: usize) -> bool {
        self.heads[column].name == UNIT && self.heads.iter().any(|h| h.unit == OF_ROW)
    }

    /// Columns of so many text columns, the last one's texts broken at spaces where they would go beyond.
    fn lines_of(&self, picked: &[usize], width: usize) -> String {
        let is_text = |k: &usize| self.heads[*k].unit.is_empty();
        let Some((&last, before)) =
            picked.split_last().filter(|(k, before)| is_text(k) && !before.is_empty())
        else {
            return self.text_of(picked);
        };
        let others = self.text_of(before);
        let begin = others.lines().map(|l| l.chars().count()).max().unwrap_or(0) + 2;
        let mut cells = vec![self.heads[last].symbol.as_str()];
        cells.extend(self.rows.iter().map(|row| if let Cell::Text(text) = &row[last] { text } else { "" }));
        let mut out = String::new();
        for (line, cell) in others.lines().zip(cells) {
            let pieces =
                broken(&crate::diagnostic::printable(cell), width.saturating_sub(begin).max(NARROWEST));
            for (k, piece) in pieces.iter().enumerate() {
                let head = if k == 0 { line } else { "" };
                let pad = begin - head.chars().count();
                out.push_str(format!("{head}{:pad$}{piece}", "").trim_end());
                out.push('\n');
            }
        }
        out
    }

    fn text_of(&self, picked: &[usize]) -> String {
        let mut lines = vec![picked.iter().map(|&k| self.heads[k].symbol.clone()).collect::<Vec<_>>()];
        for row in &self.rows {
            let cell = |&k: &usize| match &row[k] {
                Cell::Text(text) => crate::diagnostic::printable(text),
                Cell::Number(x) => shown_digits(*x, self.unit_of(row, k), self.heads[k].digits),
                Cell::Error(error) => errors::words(error, self.unit_of(row, k)),
                Cell::None => "-".into(),
            };
            lines.push(picked.iter().map(cell).collect());
        }
        let right: Vec<bool> = picked.iter().map(|&k| !self.heads[k].unit.is_empty()).collect();
        aligned(&lines, &right)
    }
}

/// A number as the trade reads it: slopes per nanosecond, areas in mm², specific resistances in mΩ·cm², products with
/// a resistance in mΩ.
pub fn shown(x: f64, unit: &str) -> String {
    shown_digits(x, unit, 3)
}

/// The same with a number of significant digits.
pub fn shown_digits(x: f64, unit: &str, digits: usize) -> String {
    let people = |x, unit| people_digits(x, unit, digits);
    match unit {
        // Counts, and what is one.
        "1" if x.fract() == 0.0 && x.abs() < 1e9 => format!("{x}"),
        "V/s" => people(1e-9 * x, "V/ns"),
        "A/s" => people(1e-9 * x, "A/ns"),
        "m^2" => people(1e6 * x, "mm²"),
        "ohm m^2" => people(1e7 * x, "mΩ·cm²"),
        "A^2 s" => people(x, "A²s"),
        "ohm J" => people(1e9 * x, "mΩ·µJ"),
        "ohm F" => people(1e12 * x, "mΩ·nF"),
        "ohm C" => people(1e12 * x, "mΩ·nC"),
        unit => people(x, unit),
    }
}

/// The rows as objects, numbers in SI units (temperatures in degC), null where there is none.
impl Serialize for Table {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let names = || self.heads.iter().map(|h| &h.name);
        to.collect_seq(self.rows.iter().map(|row| names().zip(row).collect::<BTreeMap<_, _>>()))
    }
}

/// A text in pieces of at most `width` characters, broken at spaces.
fn broken(text: &str, width: usize) -> Vec<String> {
    let mut pieces = vec![String::new()];
    for word in text.split(' ') {
        match pieces.last_mut() {
            Some(piece) if piece.is_empty() => piece.push_str(word),
            Some(piece) if piece.chars().count() + 1 + word.chars().count() <= width => {
                piece.push(' ');
                piece.push_str(word);
            }
            _ => pieces.push(word.to_string()),
        }
    }
    pieces
}

/// Lines of cells in columns as wide as they need be, each indented by two.
pub fn aligned(lines: &[Vec<String>], right: &[bool]) -> String {
    let columns = lines.iter().map(Vec::len).max().unwrap_or(0);
    let wide = |k: usize| lines.iter().filter_map(|l| l.get(k)).map(|c| c.chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(wide).collect();
    let mut out = String::new();
    for line in lines {
        let mut text = String::new();
        for (k, cell) in line.iter().enumerate() {
            let pad = " ".repeat(widths[k] - cell.chars().count());
            let cells = if right.get(k) == Some(&true) { [&pad, cell] } else { [cell, &pad] };
            text.push_str("  ");
            text.extend(cells.into_iter().map(String::as_str));
        }
        out.push_str(text.trim_end());
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn csv_quotes_and_keeps_digits() {
        let data = Table {
            heads: vec![Head::text("part"), Head::number("energy", "E", "J")],
            rows: vec![vec!["a \"b\", c".into(), (1.0 / 3.0).into()], vec!["d".into(), Cell::None]],
        };
        assert_eq!(data.csv(), "part,energy (J)\r\n\"a \"\"b\"\", c\",3.333333333333333e-1\r\nd,\r\n");
        assert_eq!(data.text(&["energy", "part"]), "       E  part\n  333 mJ  a \"b\", c\n       -  d\n");
        assert!(serde_json::to_string(&data).unwrap().ends_with(r#",{"energy":null,"part":"d"}]"#));
    }
}
