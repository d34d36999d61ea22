//! The tables of a rating: pulses against their width, devices in parallel after a cold start.

use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::sharing::Share;
use joulestep_models::rating::surge::{Ends, Point};

use super::Options;
use super::answers::limited_by;
use super::compute::{Rated, Shared};
use crate::output::answer::StudyTable;
use crate::output::table::Rows;

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
    let points = || all.iter().flat_map(|r| r.numbers.curve.iter().map(move |p| (r, p)));
    let data = Rows::of(points())
        .text("part", |(r, _)| r.part.name.clone())
        .number("width", "width", "s", |(_, p)| p.width)
        .number("current", "largest current", "A", |(_, p)| p.current)
        .number("i2t", "I²t", "A^2 s", |(_, p)| p.i2t)
        .number("drop", "largest drop", "V", |(_, p)| p.peaks.drop)
        .number("energy", "energy", "J", |(_, p)| p.peaks.energy)
        .text("limited_by", |(r, p)| limited_by(&r.dies, p.ends))
        .table();
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
        ..StudyTable::new("surge", "Largest current of a single pulse against its width", 2, data)
            .estimated(&columns.iter().map(|c| c.0).collect::<Vec<_>>())
    }
}

fn sharing(r: &Rated, shared: &Shared, options: &Options) -> StudyTable {
    let mut rows = Rows::of(&shared.course).number("time", "after", "s", |c| c.0);
    let mut columns = Vec::new();
    for (one, (key, words)) in [("deviating", "deviating"), ("other", "each other")].into_iter().enumerate() {
        columns.push(format!("{key}_current"));
        rows = rows.number(&format!("{key}_current"), words, "A", |c| c.1[one].current);
        for (k, die) in r.dies.iter().enumerate() {
            columns.push(format!("{key}_{die}"));
            let celsius = |c: &&(f64, [Share; 2])| c.1[one].celsius[k];
            rows = rows.number(&format!("{key}_{die}"), &format!("its {die}"), "degC", celsius);
        }
    }
    let (dies, data) = (r.dies.len(), rows.table());
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
