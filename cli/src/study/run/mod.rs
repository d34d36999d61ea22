//! `run`: a scenario from its start to its end, with the error of every number.

mod course;
mod picture;
mod tables;
mod words;

use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Ended;

pub(crate) use self::course::{Course, Observer};
use self::picture::Strips;
use super::measured::Followers;
use super::{Context, Entry, Input, Question, Recording, StudyError, Trial};
use crate::diagnostic::Sources;
use crate::input::keys::table::keys;
use crate::input::scenario::build::{Measured, Ready, build_with, measure};
use crate::judge::Level;
use crate::output::account::event_lines::EventLines;
use crate::output::account::switching::SwitchingEnergies;
use crate::output::account::{Account, Facts};
use crate::output::answer::{Answer, Estimation, Outcome, Study, StudyTable, overlay};
use crate::progress::Progress;

/// The study.
pub static STUDY: Entry = Entry {
    name: "run",
    section: &SECTION,
    help: "Solves the circuit, coupled to the thermal network, from the scenario's start to its end. With --out, waveforms, \
           junction temperatures and events go to an HDF5 file on the way. Then prints the verdict over the ratings of the \
           parts and the limits that the scenario sets, the events, the extremes of the recorded signals, the hottest \
           junctions, and the energies with the ledger's residual.\n\n\
           Where something is judged, every number has its numerical error (\u{b1}) beside it, from two coarser runs of the \
           same that cost less than the run itself. A limit is kept or exceeded only by more than the error; between, the \
           verdict is \"not proven\". Each round of --prove halves the base and the finest step, divides the error bounds \
           by 16 and the coupling of heat by 4, and costs about twice the one before; the file holds the last.\n\n\
           Progress goes to standard error. Ctrl-C, SIGTERM and SIGHUP end the run at once and keep what was computed: the \
           file is closed with its attribute `complete` at 0.",
    examples: "joulestep run examples/ferry-breaker.toml --out ferry.h5\n\
               joulestep run examples/inrush-chains.toml --spread examples/inrush-tolerances.toml --plot inrush.svg",
    inputs: &[Input::scenario(Asked::scenario)],
    trial: Trial {
        args: &["tests/catalogue_of_studies/rc.toml"],
        vary: ("component.R1.resistance", ["1 kohm", "2 kohm"]),
    },
    refines: "steps",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "run":
        "Run a scenario: events, extremes, junction temperatures, energies, verdict; waveforms into a file";
    need scenario: Files, "scenario file (TOML)";
}

/// What is run: the setup, and what its account needs.
#[derive(Debug)]
pub(crate) struct Built {
    /// What the engine needs.
    pub setup: Setup<f64>,
    /// What its account needs.
    pub facts: Facts,
    /// What was measured.
    pub measured: Vec<Measured>,
}

impl Built {
    /// Of a scenario of this title that was built, to this end, s.
    pub fn new(ready: Ready, title: String, end: f64) -> Self {
        let Ready { setup, placed, judging, signals, metered, measured, .. } = ready;
        let facts = Facts { title, end, method: setup.method.name, placed, judging, signals, metered };
        Self { setup, facts, measured }
    }
}

/// Where a run goes on its way.
#[derive(Clone, Copy)]
pub(crate) struct Kept<'a> {
    /// The result file, and the files that went in.
    pub file: Option<(&'a Recording, &'a Sources)>,
    /// Whether tables and figures are asked for.
    pub shown: bool,
    /// Whether no progress is shown.
    pub quiet: bool,
}

type Coarser = [Result<Study, StudyError>; 2];

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    context.go_on()?;
    let k = Level::COARSER.iter().position(|level| *level == context.level);
    if let Some((k, both)) = k.zip(question.left::<Coarser>()) {
        return both[k].clone();
    }
    let run = |level: Level, stop: &AtomicBool, kept: Kept<'_>| {
        let scenario = question.scenario()?;
        let mut ready = build_with(scenario, &context.reductions())?;
        measure(&mut ready.setup, std::mem::take(&mut ready.switches));
        let mut built = Built::new(ready, scenario.title.clone(), scenario.steps.end);
        level.apply(&mut built.setup);
        let mut study = solved(built, &question.name(), stop, kept)?;
        study.conditions.extend(words::of_scenario(scenario));
        Ok(study)
    };
    let file = context.record.map(|r| (r, &question.inputs));
    let kept = Kept { file, shown: !context.brief, quiet: context.quiet };
    if context.estimation != Estimation::Coarser || context.brief || context.level != Level::STATED {
        return run(context.level, context.stop, kept);
    }
    // The coarser runs go side by side with the one as stated; what came early to its end has nothing to compare.
    let halt = AtomicBool::new(false);
    let stated = || {
        let study = run(Level::STATED, context.stop, kept);
        let compares = study.as_ref().is_ok_and(|s| s.outcome == Outcome::Done && !s.computation.bare);
        halt.store(!compares, Ordering::Relaxed);
        study
    };
    let alone = Kept { file: None, shown: true, quiet: true };
    let coarse = |level| run(level, &halt, Kept { shown: false, ..alone });
    let [one, two] = Level::COARSER;
    let (study, (one, two)) = rayon::join(stated, || rayon::join(|| coarse(one), || coarse(two)));
    question.leave::<Coarser>([one, two]);
    study
}

/// Runs from the first step to the last. `name`: what it is called where it has no title.
///
/// # Errors
/// No state to begin with, a file that cannot be made.
pub(crate) fn solved(
    built: Built,
    name: &str,
    stop: &AtomicBool,
    kept: Kept<'_>,
) -> Result<Study, StudyError> {
    let Built { mut setup, mut facts, mut measured } = built;
    if kept.file.is_none() && !kept.shown {
        only_measured(&mut setup, &mut measured);
    }
    let judges = facts.judging.judged.iter().any(|j| !j.limit.bounds.is_none());
    setup.halt = Some(crate::signals::stopped());
    let mut run = setup.ready()?;
    facts.method = run.method();
    let writer = kept.file.map(|(record, inputs)| record.create(inputs, SECTION.name)).transpose()?;
    let mut observer = Observer {
        writer,
        events: EventLines::default(),
        acts: Vec::new(),
        switching: SwitchingEnergies::default(),
        strips: kept.shown.then(|| Strips::to(facts.end)),
        followers: Followers::new(measured),
        progress: Progress::new(kept.quiet, facts.end),
        stop,
    };
    let outcome = match run.advance(facts.end, &mut observer) {
        Ok(Ended::Reached) => Outcome::Done,
        Ok(Ended::Stopped) => Outcome::Interrupted,
        Err(error) => Outcome::Failed(error.to_string()),
    };
    run.finish(&mut observer);
    observer.progress.done();
    if let (Some((record, _)), Some(writer)) = (kept.file, observer.writer) {
        record.keep(writer, Some((&run.ledger()).into()));
    }
    let mut account = Account::new(&run, &facts, observer.events.lines(), outcome);
    account.switching = observer.switching.sorted();
    let mut study = of_account(&account);
    study.title = if account.title.is_empty() { name.into() } else { account.title.clone() };
    study.input = "nominal part".into();
    study.answers.extend(work(&account));
    study.conditions = words::conditions(&account, &facts);
    study.computation.course.extend(observer.acts);
    study.computation.bare = !judges;
    let overlays = observer.followers.overlays();
    study.tables.extend(residuals(&overlays));
    if !overlays.is_empty() {
        study.tables.push(overlay::residuals(&overlays));
    }
    if let Some(strips) = observer.strips {
        study.definitions = words::definitions(&account);
        study.figures = picture::figures(strips, &account, &overlays);
        if !overlays.is_empty() {
            study.definitions.extend(overlay::DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())));
        }
    }
    study.overlays = overlays;
    Ok(study)
}

/// Leaves of the recorded signals those alone that were measured.
pub(crate) fn only_measured(setup: &mut Setup<f64>, measured: &mut [Measured]) {
    let mut kept: Vec<usize> = measured.iter().map(|m| m.channel).collect();
    kept.sort_unstable();
    kept.dedup();
    setup.channels = kept.iter().map(|&k| setup.channels[k].clone()).collect();
    measured.iter_mut().for_each(|m| m.channel = kept.partition_point(|&k| k < m.channel));
}

/// The numbers that a run of this scenario will have, without values.
pub(crate) fn outline(ready: &Ready) -> Study {
    let Ready { setup, placed, judging, signals, metered, measured, .. } = ready;
    let (placed, judging, signals, metered) = (placed.clone(), judging.clone(), *signals, metered.clone());
    let (title, end, method) = (String::new(), f64::NAN, setup.method.name);
    let facts = Facts { title, end, method, placed, judging, signals, metered };
    let mut study = of_account(&Account::outline(&setup.watches, &facts, setup.thermal.is_some()));
    study.tables.extend(residuals(&Followers::new(measured.clone()).overlays()));
    study
}

/// How far what was measured is from the run, where something was.
pub(crate) fn residuals(overlays: &[overlay::Overlay]) -> Option<StudyTable> {
    (!overlays.is_empty()).then(|| overlay::table(overlays))
}

/// The numbers of a run that is over, or of one of its lanes.
pub(crate) fn of_account(account: &Account) -> Study {
    let mut answers = account.judged();
    answers.extend([
        Answer::count("ledger_residual", "ledger residual", account.residual, "J"),
        Answer::count(
            "ledger_residual_relative",
            "ledger residual against the energy turned over or stored",
            account.relative,
            "1",
        ),
    ]);
    let mut study = Study { answers, tables: tables::tables(account), ..Study::default() };
    account.tell(&mut study);
    study.computation.refined = "steps";
    study
}

/// How far it came, and what that took.
fn work(account: &Account) -> [Answer; 7] {
    let c = &account.counters;
    [
        Answer::count("reached", "simulated time reached", account.reached, "s"),
        Answer::count("steps", "steps taken", c.steps as f64, "1"),
        Answer::count("iterations", "Newton iterations", c.iterations as f64, "1"),
        Answer::count("windows", "windows of fine steps after edges", c.windows as f64, "1"),
        Answer::count("couplings", "exchanges of heat and temperature", c.couplings as f64, "1"),
        Answer::count(
            "stalled",
            "steps of the finest length whose error was above its bound",
            c.stalled as f64,
            "1",
        ),
        Answer::count("stalled_by", "the largest such error over its bound", c.stalled_by, "1"),
    ]
}
