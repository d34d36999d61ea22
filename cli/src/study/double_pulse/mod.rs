//! Switching energies, times and peaks over a grid of operating points.

mod files;
mod judge;
mod picture;
mod table;

use joulestep_engine::measure::switching::Rules;
use joulestep_engine::units::people;
use joulestep_models::arrangement::double_pulse::{Bench, Outcome, Point, Snubber, has_kelvin};
use joulestep_models::merit::{Conditions, MeritError, check, gate_on};
use joulestep_models::model::Range::{Any, NotNegative, Positive};
use joulestep_models::part::Part;
use rayon::prelude::*;

use self::judge::Judged;
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::input::keys::table::keys;
use crate::judge::Level;
use crate::output::answer::{Answer, Computation, Study, StudyFigure};
use crate::progress::Counted;

/// The study.
pub static STUDY: Entry = Entry {
    name: "double-pulse",
    section: &SECTION,
    help: "An inductor is charged to the current through the part, turned off, and turned on again while the upper device \
           carries the current. Gives turn-on, turn-off and recovery energies, delays, rise and fall times, peaks and \
           slopes by published definitions, over all combinations of the currents, voltages, gate resistances and \
           temperatures given. The waveforms behind each number are kept with --waveforms and --pictures.\n\nEvery number \
           has its numerical error (±) beside it, from two coarser computations of the same point. Voltages, currents and \
           the stated junction temperature are judged by the ratings of both devices, at the most extreme point of all.",
    examples: "joulestep double-pulse cascode-700v-22m --current \"20 A,40 A,60 A\" --temperature \"25 degC,125 degC\"\n\
               joulestep double-pulse mosfet-sic-700v-12m --upper diode-sic-700v-50a --current \"40 A\" --csv > table.csv",
    inputs: &[
        Input { key: Asked::part, root: "part", what: What::Part, count: Count::One, positional: true },
        Input { key: Asked::upper, root: "upper", what: What::Part, count: Count::One, positional: false },
    ],
    trial: Trial {
        args: &["mosfet-sic-700v-12m", "--current", "20 A", "--gate-on", "16 V"],
        vary: ("gate-on", ["16 V", "15 V"]),
    },
    refines: "steps",
    writes: &[(Asked::waveforms, true), (Asked::pictures, true)],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "double-pulse":
        "Switching energies, times and peaks of a part by double pulses";
    need part: Files, "part under test: a shipped part by name, or a part file ending in .toml";
    may upper: Files,
        "upper device: a part of the same kind with its gate off, or a diode; without it a second part under test";
    need current: Quantities("A", Positive), "currents to be switched, separated by commas";
    may voltage: Quantities("V", Positive), "supply voltages", or 400.0;
    may gate_resistance: Quantities("ohm", Positive), "gate resistances outside the part", or 5.0;
    may temperature: Quantities("degC", Any), "junction temperatures of both devices", or 25.0;
    may gate_on: Quantity("V", Any),
        "gate level that turns on; without it the voltage at which the part states its on-resistance";
    may gate_off: Quantity("V", Any), "gate level that turns off, of both devices", or 0.0;
    may gate_ramp: Quantity("s", Positive), "duration of the gate source's ramps", or 5e-9;
    may kelvin: Flag,
        "the gate returns to the part's Kelvin source pin or the study refuses; without this it does so where the part has that pin", else false;
    may common_source: Flag,
        "the gate returns to the power source pin also where the part has a Kelvin source", else false;
    may loop_inductance: Quantity("H", Positive),
        "stray inductance of the power loop outside the parts", or 20e-9;
    may loop_resistance: Quantity("ohm", NotNegative), "resistance of the power loop", or 5e-3;
    may load: Quantity("H", Positive),
        "load inductance; without it such that the first pulse takes 10 us";
    may pause: Quantity("s", Positive), "time between the pulses", or 2e-6;
    may second_pulse: Quantity("s", Positive), "length of the second pulse", or 2e-6;
    may snubber_capacitance: Quantity("F", Positive),
        "capacitance of a snubber from drain to source of each device";
    may snubber_resistance: Quantity("ohm", Positive), "its resistance";
    may standard: Word(&["iec-60747-8", "iec-60747-9"]),
        "whose definitions of times and energies hold: of field-effect transistors (energies between 10 % and 10 %), or of insulated-gate bipolar transistors (from the gate's edge to 2 %)";
    may waveforms: Text, "folder for the waveforms of every operating point: a result file each (HDF5)";
    may pictures: Text,
        "folder for pictures: the waveforms of every operating point, and the energies over the grid (SVG)";
}

/// Most operating points of a grid.
const MOST: usize = 100_000;
/// Most operating points that are answers of their own; more stand in the tables only.
const ANSWERED: usize = 16;
/// Most operating points whose waveforms are drawn.
const DRAWN: usize = 4;

/// What is asked, and the two parts.
struct Grid {
    part: Part,
    upper: Part,
    bench: Bench,
    points: Vec<Point>,
}

fn bench(
    question: &Question,
    asked: &Asked,
    part: &Part,
    upper: &Part,
    gate_on: f64,
) -> Result<Bench, StudyError> {
    let snubber = match (asked.snubber_capacitance, asked.snubber_resistance) {
        (Some(capacitance), Some(resistance)) => Some(Snubber { capacitance, resistance }),
        (None, None) => None,
        (Some(_), None) => {
            return Err(question.wrong(
                Asked::snubber_capacitance,
                "no `snubber-resistance`",
                "both, or none",
            ));
        }
        (None, Some(_)) => {
            return Err(question.wrong(
                Asked::snubber_resistance,
                "no `snubber-capacitance`",
                "both, or none",
            ));
        }
    };
    let (kelvin, common) = (asked.kelvin, asked.common_source);
    if kelvin && common {
        return Err(question.wrong(Asked::kelvin, "`common-source` too", "one of them"));
    }
    if kelvin && !has_kelvin(part) {
        let what =
            "asked for with `--kelvin`, but the part's model has no Kelvin source pin with a source lead";
        return Err(StudyError::Refused(format!("{}: {what}", part.name)));
    }
    Ok(Bench {
        loop_inductance: asked.loop_inductance,
        loop_resistance: asked.loop_resistance,
        load: asked.load,
        pause: asked.pause,
        second_pulse: asked.second_pulse,
        ramp: asked.gate_ramp,
        kelvin: !common && (has_kelvin(part) || has_kelvin(upper)),
        snubber,
        rules: if asked.standard.as_deref() == Some("iec-60747-9") { Rules::Igbt } else { Rules::Fet },
        ..Bench::new(gate_on, asked.gate_off)
    })
}

fn grid(question: &Question) -> Result<Grid, StudyError> {
    let Some(part) = question.parts(Asked::part).first().cloned() else {
        return Err(question.wrong(Asked::part, "missing", "a part"));
    };
    let upper = question.parts(Asked::upper).first().unwrap_or(&part).clone();
    let asked = question.asked(Asked::read)?;
    let (currents, voltages) = (&asked.current, &asked.voltage);
    let (resistances, temperatures) = (&asked.gate_resistance, &asked.temperature);
    let count = currents.len() * voltages.len() * resistances.len() * temperatures.len();
    if !(1..=MOST).contains(&count) {
        let found = format!("the grid has {count} operating points");
        return Err(question.wrong(Asked::current, found, format!("at least one, at most {MOST}")));
    }
    let mut points = Vec::with_capacity(count);
    for &celsius in temperatures {
        for &voltage in voltages {
            for &gate_resistance in resistances {
                points.extend(currents.iter().map(|&current| Point {
                    current,
                    voltage,
                    gate_resistance,
                    celsius,
                }));
            }
        }
    }
    let wrong = |error: MeritError| StudyError::Refused(error.to_string());
    let any = Conditions { gate_on: asked.gate_on, ..Conditions::default() };
    let on = gate_on(&part, &any).map_err(wrong)?;
    let none = || StudyError::Refused(format!("{}: a {} has no gate to be driven", part.name, part.kind));
    let on = on.ok_or_else(none)?;
    let bench = bench(question, &asked, &part, &upper, on)?;
    for device in [&part, &upper] {
        for (&celsius, &voltage) in temperatures.iter().flat_map(|t| voltages.iter().map(move |v| (t, v))) {
            let c = Conditions { celsius, voltage, gate_on: Some(on), gate_off: bench.gate_off, ..any };
            check(device, &c).map_err(wrong)?;
        }
    }
    Ok(Grid { part, upper, bench, points })
}

/// Runs all points. Each is a computation of its own, so neither order nor number of threads changes a bit.
fn outcomes(grid: &Grid, keep: bool, context: &Context<'_>) -> Result<Vec<Judged>, StudyError> {
    let progress = Counted::new(context.quiet, grid.points.len() as u64, "operating points");
    let one = |point: &Point| {
        context.go_on()?;
        let mut found = judge::judged(grid, point, context.level)?;
        progress.one();
        if !keep {
            found.outcome.waveforms = Default::default();
        }
        Ok(found)
    };
    // All of them, then the first error in the grid's order: which one is reported does not hang on the threads.
    let all: Vec<Result<Judged, StudyError>> = grid.points.par_iter().map(one).collect();
    progress.done();
    all.into_iter().collect()
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let grid = grid(question)?;
    let (stated, last) = (context.level == Level::STATED, context.level <= Level::STATED);
    let writes = stated && files::asked_for(question);
    if writes {
        files::ready(question, grid.points.len())?;
    }
    let found = outcomes(&grid, writes || last && grid.points.len() <= DRAWN, context)?;
    if writes {
        files::write(question, &grid, &found)?;
    }
    let outcomes: Vec<&Outcome> = found.iter().map(|j| &j.outcome).collect();
    let (mut doubts, mut notes) = judge::remarks(&found);
    let larger = |a: f64, b: f64| if b > a || b.is_nan() { b } else { a };
    let residual = outcomes.iter().map(|o| o.ledger.relative()).fold(0.0, larger);
    notes.push(format!("largest ledger residual {residual:.1e} of the energy turned over or stored"));
    // Written so that a residual that is not a number is reported too.
    let closes = residual <= table::CLOSES;
    if !closes {
        doubts.push("the ledger does not close: do not trust these energies".into());
    }
    let definitions = table::definitions(&grid).into_iter().map(|(s, words)| (s.to_string(), words));
    Ok(Study {
        title: format!("What does {} lose when it switches, with {} above?", grid.part.name, grid.upper.name),
        answers: answers(&found),
        doubts,
        notes,
        conditions: vec![
            format!("Circuit: {}.", table::circuit(&grid)),
            "Junction temperatures are held over the pulses.".into(),
        ],
        definitions: definitions.collect(),
        tables: table::tables(&found),
        figures: if last { figures(&grid, &outcomes) } else { Vec::new() },
        computation: Computation {
            steps: outcomes.iter().map(|o| o.counters.steps).sum(),
            iterations: outcomes.iter().map(|o| o.counters.iterations).sum(),
            stalled: outcomes.iter().any(|o| o.counters.stalled > 0),
            refined: "steps",
            ..Computation::default()
        },
        ..Study::default()
    })
}

/// Of a single point its numbers by their plain names; of several the energies of each by its place in the grid, and
/// the point of most energy. Then what the ratings bound.
fn answers(found: &[Judged]) -> Vec<Answer> {
    let mut out = Vec::new();
    match found {
        [one] => out.extend(table::answers("", "", one, false)),
        many if many.len() <= ANSWERED => {
            for (k, j) in many.iter().enumerate() {
                let before = format!("point-{}.", k + 1);
                out.extend(table::answers(&before, &format!("point {}: ", k + 1), j, true));
            }
        }
        _ => {}
    }
    if found.len() > 1 {
        let energy = |o: &Outcome| o.on.energy + o.off.energy;
        let all = || found.iter().map(|j| &j.outcome);
        if let Some(worst) = all().max_by(|a, b| energy(a).total_cmp(&energy(b))) {
            let p = &worst.point;
            let at = [(p.current, "A"), (p.voltage, "V"), (p.gate_resistance, "ohm"), (p.celsius, "degC")];
            let at = at.map(|(x, unit)| people(x, unit)).join(", ");
            let words = "largest E_on + E_off of all points";
            out.push(
                Answer::new("largest.switching_energy", words, energy(worst), "J").remark(format!("at {at}")),
            );
        }
    }
    out.extend(judge::answers(found));
    out
}

fn figures(grid: &Grid, found: &[&Outcome]) -> Vec<StudyFigure> {
    let mut out = vec![StudyFigure::new(
        "Switching energies against the current; a curve for each temperature, voltage and gate resistance.",
        picture::energies(grid, found),
    )];
    out.extend(found.iter().filter(|o| !o.waveforms.time.is_empty()).take(DRAWN).map(|o| {
        StudyFigure::new(
            "Waveforms of an operating point around turn-off and turn-on; shaded: the limits of the integrals.",
            picture::point(grid, o),
        )
    }));
    out
}
