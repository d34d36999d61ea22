//! A point of a double pulse at a level, with what its parts must keep.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::gauge::Gauge;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::watch::{ALWAYS, Seen, Watch};
use joulestep_models::arrangement::double_pulse::{Outcome, Point, PulseError, run_as};
use joulestep_models::model::Built;
use joulestep_models::part::Part;

use super::{Grid, table};
use crate::input::scenario::build::{BEYOND, Judging, KnownRange, Placed, of_parts, rating};
use crate::judge::{End, Level, Limited};
use crate::output::account::{Account, Facts, Found, Judgement, Shown};
use crate::output::answer::Answer;
use crate::study::StudyError;

/// A point as it was run, and what its account says of limits.
pub(super) struct Judged {
    pub account: Account,
    pub outcome: Outcome,
    /// What its peaks are estimated to miss between the ends of steps, by column; read off its waveforms.
    pub missed: Vec<(&'static str, f64)>,
}

/// The parts as placed, their watches and gauges, what is judged, and the watches of stated temperatures.
type Kept = (Vec<Placed>, Vec<Watch>, Vec<Gauge>, Judging, Vec<Watch>);

fn failed(grid: &Grid, point: &Point, error: &PulseError) -> StudyError {
    let Point { current, voltage, gate_resistance, celsius } = point;
    let at = format!("{current} A, {voltage} V, {gate_resistance} ohm, {celsius} degC");
    let what = format!("{} at {at}: {error}", grid.part.name);
    match error {
        PulseError::Asked(_) | PulseError::Circuit(_) => StudyError::Refused(what),
        _ => StudyError::Numerical(what),
    }
}

fn placed(grid: &Grid, built: [Built; 2]) -> Vec<Placed> {
    let one = |name: &str, part: &Part, built: Built| Placed {
        name: name.into(),
        kind: part.kind,
        heat: vec![None; built.dies.len()],
        known_current: part.known_current().unwrap_or(f64::INFINITY),
        ratings: part.ratings.clone(),
        built,
    };
    let [lower, upper] = built;
    vec![one("part", &grid.part, lower), one("upper", &grid.upper, upper)]
}

/// What the parts must keep. Junction temperatures are stated, so their watches stand behind those of the run.
fn judging(placed: &[Placed]) -> (Vec<Watch>, Vec<Gauge>, Judging, Vec<Watch>) {
    let (watches, mut judging, gauges) = of_parts(placed);
    let mut stated = Vec::new();
    for die in std::mem::take(&mut judging.unheated) {
        let watch = watches.len() + stated.len();
        let (name, lower) = (die.name, f64::NEG_INFINITY);
        stated.push(Watch {
            name: name.clone(),
            long_name: name.clone(),
            unit: "degC",
            probe: Probe::Sum(Vec::new()),
            subject: String::new(),
            event: None,
            lower,
            upper: die.rated,
            during: ALWAYS,
        });
        let range = (lower, die.rated + BEYOND);
        judging.ranges.push(KnownRange { name: name.clone(), watch, range });
        judging.judged.push(rating(name, "degC", watch, lower, die.rated));
    }
    (watches, gauges, judging, stated)
}

/// Runs a point at a level.
pub(super) fn judged(grid: &Grid, point: &Point, level: Level) -> Result<Judged, StudyError> {
    let mut parts: Option<Kept> = None;
    let mut prepare = |setup: &mut Setup<f64>, built: [Built; 2]| {
        let placed = placed(grid, built);
        let (watches, gauges, judging, stated) = judging(&placed);
        setup.watches.clone_from(&watches);
        setup.gauges.clone_from(&gauges);
        level.apply(setup);
        parts = Some((placed, watches, gauges, judging, stated));
    };
    let outcome = run_as(&grid.part, &grid.upper, &grid.bench, point, &mut prepare)
        .map_err(|error| failed(grid, point, &error))?;
    let (placed, watches, gauges, judging, stated) = parts.unwrap_or_default();
    // Temperatures are stated, and stand still.
    let bursts: Vec<(usize, Gauge)> = gauges.into_iter().enumerate().collect();
    let mut seen = outcome.seen.clone();
    let (least, largest) = (point.celsius, point.celsius);
    seen.extend(stated.iter().map(|_| Seen { least, largest, ..Seen::NOTHING }));
    let found = Found {
        seen,
        readings: Shown::of_bursts(&bursts, &outcome.readings, &|_| (0.0, 0.0)),
        watches: watches.iter().chain(&stated).map(|w| (w, 0.0)).collect(),
        entries: &outcome.ledger.entries,
        residual: outcome.ledger.residual,
        relative: outcome.ledger.relative(),
        repeats: None,
        counters: outcome.counters,
        reached: outcome.edges.end,
    };
    let facts = Facts {
        title: String::new(),
        end: outcome.edges.end,
        method: "",
        placed,
        judging,
        signals: 0,
        metered: Vec::new(),
    };
    let account = Account::of_found(&found, &facts, Vec::new(), crate::output::account::Outcome::Done);
    let missed = table::missed_all(&outcome);
    Ok(Judged { account, outcome, missed })
}

/// What each limit bounds, over all points: the most extreme of them.
pub(super) fn answers(found: &[Judged]) -> Vec<Answer> {
    let Some(first) = found.first() else { return Vec::new() };
    let known = !found.iter().any(|j| j.account.doubts.iter().any(|d| d.out_of_range));
    let mut out = Vec::new();
    for (k, of) in first.account.judged.iter().enumerate() {
        let all = || found.iter().filter_map(|j| j.account.judged.get(k)).filter(|j| !j.is_unseen());
        for (end, (_, bounds)) in of.sides().into_iter().enumerate() {
            let value =
                |j: &Judgement| if end == 0 { (-j.least, -j.missed.0) } else { (j.largest, j.missed.1) };
            let worst = all().map(value).max_by(|a, b| a.0.total_cmp(&b.0));
            let Some((value, missed)) = worst.filter(|_| !bounds.is_none()) else { continue };
            let (sign, end) = if end == 0 { (-1.0, End::Least) } else { (1.0, End::Largest) };
            let limit = &of.limit;
            let words = format!("{} {}", end.word(), limit.name);
            let answer = Answer::new(limit.number(end), words, sign * value, &limit.unit);
            let limited = Some(Limited::of(limit, end, of.occurrence));
            out.push(Answer { missed: sign * missed, known, limited, ..answer });
        }
    }
    out
}

/// Doubts and notes of all points, each once.
pub(super) fn remarks(found: &[Judged]) -> (Vec<String>, Vec<String>) {
    let (mut doubts, mut notes): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    let once = |list: &mut Vec<String>, text: &str| {
        if list.iter().all(|t| t != text) {
            list.push(text.into());
        }
    };
    for account in found.iter().map(|j| &j.account) {
        account.doubts.iter().for_each(|d| once(&mut doubts, &d.text));
        account.notes.iter().for_each(|n| once(&mut notes, n));
        account.stall().iter().for_each(|n| once(&mut notes, n));
    }
    (doubts, notes)
}
