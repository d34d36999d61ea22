//! The tables of a sizing: the ranking, and every number that was tried.

use super::Options;
use super::answers::reason;
use super::compute::{Found, ranked};
use crate::output::answer::StudyTable;
use crate::output::table::{Cell, Head, Table};

/// The tables, the ranking first.
pub(super) fn tables(all: &[Found], options: &Options) -> Vec<StudyTable> {
    vec![ranking(all, options), numbers(all, options)]
}

fn ranking(all: &[Found], options: &Options) -> StudyTable {
    let heads = vec![
        Head::number("rank", "rank", "1"),
        Head::text("candidate"),
        Head::text("package"),
        Head::number("number", "number", "1"),
        Head::number("margin", "least margin", "K"),
        Head::number("share", "share", "1"),
        Head::number("loss", "loss", "W"),
        Head::number("outline", "outline", "m^2"),
        Head::number("board", "board", "m^2"),
        Head::number("height", "height", "m"),
    ];
    let row = |(k, f): (usize, &&Found)| {
        let (t, dies) = (f.chosen(), f.dies.len());
        let number = t.number as f64;
        let of = |x: f64| if f.does() { Cell::from(x) } else { Cell::None };
        let pulses = (0..options.pulses.len()).map(|k| t.pulse(k, dies));
        let hot = std::iter::once(t.steady(dies)).chain(pulses).fold(f64::NEG_INFINITY, f64::max);
        let current = t.held.steady.map_or(f64::NAN, |s| s[0].current);
        vec![
            of((k + 1) as f64),
            f.name.as_str().into(),
            f.package.as_deref().unwrap_or("-").into(),
            of(number),
            of(f.hottest - hot),
            of(current * number / options.current),
            of(t.loss(options.current)),
            of(f.room.outline.map_or(f64::NAN, |a| a * number)),
            of(f.room.area().map_or(f64::NAN, |a| a * number)),
            of(f.room.height.unwrap_or(f64::NAN)),
        ]
    };
    let rows = ranked(all, options).iter().enumerate().map(row).collect();
    let title = format!("Candidates, ranked by {}", options.rank_by);
    StudyTable::new("ranking", &title, 3, Table { heads, rows })
}

fn numbers(all: &[Found], options: &Options) -> StudyTable {
    let mut heads = vec![
        Head::text("candidate"),
        Head::number("number", "number", "1"),
        Head::number("deviating", "deviating", "A"),
        Head::number("other", "each other", "A"),
        Head::number("steady", "steady junction", "degC"),
    ];
    heads.extend(options.pulses.iter().enumerate().flat_map(|(k, _)| {
        let k = k + 1;
        [
            Head::number(&format!("pulse_{k}_current"), &format!("peak in pulse {k}"), "A"),
            Head::number(&format!("pulse_{k}"), &format!("junction in pulse {k}"), "degC"),
        ]
    }));
    heads.push(Head::text("result"));
    let mut rows = Vec::new();
    for f in all {
        for t in &f.tried {
            let share = |k: usize| t.held.steady.map_or(f64::NAN, |s| s[k].current);
            let other = if t.number == 1 { f64::NAN } else { share(1) };
            let mut row = vec![Cell::from(f.name.as_str()), (t.number as f64).into()];
            row.extend([share(0), other, t.steady(f.dies.len())].map(Cell::from));
            for k in 0..options.pulses.len() {
                let peak = t.held.pulses.get(k).and_then(Option::as_ref).map_or(f64::NAN, |s| s[0].current);
                row.extend([peak, t.pulse(k, f.dies.len())].map(Cell::from));
            }
            let result = t.held.fails.map_or("does".into(), |why| reason(f, t.number, why, options));
            row.push(result.as_str().into());
            rows.push(row);
        }
    }
    let title = "Numbers tried, the deviating device and the others, and what each smaller number fails by";
    StudyTable::new("numbers", title, 2, Table { heads, rows })
}
