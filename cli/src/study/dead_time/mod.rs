//! Dead time of a leg: losses, soft switching, the dead time of least loss.

mod leg;
mod own;
mod tables;

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use joulestep_engine::units::people;
use joulestep_models::arrangement::cycle::Guess;
use joulestep_models::arrangement::dead_time::{Kind, Load, PARAMS, Point, least};
use joulestep_models::model::Range::{Any, NotNegative, Positive};
use rayon::prelude::*;

use self::leg::{Leg, Of, at};
use self::tables::{DEFINITIONS, NUMBERS, devices, picture, table};
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::input::keys::shape::Key;
use crate::input::keys::table::keys;
use crate::judge::Level;
use crate::output::answer::{Answer, Study, StudyFigure};
use crate::progress::Counted;

/// The study.
pub static STUDY: Entry = Entry {
    name: "dead-time",
    section: &SECTION,
    help: "A half-bridge with a constant load current, or with an inductive load whose current reverses, is brought to its periodic steady state for every dead time and \
           current; the losses of a period are sorted by what each switch does. Charge balance of the output capacitances \
           gives the dead time from which switching is soft; where the current reverses, there is one up to which it is.\n\n\
           A scenario with a circuit of its own and a `[cycle]` is solved as it stands, with the dead time of its leg varied: load, gate drives and \
           heat paths are its own. A batch varies its values under `scenario`: `scenario.component.load.resistance`.",
    examples: "joulestep dead-time cascode-700v-22m --dead-time \"40 ns,80 ns,160 ns\" --current \"10 A,-10 A\"\n\
               joulestep dead-time cascode-700v-22m --dead-time \"60 ns,0.2 us,2.4 us\" --inductance \"50 uH\"\n\
               joulestep dead-time --scenario examples/ferry-half-bridge.toml --dead-time \"60 ns,120 ns\" --current \"20 A\"\n\
               joulestep dead-time --scenario examples/ferry-interleaved.toml --midpoint a-mid --dead-time \"60 ns,150 ns\"",
    inputs: &[
        Input { key: Asked::part, root: "part", what: What::Part, count: Count::One, positional: true },
        Input { key: Asked::upper, root: "upper", what: What::Part, count: Count::One, positional: false },
        Input { key: Asked::lower, root: "lower", what: What::Part, count: Count::One, positional: false },
        Input {
            key: Asked::scenario,
            root: "scenario",
            what: What::Circuit,
            count: Count::One,
            positional: false,
        },
    ],
    trial: Trial {
        args: &["cascode-700v-22m", "--dead-time", "40 ns,120 ns", "--current", "20 A", "--voltage", "400 V"],
        vary: ("voltage", ["400 V", "380 V"]),
    },
    refines: "steps",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "dead-time":
        "Dead time of a leg: losses, soft switching, the dead time of least loss";
    may part: Files, "part of both switches: shipped by name, or a part file";
    may upper: Files, "part of the upper switch, where it differs";
    may lower: Files, "part of the lower switch, where it differs";
    may scenario: Files, "scenario file: an arrangement with an upper and a lower switch, or a circuit of its own with a `[cycle]`";
    may midpoint: OneOrMore,
        "node between the switches of the leg that is studied, where a circuit of its own has several; of further ones the dead time varies with it";
    need dead_time: Quantities("s", NotNegative), "dead times, rising";
    may current: Quantities("A", Any),
        "constant load currents out of the leg; negative: into it. A circuit of its own has its load";
    may inductance: Quantities("H", Positive),
        "inductances of a load whose current reverses, in place of `current`: both switches can turn on softly";
    may resolution: Quantity("s", Positive),
        "how closely the dead time of least loss is searched between those of the list; without it not at all";
    may voltage: Quantity("V", Positive), "supply voltage; without it the scenario's, or 400 V";
    may frequency: Quantity("Hz", Positive), "switching frequency; without it the scenario's, or 100 kHz";
    may gate_resistance: Quantity("ohm", Positive),
        "gate resistance outside the parts; without it the scenario's, or 5 ohm";
    may gate_off: Quantity("V", Any), "gate level that turns off; without it the scenario's, or 0 V";
    may gate_off_resistance: Quantity("ohm", Positive),
        "gate resistance outside the parts while off; without it the scenario's, or as on";
    may temperature: Quantity("degC", Any),
        "junction temperature of both switches; without it the scenario's, or 25 degC";
    may loop_inductance: Quantity("H", NotNegative),
        "stray inductance of the power loop; without it the scenario's, or 20 nH";
    may leg: Parameters("half-bridge", PARAMS), "the leg, as in an [arrangement]";
}

/// Most points of a study.
const MOST: usize = 10_000;

/// What is reported of the point of least loss.
const OF_BEST: &[tables::Column] = &[
    ("losses", "least loss of a period", "J", |p| p.losses),
    ("diode", "E_diode there", "J", |p| p.diode),
    ("turn-on", "E_on there", "J", |p| p.turn_on),
    ("turn-off", "E_off there", "J", |p| p.turn_off),
    ("recovery", "E_rr there", "J", |p| p.recovery),
    ("conduction", "E_cond there", "J", |p| p.conduction),
    ("efficiency", "efficiency there", "1", |p| p.efficiency),
    ("node-voltage", "v_soft(on) there", "V", |p| p.soft.map_or(f64::NAN, |t| t.voltage)),
    ("excess-charge", "Q - Q_oss there", "C", |p| p.commutation.1),
];

impl Asked {
    /// Parameters of the shipped leg that the study has under names of its own.
    fn named(&self) -> [(Key, &'static str, Option<f64>); 7] {
        [
            (Self::voltage, "supply-voltage", self.voltage),
            (Self::frequency, "frequency", self.frequency),
            (Self::gate_resistance, "gate-resistance", self.gate_resistance),
            (Self::gate_off, "gate-off", self.gate_off),
            (Self::gate_off_resistance, "gate-off-resistance", self.gate_off_resistance),
            (Self::temperature, "junction-temperature", self.temperature),
            (Self::loop_inductance, "loop-inductance", self.loop_inductance),
        ]
    }
}

/// What was found of a load.
struct Series {
    /// Its current in words, or where the leg stands.
    name: String,
    /// By dead time.
    points: Vec<Point>,
    /// The point of least loss, and how far the least of all may lie from it, s.
    best: Option<(Point, f64)>,
    /// Where charge balance puts the end of the swing, s.
    balance: f64,
    /// The dead time at which the current reverses, s: not a number where it is not seen to, `None` where it cannot.
    reverses: Option<f64>,
}

/// When the current reverses: read from the longest dead time that ends before, else from the shortest after it.
fn reversal(points: &[Point]) -> Option<f64> {
    let of = |p: &Point| Some((p.dead_time, p.soft.map(|t| t.reverses).filter(|t| t.is_finite())?));
    let seen = || points.iter().filter_map(of);
    let before = seen().rfind(|(dead_time, at)| dead_time <= at);
    before.or_else(|| seen().next()).map(|found| found.1)
}

/// Steady states of the points by load and dead time (its bits), for coarser computations to begin from.
#[derive(Default)]
struct Guesses(BTreeMap<(usize, u64), Guess>);

/// The loads, as currents or as inductances; one that a circuit of its own brings is none.
fn loads(q: &Question, asked: &Asked, leg: &Leg<'_>) -> Result<Vec<Option<Load>>, StudyError> {
    if let Of::Own(_) = leg.of {
        return match Leg::load_key(asked) {
            None => Ok(vec![None]),
            Some(key) => {
                let found = format!("`{}` beside a circuit of its own", key.name);
                Err(q.wrong(key, found, "none: the circuit has its load"))
            }
        };
    }
    let (currents, inductances) = (&asked.current, &asked.inductance);
    match (currents.is_empty(), inductances.is_empty()) {
        (false, true) => Ok(currents.iter().map(|i| Some(Load::Constant(*i))).collect()),
        (true, false) => Ok(inductances.iter().map(|l| Some(Load::Reversing(*l))).collect()),
        (none, _) => {
            let found = if none { "no load" } else { "both are given" };
            Err(q.wrong(Asked::current, found, "either `current` or `inductance`"))
        }
    }
}

/// All points, by load.
fn find_all(
    q: &Question,
    asked: &Asked,
    leg: &Leg<'_>,
    context: &Context<'_>,
) -> Result<Vec<Series>, StudyError> {
    let (times, loads) = (&asked.dead_time, loads(q, asked, leg)?);
    if times.is_empty() || !times.is_sorted_by(|a, b| a < b) {
        let shown: Vec<String> = times.iter().map(|t| people(*t, "s")).collect();
        return Err(q.wrong(Asked::dead_time, shown.join(", "), "dead times, rising"));
    }
    let count = times.len() * loads.len();
    if count > MOST {
        return Err(q.wrong(Asked::dead_time, format!("{count} points"), format!("at most {MOST}")));
    }
    let known = q.left::<Guesses>();
    let made: Mutex<Guesses> = Mutex::default();
    let coarser = context.level > Level::STATED;
    let solved = |time: f64, k: usize| {
        let (key, asked) = ((k, time.to_bits()), (time, loads[k]));
        let from = known.as_ref().and_then(|known| known.0.get(&key));
        let found = match leg.point(asked, (from, false), context) {
            // Steps too coarse to close a period by: from where the state is, they tell how far they go away from it.
            Err(StudyError::Numerical(_)) if coarser => match from {
                Some(from) => leg.point(asked, (Some(from), true), context),
                None => {
                    let (_, stated) = leg.point(asked, (None, false), &context.at(Level::STATED))?;
                    leg.point(asked, (Some(&stated), true), context)
                }
            },
            found => found,
        };
        let (point, guess) = found.map_err(|e| match e {
            StudyError::Numerical(why) => {
                let current = loads[k].and_then(|load| leg.current(load));
                StudyError::Numerical(format!("{}: {why}", at(time, current)))
            }
            other => other,
        })?;
        if context.level == Level::STATED {
            made.lock().unwrap_or_else(PoisonError::into_inner).0.insert(key, guess);
        }
        Ok(point)
    };
    let progress = Counted::new(context.quiet, count as u64, "points");
    let grid: Vec<(f64, usize)> = (0..loads.len()).flat_map(|k| times.iter().map(move |&t| (t, k))).collect();
    // The first error in the grid's order, whatever the threads.
    let all: Vec<Result<Point, StudyError>> = grid
        .par_iter()
        // One point tells the names of all.
        .take(if context.sketch { 1 } else { grid.len() })
        .map(|&(time, k)| {
            let found = solved(time, k);
            progress.one();
            found
        })
        .collect();
    progress.done();
    let mut points = all.into_iter().collect::<Result<Vec<_>, _>>()?;
    if let ([first], true) = (points.as_slice(), context.sketch) {
        points = grid.iter().map(|&(dead_time, _)| Point { dead_time, ..first.clone() }).collect();
    }
    let series: Vec<(usize, &[Point])> = points.chunks(times.len()).enumerate().collect();
    let found: Vec<Result<Series, StudyError>> = series
        .par_iter()
        .map(|&(k, points)| {
            let best = match context.sketch {
                true => points.first().map(|p| (p.clone(), 0.0)),
                false => least(points, asked.resolution, |time| solved(time, k))?,
            };
            let name = match &leg.of {
                Of::Shipped(_) => people(points[0].current, "A"),
                Of::Own(own) => own.midpoint.clone(),
            };
            let balance = best.as_ref().map_or(f64::NAN, |b| leg.balance(&b.0));
            let reverses = match loads[k] {
                None => Some(reversal(points).unwrap_or(f64::NAN)),
                load => leg.reverses(load),
            };
            Ok(Series { name, points: points.to_vec(), best, balance, reverses })
        })
        .collect();
    let found = found.into_iter().collect::<Result<Vec<_>, _>>()?;
    if context.level == Level::STATED {
        q.leave(made.into_inner().unwrap_or_else(PoisonError::into_inner));
    }
    Ok(found)
}

fn answers(all_found: &[Series]) -> Vec<Answer> {
    let several = all_found.len() > 1;
    let mut all = Vec::new();
    for (k, found) in all_found.iter().enumerate() {
        let Some((best, distance)) = &found.best else { continue };
        let (before, words) = match several {
            true => (format!("{}.", k + 1), format!("{}: ", found.name)),
            false => (String::new(), String::new()),
        };
        let mut add = |name: &str, quantity: &str, value: f64, unit: &str| {
            let answer = Answer::new(format!("{before}{name}"), format!("{words}{quantity}"), value, unit);
            all.push(answer);
            all.len() - 1
        };
        let at = add("best.dead-time", "dead time of least loss", best.dead_time, "s");
        for &(name, quantity, unit, of) in OF_BEST {
            add(&format!("best.{name}"), quantity, of(best), unit);
        }
        add("estimate", "dead time that charge balance asks for", found.balance, "s");
        let soft = found.points.iter().find(|p| p.kind() == Kind::Soft);
        let hard = found.points.iter().rev().find(|p| p.kind() != Kind::Soft).map(|p| p.dead_time);
        let first = soft.map_or(f64::NAN, |p| p.dead_time);
        let soft_at = add("soft-from", "shortest of the list with a soft turn-on", first, "s");
        let swing = soft.and_then(|p| p.soft).map_or(f64::NAN, |t| t.soft_from);
        add("swing", "there the node has swung after", swing, "s");
        if let Some(reverses) = found.reverses {
            add("soft-until", "dead time at which the load's current reverses", reverses, "s");
        }
        for (n, p) in found.points.iter().enumerate() {
            let quantity = format!("loss of a period at {}", people(p.dead_time, "s"));
            add(&format!("losses.{}", n + 1), &quantity, p.losses, "J");
        }
        all[at].further = *distance;
        if distance.is_infinite() {
            all[at].remark = "at the end of the list: the least may lie beyond".into();
        }
        all[soft_at].remark = match hard {
            None => "at all of them".into(),
            Some(t) if first.is_nan() => format!("at none of them; not even at {}", people(t, "s")),
            Some(t) if t < first => format!("not yet at {}", people(t, "s")),
            Some(t) => format!("no longer at {}", people(t, "s")),
        };
    }
    all
}

/// What the numbers hold for.
fn conditions(leg: &Leg<'_>, asked: &Asked, found: &[Series]) -> Vec<String> {
    let charges_at = |charges: Option<(f64, f64)>, volts: &str| {
        charges.map(|(lower, upper)| {
            let (lower, upper) = (people(lower, "C"), people(upper, "C"));
            format!("Output charges at {volts}: lower switch {lower}, upper {upper}.")
        })
    };
    match &leg.of {
        Of::Shipped(s) => {
            let load = match asked.inductance.is_empty() {
                true => "a constant load current out of the leg",
                false => "an inductance into its mean voltage: the current is the triangle's peak",
            };
            let mut all = vec![
                format!("Half-bridge with {load}, in its periodic steady state."),
                format!("Junctions of both switches held at {}.", people(s.celsius, "degC")),
            ];
            all.extend(charges_at(s.charges, "the supply's voltage"));
            if s.snubber > 0.0 {
                all.push(format!("Snubber over each switch: {}.", people(s.snubber, "F")));
            }
            all
        }
        Of::Own(own) => {
            let [lower, upper] = leg.places();
            let mut all = vec![
                format!(
                    "Circuit of the scenario in its periodic steady state; lower switch `{lower}`, upper `{upper}`; {}.",
                    own.varied()
                ),
                "Device laws at the mean temperatures of their heat paths, else at those stated.".into(),
                "The current is that out of the leg when the swing begins; losses are of the whole circuit."
                    .into(),
                "Ratings and limits of the scenario are not judged here: `cycle` does it.".into(),
            ];
            if let Some((best, _)) = found.first().and_then(|s| s.best.as_ref()) {
                let volts = best.leg_voltage();
                let charges = own.charges(volts).ok().flatten();
                all.extend(charges_at(charges, &people(volts, "V")));
            }
            if own.snubber.iter().any(|c| *c > 0.0) {
                let [lower, upper] = own.snubber.map(|c| people(c, "F"));
                all.push(format!("Capacitance over the lower switch: {lower}, over the upper: {upper}."));
            }
            all
        }
    }
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let asked = question.asked(Asked::read)?;
    let leg = Leg::of(question, &asked, context)?;
    let found = find_all(question, &asked, &leg, context)?;
    let frequency = people(leg.frequency, "Hz");
    let title = match leg.of {
        Of::Shipped(_) => {
            let voltage = people(leg.voltage, "V");
            format!("Which dead time loses least in a leg of {} at {voltage} and {frequency}?", leg.what)
        }
        Of::Own(_) => format!("Which dead time loses least at {frequency}: {}?", leg.what),
    };
    let mut study = Study {
        title,
        answers: answers(&found),
        conditions: conditions(&leg, &asked, &found),
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        ..Study::default()
    };
    study.computation.refined = STUDY.refines;
    if !context.brief {
        let of: Vec<&str> = NUMBERS.iter().map(|c| c.0).collect();
        let (energies, transitions) = of.split_at(8);
        study.tables = vec![
            table(&found, energies, "energies", "Energies of a period, both switches together", false),
            devices(&found),
            table(&found, transitions, "transitions", "Transitions", true),
        ];
        let caption = "Energies of a switching period, and the voltage over the switch that can turn on softly at its gate's edge, against the dead \
                       time; a curve for each load current.";
        study.figures = vec![StudyFigure::new(caption, picture(&leg.what, &found))];
    }
    Ok(study)
}
