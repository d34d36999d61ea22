//! The list of a plan: a CSV file (RFC 4180) whose first line names its columns.

use joulestep_engine::units::{bare_in, in_unit};

/// A list as typed.
#[derive(Clone, Debug, PartialEq)]
pub struct List {
    /// Names of the columns.
    pub header: Vec<String>,
    /// Line number in the file, and the cells.
    pub rows: Vec<(u64, Vec<String>)>,
}

/// Reads a list; every line has as many cells as the first.
///
/// # Errors
/// In words, with the line.
pub fn read(text: &str) -> Result<List, String> {
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text.as_bytes());
    let header: Vec<String> =
        reader.headers().map_err(|e| e.to_string())?.iter().map(str::to_string).collect();
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| e.to_string())?;
        let line = record.position().map_or(0, csv::Position::line);
        rows.push((line, record.iter().map(str::to_string).collect()));
    }
    if rows.is_empty() {
        return Err("no rows below the first line".into());
    }
    Ok(List { header, rows })
}

/// A cell in a unit: a quantity, or a bare number, which is in that unit.
///
/// # Errors
/// Found and expected.
pub fn value(cell: &str, unit: &str) -> Result<f64, (String, String)> {
    if let Ok(number) = cell.parse::<f64>() {
        // A column of temperatures in °C needs no unit in every cell, unlike one number in a scenario.
        let plain = if unit == "degC" { "1" } else { unit };
        return bare_in(number, plain).map_err(|e| (e.to_string(), e.expected(unit)));
    }
    in_unit(cell, unit).map_err(|e| (e.to_string(), e.expected(unit)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_quantities_or_bare_numbers() {
        let list = read("L, T\n# a comment\n100 uH, 25\n1e-4, 48 degC\n").unwrap();
        assert_eq!(list.header, ["L", "T"]);
        assert_eq!(list.rows[1].0, 4);
        let l: Vec<f64> = list.rows.iter().map(|r| value(&r.1[0], "H").unwrap()).collect();
        let t: Vec<f64> = list.rows.iter().map(|r| value(&r.1[1], "degC").unwrap()).collect();
        assert_eq!((l, t), (vec![1e-4, 1e-4], vec![25.0, 48.0]));
        assert!(value("5 V", "H").unwrap_err().0.contains("a voltage"));
        assert!(value("nan", "H").is_err());
        assert!(read("a,b\n1\n").unwrap_err().contains("line"));
        assert!(read("a,b\n").is_err());
    }
}
