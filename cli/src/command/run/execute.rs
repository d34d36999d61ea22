//! A run from its first step to the closed file, and beside it the two coarser runs that estimate its errors.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::error::SolverError;
use joulestep_engine::recorder::{Event, Layout, Recorder, Row};
use joulestep_engine::run::setup::Refusal;
use joulestep_engine::run::time_loop::{Ended, Run};

use super::spread::Spreading;
use super::stopped;
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, INTERRUPTED, NUMERICAL};
use crate::input::scenario::build::{Ready, Reductions, build_with};
use crate::input::scenario::resolved::Scenario;
use crate::judge::{Computed, Level, coarser, errors};
use crate::output::account::event_lines::EventLines;
use crate::output::account::numbers::Course;
use crate::output::account::{Account, Cost, Facts, Outcome, store};
use crate::output::result::{LedgerTable, ResultError, ResultWriter, WriterOptions};
use crate::output::written::Refused;
use crate::progress::Progress;

/// Writes to the file, keeps the events, shows progress, and stops when asked.
struct Observer {
    writer: ResultWriter,
    events: EventLines,
    /// What protection did.
    acts: Vec<String>,
    progress: Progress,
}

impl Recorder<f64> for Observer {
    fn begin(&mut self, layout: &Layout) {
        self.writer.begin(layout);
    }
    fn sample(&mut self, t: f64, values: &[f64]) {
        self.writer.sample(t, values);
    }
    fn thermal(&mut self, t: f64, celsius: &[f64]) {
        self.writer.thermal(t, celsius);
    }
    fn event(&mut self, event: &Event) {
        self.writer.event(event);
        self.events.push(event);
        self.acts.extend(Course::of(event));
    }
    fn row(&mut self, row: &Row<f64>) {
        self.writer.row(row);
    }
    fn go_on(&mut self, t: f64) -> bool {
        self.progress.at(t);
        Recorder::<f64>::go_on(&mut self.writer, t) && !stopped().load(Ordering::Relaxed)
    }
}

/// What is run, and where it goes.
pub(super) struct Job<'a> {
    pub scenario: &'a Scenario,
    /// Packages that were solved before.
    pub reductions: &'a Reductions,
    /// The result file.
    pub out: &'a Path,
    /// Whether no progress is shown.
    pub quiet: bool,
    /// What is reported of the spread of the input.
    pub spread: Option<&'a Spreading<'a>>,
}

/// A run that is over; its file waits for the summary.
pub(super) struct Executed {
    pub account: Account,
    writer: ResultWriter,
    ledger: LedgerTable,
    /// What protection did.
    acts: Vec<String>,
}

impl Executed {
    /// Its numbers.
    pub fn computed(&self) -> Computed {
        self.account.computed(self.acts.clone())
    }

    /// Closes the file. Gives its size.
    pub fn finish(self) -> Result<(Account, u64), Refused> {
        let complete = self.account.outcome == Outcome::Done;
        let summary = store::summary(&self.account);
        let finished = self.writer.finish(complete, Some(&self.ledger), Some(&summary));
        Ok((self.account, finished.map_err(unwritten)?.bytes))
    }
}

fn unwritten(error: ResultError) -> Refused {
    (error.to_string(), INPUT_OUTPUT)
}

impl Job<'_> {
    /// Runs, and with `estimate` also coarser, side by side.
    pub fn run(&self, ready: Ready, estimate: bool) -> Result<(Account, u64), Refused> {
        let (run, facts) = self.begin(ready, Level::STATED)?;
        let writer = self.create()?;
        let halt = AtomicBool::new(false);
        if !estimate {
            let mut executed = self.execute(run, &facts, writer);
            self.add_spread(&mut executed, &halt);
            return executed.finish();
        }
        let fine = || {
            let executed = self.execute(run, &facts, writer);
            // What came early to its end has nothing to compare.
            halt.store(executed.account.outcome != Outcome::Done, Ordering::Relaxed);
            executed
        };
        let (mut executed, coarser) = rayon::join(fine, || coarser(|level| self.coarse(level, &halt)));
        if executed.account.outcome == Outcome::Done {
            let found = errors(&executed.computed(), &coarser);
            executed.account.adopt(found);
            let cost = |of: fn(&Computed) -> u64| -> u64 { coarser.iter().flatten().map(of).sum() };
            executed.account.estimate =
                Some(Cost { steps: cost(|c| c.steps), iterations: cost(|c| c.iterations) });
        }
        self.add_spread(&mut executed, &halt);
        executed.finish()
    }

    fn add_spread(&self, executed: &mut Executed, halt: &AtomicBool) {
        let done = executed.account.outcome == Outcome::Done && !stopped().load(Ordering::Relaxed);
        if let Some(spread) = self.spread.filter(|_| done) {
            let centre = executed.computed();
            spread.add_to(&mut executed.account, &centre, self, halt);
        }
    }

    /// What is run at a level.
    pub fn begin(&self, ready: Ready, level: Level) -> Result<(Run<f64>, Facts), Refused> {
        let Ready { mut setup, placed, judging, signals, metered, .. } = ready;
        level.apply(&mut setup);
        setup.halt = Some(stopped());
        let (title, end) = (self.scenario.title.clone(), self.scenario.steps.end);
        let mut facts = Facts { title, end, method: setup.method.name, placed, judging, signals, metered };
        let run = setup.ready().map_err(|refusal| {
            let code = match refusal {
                Refusal::Start(SolverError::Interrupted) => INTERRUPTED,
                Refusal::Start(_) => NUMERICAL,
                _ => BAD_INPUT,
            };
            (refusal.to_string(), code)
        })?;
        facts.method = run.method();
        Ok((run, facts))
    }

    /// The scenario built anew.
    pub fn ready(&self) -> Result<Ready, Refused> {
        build_with(self.scenario, self.reductions).map_err(|refusal| {
            let lines: Vec<String> = refusal.diagnostics.iter().map(|d| d.line()).collect();
            (lines.join("; "), BAD_INPUT)
        })
    }

    /// A new result file.
    pub fn create(&self) -> Result<ResultWriter, Refused> {
        ResultWriter::create(self.out, &self.scenario.sources, WriterOptions::default()).map_err(unwritten)
    }

    /// From the first step to the last.
    pub fn execute(&self, mut run: Run<f64>, facts: &Facts, writer: ResultWriter) -> Executed {
        let mut observer = Observer {
            writer,
            events: EventLines::default(),
            acts: Vec::new(),
            progress: Progress::new(self.quiet, facts.end),
        };
        let outcome = match run.advance(facts.end, &mut observer) {
            Ok(Ended::Reached) => Outcome::Done,
            Ok(Ended::Stopped) => Outcome::Interrupted,
            Err(error) => Outcome::Failed(error.to_string()),
        };
        run.finish(&mut observer);
        observer.progress.done();
        let account = Account::new(&run, facts, observer.events.lines(), outcome);
        let ledger = store::ledger(&run.ledger());
        Executed { account, writer: observer.writer, ledger, acts: observer.acts }
    }

    /// A coarser run: its numbers only.
    pub fn coarse(&self, level: Level, halt: &AtomicBool) -> Result<Computed, String> {
        let describe = |(why, _): Refused| why;
        let mut ready = self.ready().map_err(describe)?;
        ready.setup.channels.clear();
        let (mut run, facts) = self.begin(ready, level).map_err(describe)?;
        let mut course = Course { acts: Vec::new(), events: EventLines::default(), stop: halt };
        match run.advance(facts.end, &mut course) {
            Ok(Ended::Reached) => {}
            Ok(Ended::Stopped) => return Err("it was stopped".into()),
            Err(error) => return Err(error.to_string()),
        }
        run.finish(&mut course);
        let account = Account::new(&run, &facts, course.events.lines(), Outcome::Done);
        Ok(account.computed(course.acts))
    }
}
