//! This engine: both methods, uniform steps and windows that the program finds, one lane and several.

use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::lockstep::DeviceLanes;
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::recorder::{InMemory, Recorder};
use joulestep_engine::run::abreast::{Abreast, Seating};
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::method::{METHODS, Method};
use joulestep_engine::step::schedule::Steps;
use wide::{f64x4, f64x8};

use crate::case::Case;
use crate::clock;
use crate::ref1::{Duty, Ref1, Varied, gate_course, ref1_varied};
use crate::reference::{Error, Reference};
use crate::table::Row;

/// Uniform steps, s (on REF-1 itself).
const UNIFORM: [f64; 4] = [1e-9, 0.5e-9, 0.25e-9, 0.1e-9];
/// Bounds of the error ratio that opens and ends windows, V and A.
const BOUNDS: [f64; 6] = [0.3, 0.1, 0.03, 0.01, 0.003, 0.001];
/// Step lengths of every row with windows: the program's defaults, but that order 2 needs a shorter finest step for
/// the errors of the table.
fn steps(method: &Method) -> Steps {
    Steps { base: 1e-6, finest: if method.order == 2 { 13 } else { 11 }, hold_off: 2 }
}

/// One row's settings.
#[derive(Clone, Copy)]
struct Settings {
    duty: Duty,
    method: &'static Method,
    steps: Steps,
    bound: f64,
}

/// Repeats a run and gives its processor time in s.
type Again = fn(Settings) -> Result<f64, String>;

/// A row, and what solves it once more: processor time per variant, s.
pub struct Ours {
    rows: Vec<(Row, Settings, Again)>,
    repeats: usize,
}

impl Ours {
    /// Solves every row once and measures its error (of the nominal variant, which has the same bits in lanes).
    pub fn new(reference: &Reference) -> Self {
        let (duty, repeats) = match reference.case {
            Case::Two => (Duty::DoublePulse, 20),
            Case::Many => (Duty::Train(100), 2),
        };
        let mut solved = Vec::new();
        for &method in &METHODS {
            let uniform = UNIFORM.iter().filter(|_| reference.case == Case::Two);
            for &base in uniform {
                let settings =
                    Settings { duty, method, steps: Steps { base, finest: 0, hold_off: 1 }, bound: 0.01 };
                solved.push(first(settings, "uniform", format!("{} ns", base * 1e9), alone));
            }
            let ways: [(&str, Again); 3] =
                [("windows", alone), ("windows x4", abreast::<f64x4>), ("windows x8", abreast::<f64x8>)];
            for (kind, again) in ways {
                let of = |&bound: &f64| {
                    let settings = Settings { duty, method, steps: steps(method), bound };
                    first(settings, kind, format!("{bound} V"), again)
                };
                solved.extend(BOUNDS.iter().map(of));
            }
        }
        let own: Vec<(&[f64], &[f64])> = solved.iter().map(|s| (&s.time[..], &s.v2[..])).collect();
        let errors = reference.on_own_times(&own);
        let mut rows = Vec::new();
        for (k, first) in solved.into_iter().enumerate() {
            let mut row = first.row;
            match &errors {
                Ok(errors) => row.v2 = errors.as_ref().map(|e: &Vec<Error>| e[k]),
                Err(why) => row.failed = Some(why.clone()),
            }
            if row.failed.is_none() {
                row.energies = reference.case.energies(&first.energies);
            }
            rows.push((row, first.settings, first.again));
        }
        Ours { rows, repeats }
    }

    /// The rows with the processor times of one more round: the best of some repeats each.
    pub fn round(&self) -> Vec<Row> {
        let timed = |(row, settings, again): &(Row, Settings, Again)| {
            let mut row = row.clone();
            for _ in 0..self.repeats {
                match again(*settings) {
                    Ok(spent) => row.seconds = row.seconds.min(spent),
                    Err(why) => row.failed = Some(why),
                }
            }
            row
        };
        self.rows.iter().map(timed).collect()
    }
}

/// The first solution of a row, at its own times.
struct First {
    row: Row,
    settings: Settings,
    again: Again,
    time: Vec<f64>,
    v2: Vec<f64>,
    /// J, from edge to edge; entry i begins at edge i.
    energies: Vec<f64>,
}

fn first(settings: Settings, kind: &str, setting: String, again: Again) -> First {
    let mut row = Row::new(&format!("{} {kind}", settings.method.name), setting);
    let (mut time, mut v2, mut energies) = (Vec::new(), Vec::new(), Vec::new());
    match waveform(settings) {
        Ok((memory, run, between)) => {
            time = memory.time;
            v2 = memory.samples.iter().map(|s| s[0]).collect();
            energies = between;
            row.steps = run.counters().steps;
            row.iterations = run.counters().iterations;
        }
        Err(why) => row.failed = Some(why),
    }
    First { row, settings, again, time, v2, energies }
}

/// A variant of a small family around the nominal one, which is the first.
fn variant(duty: Duty, k: usize) -> Varied<f64> {
    let nominal = Varied::<f64>::nominal(duty);
    let gate = [1.0, 0.95, 1.05, 0.97, 1.03, 0.96, 1.04, 1.02];
    let load = [1.0, 1.05, 0.95, 0.98, 1.04, 0.96, 1.02, 1.03];
    Varied {
        gate_resistance: nominal.gate_resistance * gate[k % 8],
        load_inductance: nominal.load_inductance * load[k % 8],
        load_resistance: nominal.load_resistance * load[7 - k % 8] / load[7],
    }
}

fn setup(settings: Settings, k: usize) -> Result<(Setup<f64>, Ref1<f64>), String> {
    let build = || ref1_varied::<f64>(settings.duty, variant(settings.duty, k)).map_err(|e| e.to_string());
    let mut setup = Setup::new(build()?.circuit);
    setup.method = settings.method;
    setup.steps = settings.steps;
    setup.bounds = Bounds::stated(settings.bound, settings.bound);
    Ok((setup, build()?))
}

/// Wall time of the integration alone, s.
fn alone(settings: Settings) -> Result<f64, String> {
    let (setup, about) = setup(settings, 0)?;
    let mut run = setup.ready().map_err(|e| e.to_string())?;
    let start = clock::now();
    run.advance(about.end, &mut ()).map_err(|e| e.to_string())?;
    Ok(clock::now() - start)
}

/// Variants for each lane: one is over, and the next has its lane, as in a batch.
const VARIANTS: usize = 4;

/// The same per variant, of [`VARIANTS`] in each lane of `K`.
fn abreast<K: DeviceLanes>(settings: Settings) -> Result<f64, String> {
    let mut runs = Vec::new();
    for k in 0..VARIANTS * K::WIDTH {
        let (setup, about) = setup(settings, k)?;
        runs.push((setup.ready().map_err(|e| e.to_string())?, about.end));
    }
    let count = runs.len();
    let mut lanes = Abreast::<K>::like(&runs[0].0).ok_or("goes in no lanes")?;
    let mut nobody = vec![(); K::WIDTH];
    let mut recorders: Vec<_> = nobody.iter_mut().map(|r| r as &mut dyn Recorder<f64>).collect();
    let start = clock::now();
    while !runs.is_empty() || lanes.count() > 0 {
        while lanes.has_room()
            && let Some((run, end)) = runs.pop()
        {
            let Seating::Sits(_) = lanes.seat(run, end, &mut ()) else { return Err("no lane".into()) };
        }
        for over in lanes.advance(&mut recorders) {
            over.ended.map_err(|e| e.to_string())?;
        }
    }
    let spent = (clock::now() - start) / count as f64;
    Ok(spent)
}

/// v2 at every step, and the energy into the cascode from each edge to the next.
#[allow(clippy::type_complexity, reason = "one caller")]
fn waveform(settings: Settings) -> Result<(InMemory<f64>, Run<f64>, Vec<f64>), String> {
    let (mut setup, about) = setup(settings, 0)?;
    let [_, switch, .., source, inner] = about.nodes;
    let channel = |probe| Channel { name: "v2".into(), long_name: "switch node".into(), probe };
    setup.channels = vec![channel(Probe::Voltage(switch, GROUND))];
    // i_D = iL − (v2 − v7)/Rs
    let load = Probe::Branch(about.inductors[0], 0);
    let drain = Probe::Sum(vec![(1.0, load), (-1.0 / 20e-3, Probe::Voltage(switch, inner))]);
    setup.integrals = vec![(Probe::Voltage(switch, source), drain)];
    let mut run = setup.ready().map_err(|e| e.to_string())?;
    let mut memory = InMemory::default();
    let recorder: &mut dyn Recorder<f64> = &mut memory;
    // every second point of the course begins an edge
    let mut stops: Vec<f64> = gate_course::<f64>(settings.duty).iter().step_by(2).map(|p| p.0).collect();
    stops.push(about.end);
    let mut total = Vec::new();
    for stop in stops {
        run.advance(stop, recorder).map_err(|e| e.to_string())?;
        total.push(run.integral(0));
    }
    Ok((memory, run, total.windows(2).map(|w| w[1] - w[0]).collect()))
}
