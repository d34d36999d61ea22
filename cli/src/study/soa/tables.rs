//! The tables of a chart: its borders, every point of it, avalanche, the margins of a course.

use super::compute::{Charted, words};
use super::course::Laid;
use super::width_words;
use crate::output::answer::StudyTable;
use crate::output::table::{Cell, Head, Table};

/// The tables, the borders first.
pub(super) fn tables(charted: &Charted, laid: Option<&Laid>) -> Vec<StudyTable> {
    let mut all = vec![borders(charted)];
    all.extend(laid.map(|l| margins(charted, l)));
    all.extend(avalanche(charted));
    all.push(points(charted));
    all
}

fn borders(charted: &Charted) -> StudyTable {
    let heads = vec![
        Head::text("pulse"),
        Head::text("border"),
        Head::number("from_voltage", "from", "V"),
        Head::number("to_voltage", "to", "V"),
        Head::number("from_current", "current from", "A"),
        Head::number("to_current", "current to", "A"),
        Head::text("found_by"),
    ];
    let dies = charted.law.names();
    let rows = charted.lines.iter().flat_map(|line| {
        let pulse = width_words(line.width);
        line.stretches().into_iter().map(move |s| {
            let found = s.border.found();
            vec![
                Cell::from(pulse.as_str()),
                words(s.border, dies).as_str().into(),
                s.from.volts.into(),
                s.to.volts.into(),
                s.from.current.into(),
                s.to.current.into(),
                found.into(),
            ]
        })
    });
    let data = Table { heads, rows: rows.collect() };
    StudyTable::new(
        "borders",
        "Borders of each pulse width, from the lowest voltage to the rated one",
        2,
        data,
    )
}

fn points(charted: &Charted) -> StudyTable {
    let dies = charted.law.names();
    let mut heads = vec![
        Head::text("pulse"),
        Head::number("width", "width", "s"),
        Head::number("voltage", "voltage", "V"),
        Head::number("current", "largest current", "A"),
        Head::number("power", "power", "W"),
    ];
    heads.extend(dies.iter().map(|die| Head::number(die, die, "degC")));
    heads.push(Head::text("limited_by"));
    let all = || charted.lines.iter().flat_map(|l| l.border.iter().zip(&l.errors).map(move |p| (l, p)));
    let rows = all().map(|(line, (c, _))| {
        let mut row = vec![Cell::from(width_words(line.width).as_str()), line.width.into()];
        row.extend([c.volts, c.current, c.volts * c.current].map(Cell::from));
        row.extend(c.celsius.iter().take(dies.len()).map(|&t| Cell::from(t)));
        row.push(words(c.border, dies).as_str().into());
        row
    });
    let data = Table { heads, rows: rows.collect() };
    let title =
        "Largest current of a rectangular pulse at every voltage of the chart, and the junctions at its end";
    StudyTable {
        further: all().map(|(_, (_, error))| *error).collect(),
        unsettled: if charted.settled { Vec::new() } else { (0..data.rows.len()).collect() },
        ..StudyTable::new("area", title, 3, data).estimated(&["current"])
    }
}

fn avalanche(charted: &Charted) -> Option<StudyTable> {
    let (ratings, volts) = (&charted.part.ratings, charted.breakdown.or(charted.part.rated_voltage())?);
    ratings.avalanche_limit(volts, 1.0)?;
    let heads = vec![
        Head::text("pulse"),
        Head::number("width", "width", "s"),
        Head::number("current", "largest current", "A"),
    ];
    let pulses = charted.lines.iter().filter(|l| l.width.is_finite());
    let row = |l: &super::compute::Drawn| {
        let current = ratings.avalanche_limit(volts, l.width);
        vec![Cell::from(width_words(l.width).as_str()), l.width.into(), current.into()]
    };
    let data = Table { heads, rows: pulses.map(row).collect() };
    let title =
        "Single avalanche pulse, as the part states it: its current, and its energy at the breakdown voltage";
    Some(StudyTable::new("avalanche", title, 1, data))
}

fn margins(charted: &Charted, laid: &Laid) -> StudyTable {
    let heads = vec![
        Head::text("against"),
        Head::number("margin", "margin", "1"),
        Head::number("time", "at", "s"),
        Head::number("voltage", "voltage", "V"),
        Head::number("current", "current", "A"),
        Head::text("remark"),
    ];
    let row = |name: String, n: Option<joulestep_models::rating::trajectory::Nearest>, why: &str| {
        let of = |x: Option<f64>| Cell::from(x);
        let mut row = vec![Cell::from(name.as_str()), of(n.map(|n| n.margin))];
        row.extend([n.map(|n| n.time), n.map(|n| n.volts), n.map(|n| n.current)].map(of));
        row.push(if n.is_some() { "" } else { why }.into());
        row
    };
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    if charted.part.ratings.lead_current.is_some() {
        rows.push(row("leads, at every instant".into(), laid.leads, "never conducts forwards"));
    }
    for (line, n) in charted.lines.iter().zip(&laid.by_width) {
        let why = if line.width > laid.lasts { "the run is shorter" } else { "never conducts forwards" };
        rows.push(row(width_words(line.width), *n, why));
    }
    let title = format!("Margins of {} against each pulse width, and where they are least", laid.name);
    StudyTable::new("margins", &title, 1, Table { heads, rows })
}
