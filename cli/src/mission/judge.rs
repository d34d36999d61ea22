//! A mission at a level, and what its numbers are known to err by otherwise than by coarser computations.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::accounts::ledger::Entry;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::cycle::rainflow::UserLaw;
use joulestep_engine::run::watch::{Seen, Watch};
use joulestep_models::arrangement::mission::profile::{Begin, Profile};
use joulestep_models::arrangement::mission::{
    Followed, Instant, Listener, Make, MissionError, MissionEvent, Options, again, follow,
};

use super::store::File;
use super::{Life, life, make, tables};
use crate::account::{Account, Facts, Found, Outcome};
use crate::commands::assess::{Assessed, Round};
use crate::commands::options::Refused;
use crate::exit::{BAD_INPUT, NUMERICAL};
use crate::judge::{Level, Number, Uncertainty};
use crate::progress::Progress;
use crate::scenario::build::{Ready, Reductions, build_with};
use crate::scenario::resolved::{MissionSpec, Scenario, SegmentOf, SegmentSpec};
use crate::table::Table;

const DIES: [&str; 7] = ["heat", "mean_power", "start", "mean", "least", "largest", "end"];
const RIPPLE: [&str; 2] = ["switching_ripple", "line_ripple"];
const HARMONICS: [&str; 2] = ["power", "temperature"];

/// Tables of a mission with their errors.
pub(crate) struct Tables {
    pub dies: Table,
    pub ripple: Table,
    pub harmonics: Table,
    /// Errors of what sources gave, the load took and was lost.
    pub balance: [Uncertainty; 3],
    /// Errors of the damage of each input; empty without a law.
    pub damage: Vec<Uncertainty>,
}

/// A mission with the errors of its numbers, judged.
pub(crate) struct Known {
    pub followed: Followed,
    pub lives: Vec<Life>,
    pub account: Account,
    pub tables: Tables,
    /// Events, in order, for a file that is written afterwards.
    pub events: Vec<(f64, MissionEvent)>,
}

/// What a round keeps.
pub(crate) struct Passed {
    followed: Followed,
    lives: Vec<Life>,
    events: Vec<(f64, MissionEvent)>,
}

/// What is asked, at any level.
pub(crate) struct Job<'a> {
    pub scenario: &'a Scenario,
    pub reductions: &'a Reductions,
    pub spec: &'a MissionSpec,
    pub profile: &'a Profile,
    pub options: &'a Options,
    pub repeating: bool,
    /// The file that the mission as stated writes on its way.
    pub file: Mutex<Option<File>>,
    pub quiet: bool,
    /// Set when the user asks to stop.
    pub stop: &'a AtomicBool,
}

/// Writes the file, shows progress, and stops when asked.
struct Observer<'a> {
    file: Option<File>,
    events: Vec<(f64, MissionEvent)>,
    progress: Progress,
    stop: &'a AtomicBool,
}

impl Listener for Observer<'_> {
    fn instant(&mut self, instant: &Instant) {
        if let Some(file) = &mut self.file {
            file.instant(instant);
        }
    }
    fn event(&mut self, t: f64, what: MissionEvent) {
        self.events.push((t, what));
        if let Some(file) = &mut self.file {
            file.event(t, what);
        }
    }
    fn go_on(&mut self, t: f64) -> bool {
        self.progress.at(t);
        let writes = self.file.as_mut().is_none_or(|f| f.go_on(t));
        writes && !self.stop.load(Ordering::Relaxed)
    }
}

fn code(error: &MissionError) -> u8 {
    match error {
        MissionError::Cycle { .. } | MissionError::Numerical { .. } | MissionError::Runaway { .. } => {
            NUMERICAL
        }
        _ => BAD_INPUT,
    }
}

/// How far the power of an input may be wrong, as a share of it, and its temperatures, K: by leaps, by the laws held
/// over a cycle, and by what is left of the distance to periodic states (powers are products of two quantities at
/// rest).
struct OfInput {
    share: f64,
    kelvin: f64,
    at_end: f64,
}

fn known_of(f: &Followed, options: &Options, input: usize) -> OfInput {
    let means = || f.course.iter().map(|i| i.celsius[input]);
    let swing = means().fold(f64::NEG_INFINITY, f64::max) - means().fold(f64::INFINITY, f64::min);
    let unrest = 2.0 * options.effort.closing.max(options.effort.distance.min(1.0));
    let held = f.work.coupling + unrest * swing;
    // A temperature that does not move is known as well as its cycle.
    let share = if swing > 1e-6 { ((f.work.estimate + f.work.coupling) / swing).min(1.0) } else { 0.0 };
    OfInput { share: share + unrest, kelvin: f.work.estimate + held, at_end: f.work.estimate_at_end + held }
}

/// Numbers of the tables, with errors that are known otherwise.
fn numbers(
    f: &Followed,
    lives: &[Life],
    options: &Options,
    begin: Begin,
    law: Option<&UserLaw>,
) -> Vec<Number> {
    let known: Vec<OfInput> = (0..f.inputs.len()).map(|k| known_of(f, options, k)).collect();
    let share = |k: usize, n: &Number| known[k].share * n.value.abs();
    let mut all = Vec::new();
    for (k, row) in tables::dies(f).numbers("dies", &DIES).chunks(DIES.len()).enumerate() {
        all.extend(row.iter().zip(DIES).map(|(n, column)| {
            let further = match column {
                "heat" | "mean_power" => share(k, n),
                "start" if begin == Begin::Rest => 0.0,
                "end" => known[k].at_end,
                _ => known[k].kelvin,
            };
            Number { further, ..n.clone() }
        }));
    }
    for (k, row) in tables::ripple(f).numbers("ripple", &RIPPLE).chunks(RIPPLE.len()).enumerate() {
        all.extend(row.iter().map(|n| Number { further: share(k, n), ..n.clone() }));
    }
    let harmonics = tables::harmonics(f).numbers("harmonics", &HARMONICS);
    let each = harmonics.len().checked_div(f.inputs.len()).unwrap_or(0).max(1);
    all.extend(harmonics.iter().enumerate().map(|(at, n)| {
        // Several rows have an input's name: they are distinguished by their number.
        let name = format!("{}.{at}", n.name);
        Number { name, further: share((at / each).min(known.len() - 1), n), ..n.clone() }
    }));
    let most = known.iter().map(|k| k.share).fold(0.0, f64::max);
    for (k, (name, joules)) in ["input", "output", "losses"].into_iter().zip(f.balance).enumerate() {
        let further = most * f.balance[2].abs() + f.balance_error[k];
        all.push(Number { further, ..Number::plain(name, joules) });
    }
    for (k, life) in lives.iter().enumerate() {
        let Some((mission, ripple)) = life.damage else { continue };
        let n = Number::plain(format!("damage.{}", f.inputs[k]), mission + ripple);
        let exponent = law.map_or(1.0, |l| l.exponent.abs());
        all.push(Number { further: exponent * share(k, &n), ..n });
    }
    all
}

/// What was seen of a watch over the mission, and its error that is known otherwise; temperatures as the course has
/// them.
fn seen(f: &Followed, options: &Options, watch: &Watch, seen: &Seen) -> (Seen, f64) {
    let Probe::Temperature(input) = &watch.probe else {
        let unrest = options.effort.closing.max(options.effort.distance.min(1.0));
        return (*seen, unrest * seen.least.abs().max(seen.largest.abs()));
    };
    let k = input.0 as usize;
    if k >= f.inputs.len() {
        return (*seen, 0.0);
    }
    let mut out = Seen::NOTHING;
    for i in &f.course {
        let (least, largest) = (i.celsius[k] + i.within[k].least, i.celsius[k] + i.within[k].largest);
        let outside = least < watch.lower || largest > watch.upper;
        let since = outside.then_some(i.time);
        out.take(&Seen { least, largest, least_at: i.time, largest_at: i.time, since, missed: (0.0, 0.0) });
    }
    (out, known_of(f, options, k).kelvin)
}

impl Job<'_> {
    /// Follows the mission at a level; a coarser one solves cycles of the one that is `near` again.
    pub fn round(&self, level: Level, near: Option<&Passed>) -> Result<Round<Passed>, Refused> {
        let passed = match near {
            Some(near) if !near.followed.complete => return Err(("it was stopped".into(), NUMERICAL)),
            Some(near) => self.again(level, &near.followed)?,
            None => self.follow(level)?,
        };
        let Ready { setup, placed, judging, signals, metered, .. } =
            build_with(self.scenario, self.reductions)
                .map_err(|_| ("the scenario changed".into(), BAD_INPUT))?;
        let f = &passed.followed;
        let end = self.profile.duration();
        let facts = Facts {
            title: self.scenario.title.clone(),
            end,
            method: f.method,
            placed,
            judging,
            signals,
            metered,
        };
        let of = |(w, s)| (w, seen(f, self.options, w, s));
        let all: Vec<(&Watch, (Seen, f64))> = setup.watches.iter().zip(&f.seen).map(of).collect();
        let watts =
            |w: &f64| Entry { name: String::new(), kind: "", delivered: 0.0, dissipated: *w, stored: 0.0 };
        let found = Found {
            seen: all.iter().map(|(_, (seen, _))| *seen).collect(),
            watches: all.iter().map(|(w, (_, further))| (*w, *further)).collect(),
            entries: &f.dissipated.iter().map(watts).collect::<Vec<_>>(),
            residual: 0.0,
            relative: 0.0,
            // Watts: joules over a second.
            repeats: Some(1.0),
            counters: f.counters,
            reached: f.course.last().map_or(0.0, |i| i.time),
        };
        let outcome = if f.complete { Outcome::Done } else { Outcome::Interrupted };
        let mut account = Account::of_found(&found, &facts, Vec::new(), outcome);
        // The mission has a balance of its own.
        account.energies.clear();
        let law = self.spec.damage.as_ref();
        let numbers = numbers(f, &passed.lives, self.options, self.profile.begin, law);
        Ok(Round { account, numbers, more: passed })
    }

    /// The arrangement at parameters, as coarse as a level.
    fn at<T>(
        &self,
        level: Level,
        work: impl FnOnce(&mut Make<'_>) -> Result<T, MissionError>,
    ) -> Result<T, Refused> {
        let parameter = |c: &SegmentSpec| match c.of {
            SegmentOf::Parameter(key) => Some(key),
            SegmentOf::Boundary(_) => None,
        };
        let keys: Vec<&'static str> = self.spec.segments.iter().filter_map(parameter).collect();
        let mut scenario = self.scenario.clone();
        let mut build = |values: &[f64]| {
            let (layout, mut setup) = make(&mut scenario, self.reductions, &keys, values)?;
            level.apply(&mut setup);
            Ok((layout, setup))
        };
        work(&mut build).map_err(|error| (error.to_string(), code(&error)))
    }

    fn passed(&self, followed: Followed, events: Vec<(f64, MissionEvent)>) -> Passed {
        let lives = life(&followed, self.spec.damage.as_ref(), self.repeating);
        Passed { followed, lives, events }
    }

    fn again(&self, level: Level, near: &Followed) -> Result<Passed, Refused> {
        let followed = self.at(level, |build| again(near, self.profile.begin, build))?;
        Ok(self.passed(followed, Vec::new()))
    }

    fn follow(&self, level: Level) -> Result<Passed, Refused> {
        let mut observer = Observer {
            file: self.file.lock().ok().and_then(|mut f| f.take()),
            events: Vec::new(),
            progress: Progress::new(self.quiet, self.profile.duration()),
            stop: self.stop,
        };
        let followed = self.at(level, |build| follow(self.profile, build, self.options, &mut observer));
        observer.progress.done();
        let Observer { file, events, .. } = observer;
        // What fails leaves its file closed as a partial one.
        let followed = followed?;
        if let (Some(file), Ok(mut place)) = (file, self.file.lock()) {
            *place = Some(file);
        }
        Ok(self.passed(followed, events))
    }
}

/// The tables with their errors.
pub(crate) fn known(assessed: Assessed<Passed>) -> Known {
    let Assessed { account, more: Passed { followed, lives, events }, errors } = assessed;
    let mut errors = errors.iter();
    let dies = tables::dies(&followed).with_errors(&DIES, &mut errors);
    let ripple = tables::ripple(&followed).with_errors(&RIPPLE, &mut errors);
    let harmonics = tables::harmonics(&followed).with_errors(&HARMONICS, &mut errors);
    let balance = std::array::from_fn(|_| errors.next().cloned().unwrap_or_default());
    let tables = Tables { dies, ripple, harmonics, balance, damage: errors.cloned().collect() };
    Known { followed, lives, account, tables, events }
}
