//! The tables of a rating: pulses against their width, devices in parallel after a cold start.

use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::sharing::Share;
use joulestep_models::rating::surge::{Ends, Point};

use super::Options;
use super::answers::limited_by;
use super::compute::{Rated, Shared};
use crate::output::answer::StudyTable;
use crate::output::table::{Cell, Head, Table};

/// The tables, the curve first.
pub(super) fn tables(all: &[Rated], options: &Options) -> Vec<StudyTable> {
    let mut tables = vec![surge(all, options)];
    let shared = all.first().and_then(|r| Some((r, r.numbers.sharing.as_ref()?)));
    tables.extend(shared.map(|(r, s)| sharing(r, s, options)));
    tables
}

/// Numbers before those of the curve in the order of [`Rated::further`].
fn before_curve(r: &Rated) -> usize {
    3 * r.dies.len() + 4 + 4 * r.numbers.pulses.len()
}

fn surge(all: &[Rated], options: &Options) -> StudyTable {
    let mut heads = vec![
        Head::text("part"),
        Head::number("width", "width", "s"),
        Head::number("current", "largest current", "A"),
        Head::number("i2t", "I²t", "A^2 s"),
        Head::number("drop", "largest drop", "V"),
        Head::number("energy", "energy", "J"),
    ];
    heads.push(Head::text("limited_by"));
    let row = |r: &Rated, p: &Point| -> Vec<Cell> {
        let mut row = vec![Cell::from(r.part.name.as_str()), p.width.into()];
        row.extend([p.current, p.i2t, p.peaks.drop, p.peaks.energy].map(Cell::from));
        row.push(limited_by(&r.dies, p.ends).as_str().into());
        row
    };
    let points = || all.iter().flat_map(|r| r.numbers.curve.iter().map(move |p| (r, p)));
    let rows: Vec<Vec<Cell>> = points().map(|(r, p)| row(r, p)).collect();
    let further = |r: &Rated, k: usize| -> Vec<f64> {
        let begin = before_curve(r);
        (0..r.numbers.curve.len()).map(|p| r.further.get(begin + 4 * p + k).copied().unwrap_or(0.0)).collect()
    };
    // The largest drop is read at the ends of steps: of a pulse whose current turns between them its error is unknown.
    let columns: &[(&str, usize)] = match options.shape {
        Shape::Square => &[("current", 0), ("i2t", 1), ("drop", 2), ("energy", 3)],
        _ => &[("current", 0), ("i2t", 1), ("energy", 3)],
    };
    let unsettled =
        |(k, (r, p)): (usize, (&Rated, &Point))| (p.ends == Ends::Saturation || !r.settled).then_some(k);
    let each: Vec<Vec<f64>> =
        columns.iter().map(|&(_, k)| all.iter().flat_map(|r| further(r, k)).collect()).collect();
    StudyTable {
        further: by_row(&each),
        unsettled: points().enumerate().filter_map(unsettled).collect(),
        ..StudyTable::new(
            "surge",
            "Largest current of a single pulse against its width",
            2,
            Table { heads, rows },
        )
        .estimated(&columns.iter().map(|c| c.0).collect::<Vec<_>>())
    }
}

fn sharing(r: &Rated, shared: &Shared, options: &Options) -> StudyTable {
    let mut heads = vec![Head::number("time", "after", "s")];
    let mut columns = Vec::new();
    for (key, words) in [("deviating", "deviating"), ("other", "each other")] {
        columns.push(format!("{key}_current"));
        heads.push(Head::number(&format!("{key}_current"), words, "A"));
        for die in &r.dies {
            columns.push(format!("{key}_{die}"));
            heads.push(Head::number(&format!("{key}_{die}"), &format!("its {die}"), "degC"));
        }
    }
    let dies = r.dies.len();
    let of = |s: &Share| -> Vec<Cell> {
        std::iter::once(s.current).chain(s.celsius[..dies].iter().copied()).map(Cell::from).collect()
    };
    let rows = shared
        .course
        .iter()
        .map(|(t, pair)| std::iter::once(Cell::from(*t)).chain(pair.iter().flat_map(of)).collect());
    let data = Table { heads, rows: rows.collect() };
    // After the faults and the pair in the steady state.
    let each = 2 * (1 + dies);
    let begin = before_curve(r) + 4 * r.numbers.curve.len() + options.faults.len() + each;
    let further = |k: usize| -> Vec<f64> {
        (0..shared.course.len())
            .map(|n| r.further.get(begin + n * each + k).copied().unwrap_or(0.0))
            .collect()
    };
    let names: Vec<&str> = columns.iter().map(String::as_str).collect();
    StudyTable {
        further: by_row(&(0..each).map(further).collect::<Vec<_>>()),
        unsettled: if r.settled { Vec::new() } else { (0..shared.course.len()).collect() },
        ..StudyTable::new(
            "parallel",
            "Devices in parallel, one of which deviates, after a cold start",
            1,
            data,
        )
        .estimated(&names)
    }
}

/// Columns of equal length, row by row.
fn by_row(columns: &[Vec<f64>]) -> Vec<f64> {
    let rows = columns.first().map_or(0, Vec::len);
    (0..rows).flat_map(|row| columns.iter().map(move |c| c[row])).collect()
}
