//! A point of a double pulse at a level, its parts held against their ratings.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::watch::{Seen, Watch};
use joulestep_models::arrangement::double_pulse::{Outcome, Point, PulseError, run_as};
use joulestep_models::model::Built;
use joulestep_models::part::Part;

use super::{Grid, table};
use crate::account::{Account, Facts, Found};
use crate::args::AssessArgs;
use crate::commands::assess::{Assessed, Round, assess};
use crate::commands::options::Refused;
use crate::exit::{BAD_INPUT, NUMERICAL};
use crate::judge::{Level, Ruling};
use crate::scenario::build::{BEYOND, Judged as Bounded, Judging, KnownRange, Placed, of_parts};

/// A point with the errors of its numbers, judged.
pub(super) type Judged = Assessed<Outcome>;

/// The parts as placed, their watches, what is judged, and the watches of stated temperatures.
type Kept = (Vec<Placed>, Vec<Watch>, Judging, Vec<Watch>);

fn code(error: &PulseError) -> u8 {
    match error {
        PulseError::Asked(_) | PulseError::Circuit(_) => BAD_INPUT,
        _ => NUMERICAL,
    }
}

fn placed(grid: &Grid, built: [Built; 2]) -> Vec<Placed> {
    let one = |name: &str, part: &Part, built: Built| Placed {
        name: name.into(),
        kind: part.kind,
        heat: vec![None; built.dies.len()],
        known_current: part.known_current().unwrap_or(f64::INFINITY),
        built,
    };
    let [lower, upper] = built;
    vec![one("part", &grid.part, lower), one("upper", &grid.upper, upper)]
}

/// What the parts must keep. Junction temperatures are stated, so their watches stand behind those of the run.
fn judging(placed: &[Placed]) -> (Vec<Watch>, Judging, Vec<Watch>) {
    let (watches, mut judging) = of_parts(placed);
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
        });
        let range = (lower, die.rated + BEYOND);
        judging.ranges.push(KnownRange { name: name.clone(), watch, range });
        judging.judged.push(Bounded { name, watch, lower, upper: die.rated, by_user: false, waived: None });
    }
    (watches, judging, stated)
}

fn round(grid: &Grid, point: &Point, level: Level) -> Result<Round<Outcome>, Refused> {
    let mut parts: Option<Kept> = None;
    let mut prepare = |setup: &mut Setup<f64>, built: [Built; 2]| {
        let placed = placed(grid, built);
        let (watches, judging, stated) = judging(&placed);
        setup.watches.clone_from(&watches);
        level.apply(setup);
        parts = Some((placed, watches, judging, stated));
    };
    let outcome = run_as(&grid.part, &grid.upper, &grid.bench, point, &mut prepare)
        .map_err(|error| (error.to_string(), code(&error)))?;
    let (placed, watches, judging, stated) = parts.unwrap_or_default();
    let mut seen = outcome.seen.clone();
    let (least, largest) = (point.celsius, point.celsius);
    seen.extend(stated.iter().map(|_| Seen { least, largest, ..Seen::NOTHING }));
    let found = Found {
        seen,
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
    let account = Account::of_found(&found, &facts, Vec::new(), crate::account::Outcome::Done);
    let numbers = table::numbers(&outcome);
    Ok(Round { account, more: outcome, numbers })
}

/// A point, with errors and verdict as options ask.
pub(super) fn judged(grid: &Grid, point: &Point, how: &AssessArgs) -> Result<Judged, Refused> {
    let at = |level: Level, _: Option<&Outcome>| round(grid, point, level);
    assess(how, "the numbers", &|| false, &at)
}

/// One account over all points: of each limit the extremes and the worst that is said of it.
pub(super) fn over_all(found: &[Judged]) -> Option<Account> {
    let mut all = found.iter().map(|j| &j.account);
    let mut whole = all.next()?.clone();
    for account in all {
        for (mine, theirs) in whole.judged.iter_mut().zip(&account.judged) {
            // The worse of two that are ruled differently, else the more extreme.
            let worse =
                |mine: Ruling, theirs: Ruling, beyond: bool| theirs > mine || theirs == mine && beyond;
            if worse(mine.ruling, theirs.ruling, theirs.largest > mine.largest) {
                (mine.largest, mine.largest_error) = (theirs.largest, theirs.largest_error.clone());
            }
            if worse(mine.ruling, theirs.ruling, theirs.least < mine.least) {
                (mine.least, mine.least_error) = (theirs.least, theirs.least_error.clone());
            }
            mine.kept &= theirs.kept;
            mine.ruling = mine.ruling.max(theirs.ruling);
        }
        let doubts = account.doubts.iter().filter(|d| whole.doubts.iter().all(|w| w.name != d.name)).cloned();
        let doubts: Vec<_> = doubts.collect();
        whole.doubts.extend(doubts);
        let notes: Vec<_> = account.notes.iter().filter(|n| !whole.notes.contains(n)).cloned().collect();
        whole.notes.extend(notes);
        let (counters, more) = (&mut whole.counters, &account.counters);
        counters.steps += more.steps;
        counters.iterations += more.iterations;
        counters.stalled += more.stalled;
        counters.stalled_by = counters.stalled_by.max(more.stalled_by);
        if let (Some(mine), Some(theirs)) = (&mut whole.estimate, &account.estimate) {
            mine.steps += theirs.steps;
            mine.iterations += theirs.iterations;
        }
    }
    Some(whole)
}
