//! Tables and figures of an answer.

use crate::judge::{Number, Uncertainty};
use crate::output::plot::Figure;
use crate::output::table::Table;

/// A table of a study.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StudyTable {
    /// Short name, without blanks.
    pub name: String,
    /// What it shows, in a line.
    pub title: String,
    /// How many leading columns name a row.
    pub keys: usize,
    /// The rows.
    pub data: Table,
    /// Columns whose errors coarser computations estimate.
    pub estimated: Vec<String>,
    /// Errors of those numbers that coarser computations do not show, ±: row by row, the columns in their order; empty
    /// where there are none.
    pub further: Vec<f64>,
    /// Rows whose computations do not show their full order: their errors count three times.
    pub unsettled: Vec<usize>,
    /// What extremes among them are estimated to miss between the ends of steps, row by row in their order; empty where
    /// there are none.
    pub missed: Vec<f64>,
    /// Columns whose numbers are quantities like the answers, named by row and column alone: they stand in the summary
    /// of a recorded file.
    pub quantities: Vec<String>,
    /// Whether it is data for programs: in JSON and CSV, but neither in text nor in a report.
    pub machine_only: bool,
}

impl StudyTable {
    /// A table whose first `keys` columns name the rows.
    pub fn new(name: &str, title: &str, keys: usize, data: Table) -> Self {
        Self { name: name.into(), title: title.into(), keys, data, ..Self::default() }
    }

    /// The same as data for programs; a recorded file has them as waveforms.
    pub fn machine_only(self) -> Self {
        Self { machine_only: true, ..self }
    }

    /// The same, with columns whose errors coarser computations estimate; each gets a column of ± beside it.
    pub fn estimated(self, columns: &[&str]) -> Self {
        Self { estimated: columns.iter().map(|c| (*c).to_string()).collect(), ..self }
    }

    /// The same, with columns that are quantities like the answers.
    pub fn quantities(self, columns: &[&str]) -> Self {
        Self { quantities: columns.iter().map(|c| (*c).to_string()).collect(), ..self }
    }

    /// The numbers of its estimated columns, row by row.
    pub fn numbers(&self) -> Vec<Number> {
        let columns: Vec<&str> = self.estimated.iter().map(String::as_str).collect();
        let mut own = self.data.numbers(&self.name, &columns);
        own.iter_mut().zip(&self.further).for_each(|(number, further)| number.further = *further);
        own.iter_mut().zip(&self.missed).for_each(|(number, missed)| number.missed = *missed);
        for row in &self.unsettled {
            let each = columns.len();
            let numbers = own.iter_mut().skip(row * each).take(each);
            numbers.for_each(|number| number.own = Uncertainty::NotConverging { plus_minus: 0.0 });
        }
        if !self.quantities.is_empty() {
            let before = self.name.len() + 1;
            own.iter_mut().for_each(|number| number.name = number.name.split_off(before));
        }
        own
    }

    /// The same, with errors of these columns' numbers that add to what coarser computations show: ± by the number
    /// (from 0) of a row, the name of a column and the value.
    pub fn further(mut self, of: impl Fn(usize, &str, f64) -> f64) -> Self {
        let columns: Vec<&str> = self.estimated.iter().map(String::as_str).collect();
        let each = columns.len().max(1);
        let numbers = self.data.numbers(&self.name, &columns);
        let at = |(k, n): (usize, &Number)| of(k / each, columns[k % each], n.value);
        self.further = numbers.iter().enumerate().map(at).collect();
        self
    }
}

/// A figure of a study.
#[derive(Clone, Debug, PartialEq)]
pub struct StudyFigure {
    /// What it shows, in a sentence.
    pub caption: String,
    /// The figure.
    pub figure: Figure,
}

impl StudyFigure {
    /// A figure with what it shows.
    pub fn new(caption: &str, figure: Figure) -> Self {
        Self { caption: caption.into(), figure }
    }
}
