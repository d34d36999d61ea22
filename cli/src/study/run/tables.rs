//! Tables of a run: events, extremes of recorded signals, junctions, energies.

use joulestep_engine::units::people;

use crate::output::account::event_lines::Line;
use crate::output::account::{Account, Energy, Junction, Peak};
use crate::output::answer::{EVENTS, StudyTable};
use crate::output::table::{Cell, Head, OF_ROW, Table, UNIT};

/// Relative ledger residual up to which the energies are trusted.
const CLOSES: f64 = 1e-4;

/// All of them; the tables that hold nothing are left out.
pub(super) fn tables(a: &Account) -> Vec<StudyTable> {
    let all = [events(a), extremes(a), junctions(a), energies(a)];
    all.into_iter().filter(|t| !t.data.rows.is_empty()).collect()
}

fn events(a: &Account) -> StudyTable {
    let heads = vec![
        Head::instant("time", "at"),
        Head::text("kind"),
        Head::text("subject"),
        Head::text("action"),
        Head::number("value", "value", OF_ROW),
        Head::number("level", "level", OF_ROW),
        Head::text(UNIT),
        Head::number("count", "times", "1"),
        Head::instant("last_time", "until"),
        Head::text("note"),
    ];
    let row = |line: &Line| -> Vec<Cell> {
        let (e, count, last) = match line {
            Line::One(e) => (e, 1, None),
            Line::Many(count, first, last) => (first, *count, Some(last.time)),
        };
        let single = |text: &str| if count == 1 { text.to_string() } else { String::new() };
        vec![
            e.time.into(),
            e.kind.word().into(),
            e.subject.as_str().into(),
            Cell::Text(single(e.action.word())),
            if count == 1 { e.value.into() } else { Cell::None },
            if count == 1 { e.level.into() } else { Cell::None },
            e.unit.into(),
            (count as f64).into(),
            last.into(),
            Cell::Text(single(&e.note)),
        ]
    };
    let data = Table { heads, rows: a.events.iter().map(row).collect() };
    StudyTable::new(EVENTS, "Events", 0, data)
}

fn extremes(a: &Account) -> StudyTable {
    let heads = vec![
        Head::text("signal"),
        Head::long_text("what"),
        Head::text(UNIT),
        Head::number("least", "least", OF_ROW),
        Head::instant("least_at", "at"),
        Head::number("largest", "largest", OF_ROW),
        Head::instant("largest_at", "at"),
    ];
    let row = |p: &Peak| -> Vec<Cell> {
        vec![
            p.name.as_str().into(),
            p.long_name.as_str().into(),
            p.unit.into(),
            p.least.into(),
            p.least_at.into(),
            p.largest.into(),
            p.largest_at.into(),
        ]
    };
    let data = Table { heads, rows: a.peaks.iter().map(row).collect() };
    let title = "Extremes: least and largest value at the end of any step, recorded or not";
    let columns = ["least", "largest"];
    let table = StudyTable::new("extremes", title, 1, data).estimated(&columns).quantities(&columns);
    StudyTable { missed: a.peaks.iter().flat_map(|p| [p.missed.0, p.missed.1]).collect(), ..table }
}

fn junctions(a: &Account) -> StudyTable {
    let heads = vec![
        Head::text("die"),
        Head::number("hottest", "hottest", "degC"),
        Head::instant("hottest_at", "at"),
        Head::number("end", "at the end", "degC"),
        Head::number("rated", "rated", "degC"),
        Head::number("heat", "heat", "J"),
        Head::number("coupling_error", "coupling", "K"),
        Head::text("not_bounded"),
    ];
    let row = |j: &Junction| -> Vec<Cell> {
        vec![
            j.name.as_str().into(),
            j.hottest.into(),
            j.hottest_at.into(),
            j.end.into(),
            j.rated.into(),
            j.heat.into(),
            if j.coupling_error.is_infinite() {
                Cell::Number(j.coupling_error)
            } else {
                j.coupling_error.into()
            },
            j.not_bounded.unwrap_or("").into(),
        ]
    };
    let mut data = Table { heads, rows: a.junctions.iter().map(row).collect() };
    if a.junctions.iter().all(|j| j.not_bounded.is_none()) {
        data.heads.pop();
        data.rows.iter_mut().for_each(|row| drop(row.pop()));
    }
    let title = "Junctions: virtual junction temperature of each die at the ends of steps; heat: what the network received";
    let coupling = a.junctions.iter().flat_map(|j| [j.coupling_error, j.coupling_error, 0.0]);
    let table = StudyTable::new("junctions", title, 1, data)
        .estimated(&["hottest", "end", "heat"])
        .quantities(&["hottest", "end", "heat", "coupling_error"]);
    StudyTable { further: coupling.collect(), ..table }
}

fn energies(a: &Account) -> StudyTable {
    let heads = vec![
        Head::text("component"),
        Head::number("delivered", "delivered", "J"),
        Head::number("dissipated", "dissipated", "J"),
        Head::number("stored", "stored", "J"),
    ];
    let row = |e: &Energy| -> Vec<Cell> {
        vec![e.name.as_str().into(), e.delivered.into(), e.dissipated.into(), e.stored.into()]
    };
    let data = Table { heads, rows: a.energies.iter().map(row).collect() };
    let title = "Energies: integrals of v\u{b7}i over the whole run; stored: at the end less at the start";
    let columns = ["delivered", "dissipated", "stored"];
    StudyTable::new("energies", title, 1, data).estimated(&columns).quantities(&columns)
}

/// What must be said where the ledger does not close.
pub(super) fn doubtful_ledger(a: &Account) -> Option<String> {
    // Written so that a residual that is not a number is reported too.
    let closes = a.relative <= CLOSES;
    let residual = match (a.residual.is_finite(), a.relative.is_finite()) {
        (true, true) => format!("{} ({:.1e} of the energy turned over)", people(a.residual, "J"), a.relative),
        (true, false) => format!("{}, and no energy was turned over", people(a.residual, "J")),
        (false, _) => "is no number: the last state is not one of finite energies".into(),
    };
    (!closes).then(|| {
        format!(
            "THE LEDGER DOES NOT CLOSE to {CLOSES:.0e}: residual {residual}; take shorter steps before trusting the energies"
        )
    })
}
