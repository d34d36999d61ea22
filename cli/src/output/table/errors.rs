//! Errors beside the numbers of a table.

use joulestep_engine::units::people_digits;

use super::{Cell, Head, Table};
use crate::judge::{Number, Uncertainty, unit_of_difference};

/// Ends the name of a column of errors.
const ENDING: &str = "_error";

/// ± of a number in a table: a star marks computations that do not converge.
pub(super) fn words(error: &Uncertainty, unit: &str) -> String {
    let digits = |x: &f64| match unit {
        "degC" => people_digits(*x, "K", 2),
        "V/s" => people_digits(1e-9 * x, "V/ns", 2),
        "A/s" => people_digits(1e-9 * x, "A/ns", 2),
        "A^2 s" => people_digits(*x, "A\u{b2}s", 2),
        unit => people_digits(*x, unit, 2),
    };
    match error {
        Uncertainty::Bare => "-".into(),
        Uncertainty::Within { plus_minus } => digits(plus_minus),
        Uncertainty::NotConverging { plus_minus } => format!("{} *", digits(plus_minus)),
        Uncertainty::NotEstimated { .. } => "not estimated".into(),
    }
}

impl Table {
    pub(super) fn picked(&self, names: &[&str]) -> Vec<usize> {
        let of = |name: &&str| {
            let k = self.heads.iter().position(|h| h.name == **name)?;
            let k = Some(k).filter(|&k| !self.is_for_programs(k) && !self.heads[k].symbol.is_empty())?;
            let error = self.heads.get(k + 1).is_some_and(|h| h.name == format!("{name}{ENDING}"));
            Some([Some(k), error.then_some(k + 1)])
        };
        names.iter().filter_map(of).flatten().flatten().collect()
    }

    /// The columns as aligned text of at most `width` columns, in several blocks where one would be wider; the leading
    /// columns `keys` stand in each.
    pub fn blocks(&self, keys: &[&str], names: &[&str], width: usize) -> String {
        let mut blocks: Vec<Vec<&str>> = Vec::new();
        let wide = |block: &[&str]| {
            let text = self.lines_of(&self.picked(&[keys, block].concat()), width);
            text.lines().map(|l| l.chars().count()).max().unwrap_or(0)
        };
        for name in names {
            match blocks.last_mut() {
                Some(block) if wide(&[&block[..], &[name]].concat()) <= width => block.push(name),
                _ => blocks.push(vec![name]),
            }
        }
        let texts = blocks.iter().map(|b| self.lines_of(&self.picked(&[keys, b].concat()), width));
        texts.collect::<Vec<_>>().join("\n")
    }

    /// The numbers of these columns, row by row, named by table, row (its first text, else its number) and column; none
    /// is NaN.
    pub fn numbers(&self, table: &str, columns: &[&str]) -> Vec<Number> {
        let mut all = Vec::new();
        for (n, row) in self.rows.iter().enumerate() {
            let text =
                row.iter().find_map(|c| if let Cell::Text(text) = c { Some(text.clone()) } else { None });
            let row_name = text.unwrap_or_else(|| format!("{}", n + 1));
            for column in columns {
                let Some(k) = self.heads.iter().position(|h| h.name == *column) else { continue };
                let value = if let Cell::Number(x) = row[k] { x } else { f64::NAN };
                all.push(Number::plain(format!("{table}.{row_name}.{column}"), value));
            }
        }
        all
    }

    /// With a column of errors beside each of these columns, taken in the order of [`Table::numbers`]; without where
    /// nobody asked for them.
    pub fn with_errors<'a>(
        mut self,
        columns: &[&str],
        errors: &mut impl Iterator<Item = &'a Uncertainty>,
    ) -> Self {
        let at: Vec<usize> =
            columns.iter().filter_map(|c| self.heads.iter().position(|h| h.name == *c)).collect();
        let found: Vec<Vec<&Uncertainty>> =
            self.rows.iter().map(|_| errors.take(at.len()).collect()).collect();
        if found.iter().flatten().all(|e| **e == Uncertainty::Bare) {
            return self;
        }
        let mut order: Vec<usize> = (0..at.len()).collect();
        order.sort_by_key(|&k| at[k]);
        // From the last column on, so that places before it stay what they are.
        for &k in order.iter().rev() {
            let of = &self.heads[at[k]];
            let unit = unit_of_difference(&of.unit);
            let head = Head::number(&format!("{}{ENDING}", of.name), "\u{b1}", unit);
            self.heads.insert(at[k] + 1, head);
            for (row, errors) in self.rows.iter_mut().zip(&found) {
                let none = row[at[k]] == Cell::None;
                let cell = if none { Cell::None } else { Cell::Error(errors[k].clone()) };
                row.insert(at[k] + 1, cell);
            }
        }
        self
    }

    /// With errors as plain numbers, as a file keeps them; a column of words stands beside those that do not converge
    /// or could not be estimated.
    pub fn plain(&self) -> Self {
        let mut out = self.clone();
        for k in (0..self.heads.len()).rev() {
            let word = |row: &Vec<Cell>| match &row[k] {
                Cell::Error(error) => Some(error.word()),
                _ => None,
            };
            if self.rows.iter().any(|row| word(row).is_some_and(|w| w != "within")) {
                out.heads.insert(k + 1, Head::text(&format!("{}_kind", self.heads[k].name)));
                for (row, of) in out.rows.iter_mut().zip(&self.rows) {
                    row.insert(k + 1, Cell::Text(word(of).unwrap_or_default().into()));
                }
            }
            for row in &mut out.rows {
                if let Cell::Error(error) = &row[k] {
                    row[k] = error.plus_minus().into();
                }
            }
        }
        out
    }

    /// All errors in it.
    pub fn errors(&self) -> impl Iterator<Item = &Uncertainty> {
        self.rows.iter().flatten().filter_map(|c| if let Cell::Error(e) = c { Some(e) } else { None })
    }
}
