//! Tables made column by column: what stands in a column beside its head.

use super::{Cell, Head, Table};

/// A table in the making, a row for each item.
pub struct Rows<T> {
    items: Vec<T>,
    table: Table,
}

impl<T> Rows<T> {
    /// No column yet.
    pub fn of(items: impl IntoIterator<Item = T>) -> Self {
        let items: Vec<T> = items.into_iter().collect();
        let rows = items.iter().map(|_| Vec::new()).collect();
        Self { items, table: Table { heads: Vec::new(), rows } }
    }

    /// With a column more.
    pub fn column<C: Into<Cell>>(mut self, head: Head, of: impl Fn(&T) -> C) -> Self {
        self.table.heads.push(head);
        self.table.rows.iter_mut().zip(&self.items).for_each(|(row, item)| row.push(of(item).into()));
        self
    }

    /// With a column of text.
    pub fn text<C: Into<Cell>>(self, name: &str, of: impl Fn(&T) -> C) -> Self {
        self.column(Head::text(name), of)
    }

    /// With a column of numbers.
    pub fn number<C: Into<Cell>>(self, name: &str, symbol: &str, unit: &str, of: impl Fn(&T) -> C) -> Self {
        self.column(Head::number(name, symbol, unit), of)
    }

    /// With a column of numbers, and one of their errors beside it.
    pub fn with_error(
        self,
        (name, symbol, unit): (&str, &str, &str),
        of: impl Fn(&T) -> (f64, crate::judge::Uncertainty),
    ) -> Self {
        let error = Head::number(&format!("{name}_error"), "\u{b1}", unit);
        self.number(name, symbol, unit, |item| of(item).0).column(error, |item| Cell::Error(of(item).1))
    }

    /// The table.
    pub fn table(self) -> Table {
        self.table
    }
}
