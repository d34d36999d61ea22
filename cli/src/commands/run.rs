//! `run`: the main job, from scenario to result file and account.

use std::io;
use std::path::Path;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::recorder::{Event, Layout, Recorder, Row};
use joulestep_engine::run::setup::Refusal;
use joulestep_engine::run::time_loop::{Ended, Run};

use crate::account::happened::Happened;
use crate::account::{Account, Facts, Outcome, json, store, text};
use crate::args::RunArgs;
use crate::commands::asked::{is_new, refused};
use crate::commands::refuse;
use crate::exit::{BAD_INPUT, DONE, FAILS, INPUT_OUTPUT, INTERRUPTED, NUMERICAL, Streams};
use crate::progress::Progress;
use crate::result::{ResultError, ResultWriter, Verdict, WriterOptions};
use crate::scenario::build::build;
use crate::scenario::include::open;
use crate::scenario::resolve::{Trouble, read};

/// Set when the user asks to stop.
static STOP: AtomicBool = AtomicBool::new(false);
static LISTENING: OnceLock<()> = OnceLock::new();

/// Writes to the file, keeps the events, shows progress, and stops when asked.
struct Onlooker {
    writer: ResultWriter,
    happened: Happened,
    progress: Progress,
}

impl Recorder<f64> for Onlooker {
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
        self.happened.push(event);
    }
    fn row(&mut self, row: &Row<f64>) {
        self.writer.row(row);
    }
    fn go_on(&mut self, t: f64) -> bool {
        self.progress.at(t);
        Recorder::<f64>::go_on(&mut self.writer, t) && !STOP.load(Ordering::Relaxed)
    }
}

/// Runs a scenario.
///
/// # Errors
/// When a stream cannot be written.
pub fn run(args: &RunArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let scenario = match read(&args.scenario, &open) {
        Ok(scenario) => scenario,
        Err(trouble) => return refuse(&trouble, &args.scenario, args.json, streams),
    };
    let ready = match build(&scenario) {
        Ok(ready) => ready,
        Err(refusal) => return refuse(&Trouble::Refused(refusal), &args.scenario, args.json, streams),
    };
    if let Err(why) = is_new(Some(&args.out), args.force) {
        return refused(&why, args.json, streams);
    }
    let mut facts = Facts {
        title: scenario.title.clone(),
        end: scenario.steps.end,
        method: ready.setup.method.name,
        placed: ready.placed,
        judged: ready.judged,
        signals: ready.signals,
    };
    let run = match ready.setup.ready() {
        Ok(run) => run,
        Err(refusal) => {
            let code = if matches!(refusal, Refusal::Start(_)) { NUMERICAL } else { BAD_INPUT };
            return refused(&(refusal.to_string(), code), args.json, streams);
        }
    };
    facts.method = run.method();
    let writer =
        match ResultWriter::create(&args.out, &scenario.sources.full_text(), WriterOptions::default()) {
            Ok(writer) => writer,
            Err(error) => return refused(&(error.to_string(), INPUT_OUTPUT), args.json, streams),
        };
    match carry_through(run, writer, &facts, args.quiet || args.json) {
        Ok((account, bytes)) => report(&account, &args.out, bytes, args, streams),
        Err(error) => refused(&(error.to_string(), INPUT_OUTPUT), args.json, streams),
    }
}

/// Listens for Ctrl-C from now on; what is given back is set by it.
pub(crate) fn listen() -> &'static AtomicBool {
    STOP.store(false, Ordering::Relaxed);
    // One handler for the process; where none can be set, Ctrl-C ends the program and files keep their checkpoints.
    LISTENING.get_or_init(|| {
        let _ = ctrlc::set_handler(|| STOP.store(true, Ordering::Relaxed));
    });
    &STOP
}

/// What is set once the user asks to stop.
pub(crate) fn stopped() -> &'static AtomicBool {
    &STOP
}

/// From the first step to the closed file: the account and the file's size.
fn carry_through(
    mut run: Run<f64>,
    writer: ResultWriter,
    facts: &Facts,
    quiet: bool,
) -> Result<(Account, u64), ResultError> {
    listen();
    let mut onlooker =
        Onlooker { writer, happened: Happened::default(), progress: Progress::new(quiet, facts.end) };
    let outcome = match run.advance(facts.end, &mut onlooker) {
        Ok(Ended::Reached) => Outcome::Done,
        Ok(Ended::Stopped) => Outcome::Interrupted,
        Err(trouble) => Outcome::Failed(trouble.to_string()),
    };
    run.finish(&mut onlooker);
    onlooker.progress.done();
    let account = Account::new(&run, facts, onlooker.happened.lines(), outcome);
    let complete = account.outcome == Outcome::Done;
    let ledger = store::ledger(&run.ledger());
    let finished = onlooker.writer.finish(complete, Some(&ledger), Some(&store::summary(&account)))?;
    Ok((account, finished.bytes))
}

fn report(
    account: &Account,
    out: &Path,
    bytes: u64,
    args: &RunArgs,
    streams: &mut Streams<'_>,
) -> io::Result<u8> {
    if args.json {
        streams.json(&json::json(account, out))?;
    } else {
        write!(streams.out, "{}", text::text(account))?;
        writeln!(streams.out, "Written: {} ({:.1} MB)", out.display(), bytes as f64 / 1e6)?;
    }
    Ok(match (&account.outcome, account.verdict()) {
        (Outcome::Failed(why), _) => {
            if !args.json {
                writeln!(streams.err, "{why}")?;
            }
            NUMERICAL
        }
        (Outcome::Interrupted, _) => INTERRUPTED,
        (Outcome::Done, Verdict::Fails) => FAILS,
        (Outcome::Done, _) => DONE,
    })
}
