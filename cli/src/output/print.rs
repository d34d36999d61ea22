//! What is printed of a study's answer: text, JSON, CSV. None of them knows a study.

mod json;
mod text;

pub use json::json;
pub use text::text;

use crate::output::answer::Study;
use crate::output::table::Table;

/// A table as CSV: of this name, else the main one; the answers where there is no table.
///
/// # Errors
/// The names there are, where none is this.
pub fn csv(study: &Study, table: Option<&str>) -> Result<String, Vec<String>> {
    let answers = || study.answer_table().csv();
    match (table, study.tables.first()) {
        (None, Some(first)) => Ok(plain(&first.data)),
        (None, None) | (Some("answers"), _) => Ok(answers()),
        (Some(name), _) => match study.table(name) {
            Some(table) => Ok(plain(&table.data)),
            None => {
                let names = study.tables.iter().map(|t| t.name.clone());
                Err(std::iter::once("answers".to_string()).chain(names).collect())
            }
        },
    }
}

fn plain(data: &Table) -> String {
    data.plain().csv()
}
