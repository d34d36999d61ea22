//! The record of an oscilloscope, or of any logger: a text of columns, with whatever the instrument writes above them.

use joulestep_engine::units::parse_unit;

use crate::diagnostic::{Diagnostic, FileId, Sources, Span};

/// A column.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// What stands above its numbers, the nearest first.
    pub headings: Vec<String>,
    /// Its numbers; NaN where a cell is empty.
    pub values: Vec<f64>,
}

/// The columns of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The file.
    pub file: FileId,
    /// From left to right.
    pub columns: Vec<Column>,
}

/// A heading without the unit that it may end in, and the unit: `CH1 (mV)`, `CH1 [mV]`.
fn parted(heading: &str) -> (&str, Option<&str>) {
    let close = match heading.chars().last() {
        Some(')') => '(',
        Some(']') => '[',
        _ => return (heading, None),
    };
    match heading.rsplit_once(close) {
        Some((name, unit)) => (name.trim(), Some(unit[..unit.len() - 1].trim())),
        None => (heading, None),
    }
}

impl Column {
    fn is_named(&self, name: &str) -> bool {
        self.headings.iter().any(|h| h == name || parted(h).0 == name)
    }

    /// The unit that its headings state: in brackets behind the name, or in a line of its own.
    pub fn unit(&self, name: &str) -> Option<&str> {
        let stated = |heading: &'_ String| match parted(heading) {
            ("", Some(unit)) | (_, Some(unit)) => Some(unit.to_string()),
            (alone, None) if alone != name && parse_unit(alone).is_ok() => Some(alone.to_string()),
            _ => None,
        };
        let at = self.headings.iter().position(|h| stated(h).is_some())?;
        Some(parted(&self.headings[at]).1.unwrap_or(&self.headings[at]))
    }
}

impl Record {
    /// The column of a heading, else of a number counted from 1.
    pub fn column(&self, name: &str) -> Option<&Column> {
        let by_number = || self.columns.get(name.parse::<usize>().ok()?.checked_sub(1)?);
        self.columns.iter().find(|c| c.is_named(name)).or_else(by_number)
    }

    /// Names of the columns: their headings without units, else their numbers.
    pub fn names(&self) -> Vec<String> {
        let name = |(k, c): (usize, &Column)| {
            let named = c.headings.iter().map(|h| parted(h).0).rfind(|n| !n.is_empty());
            named.map_or((k + 1).to_string(), str::to_string)
        };
        self.columns.iter().enumerate().map(name).collect()
    }
}

/// What stands between columns: a semicolon, a tab or a comma, whichever the lines have.
fn divider(text: &str) -> char {
    let has = |c: char| text.lines().filter(|l| l.contains(c)).count();
    [';', '\t'].into_iter().find(|c| 2 * has(*c) > text.lines().count()).unwrap_or(',')
}

/// Reads the columns. Lines above the first one of numbers alone are headings; with semicolons a comma is a decimal
/// point.
///
/// # Errors
/// No numbers; a cell among them that is none; a line with other columns than the first.
pub fn read(sources: &Sources, file: FileId, key: &str) -> Result<Record, Box<Diagnostic>> {
    let text = sources.text(file);
    let wrong = |range: std::ops::Range<usize>, found: String, expected: &str| {
        Err(Box::new(Diagnostic::new(&Span { file, range }, key, found, expected)))
    };
    let divider = divider(text);
    let number = |cell: &str| -> Option<f64> {
        let plain = if divider == ';' { cell.replace(',', ".") } else { cell.to_string() };
        if cell.is_empty() { Some(f64::NAN) } else { plain.parse().ok().filter(|x: &f64| x.is_finite()) }
    };
    let mut headings: Vec<Vec<String>> = Vec::new();
    let mut columns: Vec<Column> = Vec::new();
    let mut begin = 0;
    for typed in text.split_inclusive('\n') {
        let line = typed.trim_end_matches(['\n', '\r']);
        let at = begin..begin + line.len();
        begin += typed.len();
        if line.trim_matches([' ', '\t', ',', ';', '\u{feff}']).is_empty() {
            continue;
        }
        let cells: Vec<&str> = line
            .trim_start_matches('\u{feff}')
            .split(divider)
            .map(|c| c.trim().trim_matches('"').trim())
            .collect();
        let numbers: Vec<Option<f64>> = cells.iter().map(|c| number(c)).collect();
        let finite = numbers.iter().flatten().filter(|x| x.is_finite()).count();
        let all = numbers.iter().all(Option::is_some) && finite > 1;
        if columns.is_empty() && !all {
            headings.insert(0, cells.iter().map(|c| (*c).to_string()).collect());
            continue;
        }
        if columns.is_empty() {
            // Of what stands above, only lines of as many cells are headings.
            headings.retain(|h| h.len() >= cells.len());
            let above = |k: usize| headings.iter().map(|h| h[k].clone()).filter(|h| !h.is_empty()).collect();
            columns = (0..cells.len()).map(|k| Column { headings: above(k), values: Vec::new() }).collect();
        }
        if let Some(k) = numbers.iter().position(Option::is_none) {
            let shown: String = cells[k].chars().take(40).collect();
            return wrong(
                at,
                format!("`{shown}` in column {} is no number", k + 1),
                "a number, or an empty cell",
            );
        }
        if cells.len() < columns.len() {
            let found = format!("{} columns, and {} above", cells.len(), columns.len());
            return wrong(at, found, "as many columns in every line");
        }
        columns.iter_mut().zip(&numbers).for_each(|(c, x)| c.values.push(x.unwrap_or(f64::NAN)));
    }
    if columns.len() < 2 {
        return wrong(
            0..text.len().min(1),
            "no line of numbers".into(),
            "a column of time, and one for each channel",
        );
    }
    Ok(Record { file, columns })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(text: &str) -> Result<Record, Box<Diagnostic>> {
        let mut sources = Sources::default();
        let file = sources.add("a.csv".into(), text.into());
        read(&sources, file, "measured.file")
    }

    #[test]
    fn preambles_headings_and_units_are_distinguished() {
        let text = "Model,X\nSample Interval,4e-10\n\nTIME,CH1,CH2\ns,V,mA\n0,1,2\n1e-9,,3\n";
        let r = record(text).unwrap();
        assert_eq!(r.names(), ["TIME", "CH1", "CH2"]);
        assert_eq!(r.column("CH2").unwrap().unit("CH2"), Some("mA"));
        assert_eq!(r.column("2").unwrap().values[0], 1.0);
        assert!(r.column("CH1").unwrap().values[1].is_nan());
        let r = record("Zeit (us);CH1 [kV]\n0,5;1,25\n1,0;-2\n").unwrap();
        assert_eq!((r.column("Zeit").unwrap().unit("Zeit"), r.columns[1].values[0]), (Some("us"), 1.25));
        assert_eq!(r.column("CH1").unwrap().unit("CH1"), Some("kV"));
        let r = record("0 , 1\r\n1, 2\r\n").unwrap();
        assert!(r.column("1").unwrap().unit("1").is_none() && r.column("3").is_none());
    }

    #[test]
    fn what_is_no_table_of_numbers_is_refused() {
        for (text, found) in [
            ("", "no line of numbers"),
            ("a,b\n", "no line of numbers"),
            ("t,x\n0,1\n1,oops\n", "`oops` in column 2 is no number"),
            ("t,x\n0,1\n1\n", "1 columns, and 2 above"),
            ("t,x\n0,1\n1,nan\n", "`nan` in column 2 is no number"),
        ] {
            assert_eq!(record(text).unwrap_err().found, found, "{text}");
        }
    }
}
