//! Tables and figures of an answer.

use crate::plot::Figure;
use crate::table::Table;

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
    /// Errors of the estimated columns, in their order, that coarser computations do not show: ± of each row; empty
    /// where there are none.
    pub further: Vec<Vec<f64>>,
    /// Rows whose computations do not show their full order: their errors count three times.
    pub unsettled: Vec<usize>,
}

impl StudyTable {
    /// A table whose first `keys` columns name the rows.
    pub fn new(name: &str, title: &str, keys: usize, data: Table) -> Self {
        Self { name: name.into(), title: title.into(), keys, data, ..Self::default() }
    }

    /// The same, with columns whose errors coarser computations estimate; each gets a column of ± beside it.
    pub fn estimated(self, columns: &[&str]) -> Self {
        Self { estimated: columns.iter().map(|c| (*c).to_string()).collect(), ..self }
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
