//! Names that HDF5, netCDF and file viewers all accept, made from names that need not be.

use std::collections::BTreeSet;

use joulestep_engine::recorder::Column;

/// Longest dataset name, in bytes; the rest is cut (netCDF allows 256).
const LONGEST: usize = 200;

/// Hands out dataset names of one group, each only once.
pub(super) struct Names {
    taken: BTreeSet<String>,
}

impl Names {
    /// A group in which `reserved` are taken.
    pub(super) fn reserving(reserved: &[&str]) -> Self {
        Self { taken: reserved.iter().map(|&name| name.to_owned()).collect() }
    }

    /// A legal name near `wanted` that was not handed out before.
    pub(super) fn take(&mut self, wanted: &str) -> String {
        let legal = legal(wanted);
        let mut name = legal.clone();
        let mut number = 2;
        while !self.taken.insert(name.clone()) {
            name = format!("{legal}_{number}");
            number += 1;
        }
        name
    }
}

/// Slashes (path separators) and control characters become underscores, as do dots at the front ("." and ".." mean
/// groups) and spaces at the ends; an empty name becomes "unnamed".
fn legal(wanted: &str) -> String {
    let mut name = String::with_capacity(wanted.len());
    for letter in wanted.trim().chars() {
        let harmful = letter == '/' || letter.is_control() || (letter == '.' && name.is_empty());
        let letter = if harmful { '_' } else { letter };
        if name.len() + letter.len_utf8() > LONGEST {
            break;
        }
        name.push(letter);
    }
    let kept = name.trim_end().len();
    name.truncate(kept);
    if name.is_empty() { "unnamed".to_owned() } else { name }
}

/// Text as a C string can hold it: the NUL character would end it early.
pub(super) fn no_nul(text: &str) -> String {
    text.replace('\0', "\u{2400}")
}

/// The description written beside a dataset: the column's words, and its own name where the dataset's differs.
pub(super) fn description(column: &Column, dataset: &str) -> String {
    let words = if column.long_name.is_empty() { &column.name } else { &column.long_name };
    if column.name == dataset || words == &column.name {
        no_nul(words)
    } else {
        no_nul(&format!("{words} [{}]", column.name))
    }
}

/// Attribute of a dataset whose values hold until the next sample, and its value there; without it they are joined by
/// straight lines.
pub(super) const INTERPOLATION: (&str, &str) = ("interpolation", "previous");

/// Whether a column's values hold until the next sample: states of on/off lines do, and `line(NAME)` names nothing
/// else.
pub(super) fn holds(column: &Column) -> bool {
    column.name.starts_with("line(")
}

/// The unit as written: "1" for a plain number, as UDUNITS and the CF conventions have it.
pub(super) fn unit(unit: &str) -> &str {
    if unit.is_empty() { "1" } else { unit }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinary_names_stay() {
        let mut names = Names::reserving(&["time"]);
        for name in ["voltage(bus)", "Q1.jfet", "L1.current", "Temperatur Übergang", "温度"] {
            assert_eq!(names.take(name), name);
        }
    }

    #[test]
    fn hostile_names_are_made_legal_and_different() {
        let mut names = Names::reserving(&["time"]);
        let wanted = ["/", "..", ".", "", " ", "a/b", "a_b", "time", "a\0b", "\n", "a/b"];
        let taken: Vec<String> = wanted.iter().map(|name| names.take(name)).collect();
        let expected = [
            "_",
            "_.",
            "__2",
            "unnamed",
            "unnamed_2",
            "a_b",
            "a_b_2",
            "time_2",
            "a_b_3",
            "unnamed_3",
            "a_b_4",
        ];
        assert_eq!(taken, expected);
    }

    #[test]
    fn long_names_are_cut_between_characters() {
        let name = Names::reserving(&[]).take(&"Ω".repeat(300));
        assert_eq!(name, "Ω".repeat(100));
    }

    #[test]
    fn a_changed_name_is_kept_in_the_description() {
        let column = Column { name: "a/b".into(), long_name: "voltage".into(), unit: "V".into() };
        assert_eq!(description(&column, "a_b"), "voltage [a/b]");
        assert_eq!(description(&column, "a/b"), "voltage");
        let column = Column { name: "a/b".into(), long_name: String::new(), unit: "V".into() };
        assert_eq!(description(&column, "a_b"), "a/b");
    }
}
