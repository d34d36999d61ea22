//! `double-pulse`: switching energies, times and peaks over a grid of operating points.

mod files;
mod judge;
mod picture;
mod study;
mod table;

use std::io;
use std::path::Path;

use joulestep_engine::measure::switching::Rules;
use joulestep_models::arrangement::double_pulse::{Bench, Point, Snubber, has_kelvin};
use joulestep_models::merit::{Conditions, MeritError, check, gate_on};
use joulestep_models::part::Part;
use rayon::prelude::*;

use self::judge::Judged;
use crate::args::{AssessArgs, DoublePulseArgs, Standard};
use crate::commands::options::{self, Lies, Refused};
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, Streams};
use crate::judge::exit_code;
use crate::progress::Counted;

/// Most operating points of a grid.
const MOST: usize = 100_000;

/// Everything read from the command line, and the two parts.
pub(crate) struct Grid {
    pub part: Part,
    pub upper: Part,
    pub bench: Bench,
    pub points: Vec<Point>,
}

fn bench(args: &DoublePulseArgs, part: &Part, upper: &Part, gate_on: f64) -> Result<Bench, Refused> {
    let positive = |option, text: &str, unit| options::quantity(option, text, unit, Lies::Positive);
    let optional = |option, text: Option<&String>, unit| options::perhaps(option, text, unit, Lies::Positive);
    let capacitance = optional("--snubber-capacitance", args.snubber_capacitance.as_ref(), "F")?;
    let resistance = optional("--snubber-resistance", args.snubber_resistance.as_ref(), "ohm")?;
    if args.kelvin && !has_kelvin(part) {
        let what =
            "asked for with `--kelvin`, but the part's model has no Kelvin source pin with a source lead";
        return Err((format!("{}: {what}", part.name), BAD_INPUT));
    }
    let usual = Bench::new(gate_on, options::quantity("--gate-off", &args.gate_off, "V", Lies::Anywhere)?);
    Ok(Bench {
        loop_inductance: positive("--loop-inductance", &args.loop_inductance, "H")?,
        loop_resistance: options::quantity(
            "--loop-resistance",
            &args.loop_resistance,
            "ohm",
            Lies::NotNegative,
        )?,
        load: optional("--load", args.load.as_ref(), "H")?,
        pause: positive("--pause", &args.pause, "s")?,
        second_pulse: positive("--second-pulse", &args.second_pulse, "s")?,
        ramp: positive("--gate-ramp", &args.gate_ramp, "s")?,
        kelvin: !args.common_source && (has_kelvin(part) || has_kelvin(upper)),
        snubber: capacitance
            .zip(resistance)
            .map(|(capacitance, resistance)| Snubber { capacitance, resistance }),
        rules: match args.standard {
            Standard::Fet => Rules::Fet,
            Standard::Igbt => Rules::Igbt,
        },
        ..usual
    })
}

fn grid(args: &DoublePulseArgs, part: Part, upper: Part) -> Result<Grid, Refused> {
    let list = |option, texts: &[String], unit| options::list(option, texts, unit, Lies::Positive);
    let currents = list("--current", &args.current, "A")?;
    let voltages = list("--voltage", &args.voltage, "V")?;
    let resistances = list("--gate-resistance", &args.gate_resistance, "ohm")?;
    let temperatures = options::list("--temperature", &args.temperature, "degC", Lies::Anywhere)?;
    let count = currents.len() * voltages.len() * resistances.len() * temperatures.len();
    if count > MOST {
        return Err((format!("the grid has {count} operating points; expected at most {MOST}"), BAD_INPUT));
    }
    let mut points = Vec::with_capacity(count);
    for &celsius in &temperatures {
        for &voltage in &voltages {
            for &gate_resistance in &resistances {
                for &current in &currents {
                    points.push(Point { current, voltage, gate_resistance, celsius });
                }
            }
        }
    }
    let wrong = |error: MeritError| (error.to_string(), BAD_INPUT);
    let given_on = options::perhaps("--gate-on", args.gate_on.as_ref(), "V", Lies::Anywhere)?;
    let any = Conditions { gate_on: given_on, ..Conditions::default() };
    let on = gate_on(&part, &any).map_err(wrong)?;
    let on =
        on.ok_or_else(|| (format!("{}: a {} has no gate to be driven", part.name, part.kind), BAD_INPUT))?;
    let bench = bench(args, &part, &upper, on)?;
    for device in [&part, &upper] {
        for (&celsius, &voltage) in temperatures.iter().flat_map(|t| voltages.iter().map(move |v| (t, v))) {
            let c = Conditions { celsius, voltage, gate_on: Some(on), gate_off: bench.gate_off, ..any };
            check(device, &c).map_err(wrong)?;
        }
    }
    Ok(Grid { part, upper, bench, points })
}

/// Runs all points. Each is a computation of its own, so neither order nor number of threads changes a bit.
fn outcomes(grid: &Grid, how: &AssessArgs, keep: bool, quiet: bool) -> Result<Vec<Judged>, Refused> {
    let progress = Counted::new(quiet, grid.points.len() as u64, "operating points");
    let one = |point: &Point| {
        let found = judge::judged(grid, point, how);
        progress.one();
        found
            .map(|mut judged| {
                if !keep {
                    judged.more.waveforms = Default::default();
                }
                judged
            })
            .map_err(|(error, code)| {
                let Point { current, voltage, gate_resistance, celsius } = point;
                let at = format!("{current} A, {voltage} V, {gate_resistance} ohm, {celsius} degC");
                (format!("{} at {at}: {error}", grid.part.name), code)
            })
    };
    // All of them, then the first error in the grid's order: which one is reported does not hang on the threads.
    let all: Vec<Result<Judged, Refused>> = grid.points.par_iter().map(one).collect();
    progress.done();
    all.into_iter().collect()
}

/// Makes a folder ready; a file in it must not exist yet, unless it is to be replaced.
fn folder(path: Option<&Path>) -> Result<(), Refused> {
    let Some(path) = path else { return Ok(()) };
    let reason = |e| crate::scenario::include::reason(&e);
    std::fs::create_dir_all(path)
        .map_err(|e| (format!("cannot make the folder `{}`: {}", path.display(), reason(e)), INPUT_OUTPUT))
}

fn work(args: &DoublePulseArgs, part: Part, upper: Part) -> Result<(Grid, Vec<Judged>), Refused> {
    let grid = grid(args, part, upper)?;
    for path in files::names(args, grid.points.len()).into_iter().chain(args.out.clone()) {
        options::is_new(Some(&path), args.force)?;
    }
    // A result file shows the waveforms of a few points.
    let few = args.out.is_some() && grid.points.len() <= study::DRAWN;
    let keep = args.waveforms.is_some() || args.pictures.is_some() || few;
    let found = outcomes(&grid, &args.assess, keep, args.quiet || args.json || args.csv)?;
    folder(args.waveforms.as_deref())?;
    folder(args.pictures.as_deref())?;
    files::write(args, &grid, &found)?;
    Ok((grid, found))
}

/// Runs a double pulse.
///
/// # Errors
/// When a stream cannot be written.
pub fn double_pulse(args: &DoublePulseArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let names: Vec<String> = std::iter::once(&args.part).chain(&args.upper).cloned().collect();
    let (mut parts, sources) = match options::parts(&names, args.json, streams)? {
        Ok(parts) => parts,
        Err(code) => return Ok(code),
    };
    let upper = parts.pop();
    let part = parts.pop().or_else(|| upper.clone());
    let (Some(part), Some(upper)) = (part, upper) else { return Ok(BAD_INPUT) };
    let (grid, found) = match work(args, part, upper) {
        Ok(done) => done,
        Err(why) => return options::refused(&why, args.json, streams),
    };
    // A grid has a point at least.
    let Some(whole) = judge::over_all(&found) else { return Ok(BAD_INPUT) };
    let file = || study::study(args, &grid, (&found, &whole), &streams.command, sources.full_text());
    if let Err(why) = options::file(args.out.as_deref(), file) {
        return options::refused(&why, args.json, streams);
    }
    let table = table::table(&found, args);
    if args.json {
        streams.json(&table::json(&grid, &table, &whole))?;
    } else if args.csv {
        write!(streams.out, "{}", table.csv())?;
    } else {
        write!(streams.out, "{}", table::text(&grid, &table, &whole))?;
    }
    Ok(exit_code(None, whole.verdict()))
}
