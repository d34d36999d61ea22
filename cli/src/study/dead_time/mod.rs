//! Dead time of a leg: losses, soft switching, the dead time of least loss.

mod tables;

use std::collections::BTreeMap;
use std::path::Path;

use joulestep_engine::run::setup::Setup;
use joulestep_engine::units::people;
use joulestep_models::arrangement::dead_time::{
    DeadTimeError, Kind, LegUnderTest as Leg, Load, PARAMS, Point, estimate, least, point_at,
};
use joulestep_models::arrangement::find;
use joulestep_models::model::Range::{Any, NotNegative, Positive};
use joulestep_models::model::{Value, Values};
use joulestep_models::part::Part;
use rayon::prelude::*;

use self::tables::{DEFINITIONS, NUMBERS, picture, table};
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::input::keys::InputError;
use crate::input::keys::include::open;
use crate::input::keys::table::keys;
use crate::input::scenario::resolve::read;
use crate::output::answer::{Answer, Study, StudyFigure};
use crate::progress::Counted;

/// The study.
pub static STUDY: Entry = Entry {
    name: "dead-time",
    section: &SECTION,
    help: "A half-bridge with a constant load current, or with an inductive load whose current reverses, is brought to its periodic steady state for every dead time and \
           current; the losses of a period are sorted by what each switch does. Charge balance of the output capacitances \
           gives the dead time from which switching is soft; where the current reverses, there is one up to which it is.",
    examples: "joulestep dead-time cascode-700v-22m --dead-time \"40 ns,80 ns,160 ns\" --current \"10 A,-10 A\"\n\
               joulestep dead-time cascode-700v-22m --dead-time \"60 ns,0.2 us,2.4 us\" --inductance \"50 uH\"\n\
               joulestep dead-time --scenario examples/ferry-half-bridge.toml --dead-time \"60 ns,120 ns\" --current \"20 A\"",
    inputs: &[
        Input { key: Asked::part, root: "part", what: What::Part, count: Count::One, positional: true },
        Input { key: Asked::upper, root: "upper", what: What::Part, count: Count::One, positional: false },
        Input { key: Asked::lower, root: "lower", what: What::Part, count: Count::One, positional: false },
        Input {
            key: Asked::scenario,
            root: "scenario",
            what: What::Path,
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
    may scenario: Files, "scenario file whose arrangement has an upper and a lower switch";
    need dead_time: Quantities("s", NotNegative), "dead times, rising";
    may current: Quantities("A", Any), "constant load currents out of the leg; negative: into it";
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
    ("node-voltage", "v_soft(on) there", "V", |p| p.soft.0),
    ("excess-charge", "Q - Q_oss there", "C", |p| p.commutation.1),
];

/// What was studied, and what was found.
struct Found {
    what: String,
    voltage: f64,
    frequency: f64,
    /// °C.
    celsius: f64,
    /// Output charges of lower and upper switch at the supply's voltage, C; ideal switches have none.
    charges: Option<(f64, f64)>,
    /// Where the load's current reverses: the dead time after which it does, s.
    reverses: Option<f64>,
    /// Capacitance of a snubber over each switch, F: it swings too.
    snubber: f64,
    /// By current, then by dead time.
    points: Vec<Point>,
    /// Of each current the point of least loss, and how far the least of all may lie from it, s.
    best: Vec<(Point, f64)>,
}

impl Found {
    fn series(&self) -> impl Iterator<Item = &[Point]> {
        self.points.chunk_by(|a, b| a.current == b.current)
    }

    /// (Q_oss of both + 2·C_snubber·V)/|I|, s.
    fn balance(&self, current: f64) -> f64 {
        let (lower, upper) = self.charges.unwrap_or_default();
        let charge = lower + upper + 2.0 * self.snubber * self.voltage;
        if charge > 0.0 && current != 0.0 { charge / current.abs() } else { f64::NAN }
    }
}

fn failed(error: &DeadTimeError) -> StudyError {
    match error {
        DeadTimeError::Circuit(_) => StudyError::Refused(error.to_string()),
        DeadTimeError::Cycle(_) | DeadTimeError::Operating(_) => StudyError::Numerical(error.to_string()),
    }
}

/// What the arrangement of a scenario gives a leg.
fn from_values(values: &Values) -> Vec<(&'static str, f64)> {
    let given = PARAMS.iter().filter(|p| !matches!(p.key, "dead-time" | "load-current" | "load-voltage"));
    let number = |p: &joulestep_models::model::Param| match values.0.get(p.key) {
        Some(Value::Number(x)) => Some((p.key, *x)),
        _ => None,
    };
    given.filter_map(number).collect()
}

fn of_scenario(q: &Question, path: &Path) -> Result<(Leg, String), StudyError> {
    let scenario = read(path, &open).map_err(|error| match error {
        InputError::Unreadable(error) => {
            StudyError::Refused(format!("cannot read `{}`: {error}", path.display()))
        }
        InputError::Refused(refusal) => StudyError::Refused(refusal.text()),
    })?;
    let places = find("half-bridge").map_or(&[][..], |h| h.places);
    match scenario.arrangement.filter(|a| a.arrangement.places == places) {
        Some(a) => {
            let what = format!("{} ({})", a.kind.name, path.display());
            Ok((Leg { given: from_values(&a.values), parts: a.parts }, what))
        }
        None => {
            Err(q.wrong(Asked::scenario, "no such arrangement", "one with the places `upper` and `lower`"))
        }
    }
}

fn leg(q: &Question) -> Result<(Leg, String), StudyError> {
    let (mut leg, mut what) = match q.paths(Asked::scenario).first() {
        Some(path) => of_scenario(q, path)?,
        None => (Leg { parts: BTreeMap::new(), given: Vec::new() }, String::new()),
    };
    for (key, place) in [(Asked::part, ""), (Asked::upper, "upper"), (Asked::lower, "lower")] {
        let Some(part): Option<&Part> = q.parts(key).first() else { continue };
        if what.is_empty() {
            what.clone_from(&part.name);
        }
        leg.parts.insert(place.to_string(), part.clone());
    }
    if leg.parts.is_empty() && q.paths(Asked::scenario).is_empty() {
        return Err(q.wrong(Asked::part, "nothing to study", "a part, or `scenario`"));
    }
    let asked = q.asked(Asked::read)?;
    let typed = asked.leg.map(|leg| crate::input::parts::given(&leg, PARAMS)).unwrap_or_default();
    let typed = typed.into_iter().filter_map(|(key, value)| match value {
        Value::Number(x) => Some((key, x)),
        _ => None,
    });
    // Parameters of the leg that the study has under names of its own.
    let renamed = [
        ("supply-voltage", asked.voltage),
        ("frequency", asked.frequency),
        ("gate-resistance", asked.gate_resistance),
        ("gate-off", asked.gate_off),
        ("gate-off-resistance", asked.gate_off_resistance),
        ("junction-temperature", asked.temperature),
        ("loop-inductance", asked.loop_inductance),
    ];
    let renamed = renamed.into_iter().filter_map(|(of, value)| Some((of, value?)));
    for (key, x) in typed.chain(renamed) {
        if let Some(own) = ["dead-time", "load-current"].into_iter().find(|own| *own == key) {
            let found = format!("`leg.{own}`: it is the study's own");
            return Err(q.wrong(Asked::leg, found, "`dead-time` and `current` of the study"));
        }
        leg.given.retain(|g| g.0 != key);
        leg.given.push((key, x));
    }
    Ok((leg, what))
}

/// The loads, as currents or as inductances.
fn loads(q: &Question, asked: &Asked) -> Result<Vec<Load>, StudyError> {
    let (currents, inductances) = (&asked.current, &asked.inductance);
    match (currents.is_empty(), inductances.is_empty()) {
        (false, true) => Ok(currents.iter().copied().map(Load::Constant).collect()),
        (true, false) => Ok(inductances.iter().copied().map(Load::Reversing).collect()),
        (none, _) => {
            let found = if none { "no load" } else { "both are given" };
            Err(q.wrong(Asked::current, found, "either `current` or `inductance`"))
        }
    }
}

fn find_all(q: &Question, context: &Context<'_>) -> Result<Found, StudyError> {
    let (leg, what) = leg(q)?;
    let asked = q.asked(Asked::read)?;
    let (times, loads) = (&asked.dead_time, loads(q, &asked)?);
    if times.is_empty() || !times.is_sorted_by(|a, b| a < b) {
        let shown: Vec<String> = times.iter().map(|t| people(*t, "s")).collect();
        return Err(q.wrong(Asked::dead_time, shown.join(", "), "dead times, rising"));
    }
    if times.len() * loads.len() > MOST {
        let found = format!("{} points", times.len() * loads.len());
        return Err(q.wrong(Asked::dead_time, found, format!("at most {MOST}")));
    }
    let refused = |e: &dyn ToString| StudyError::Refused(e.to_string());
    let Some(bridge) = find("half-bridge") else { return Err(refused(&"there is no half-bridge")) };
    let values = bridge.values(&leg.given).map_err(|e| refused(&e))?;
    let (voltage, celsius) = (values.number("supply-voltage"), values.number("junction-temperature"));
    let (frequency, duty) = (values.number("frequency"), values.number("duty"));
    let charges = estimate(&leg, voltage, celsius).map_err(|e| failed(&e))?;
    let tune = |setup: &mut Setup<f64>| context.level.apply(setup);
    let progress = Counted::new(context.quiet, (times.len() * loads.len()) as u64, "points");
    let at = |time: f64, load: Load| {
        context.go_on()?;
        point_at(&leg, (time, load), charges, &tune).map_err(|e| match failed(&e) {
            StudyError::Numerical(why) => {
                let current = people(load.current(voltage, duty, frequency), "A");
                StudyError::Numerical(format!("dead time {}, {current}: {why}", people(time, "s")))
            }
            other => other,
        })
    };
    let grid: Vec<(f64, Load)> = loads.iter().flat_map(|&i| times.iter().map(move |&t| (t, i))).collect();
    // The first error in the grid's order, whatever the threads.
    let all: Vec<Result<Point, StudyError>> = grid
        .par_iter()
        // One point tells the names of all.
        .take(if context.sketch { 1 } else { grid.len() })
        .map(|&(time, load)| {
            let found = at(time, load);
            progress.one();
            found
        })
        .collect();
    progress.done();
    let mut points = all.into_iter().collect::<Result<Vec<_>, _>>()?;
    let like =
        |first: &Point| grid.iter().map(|&(dead_time, _)| Point { dead_time, ..first.clone() }).collect();
    if let ([first], true) = (points.as_slice(), context.sketch) {
        points = like(first);
    }
    let series: Vec<(&[Point], Load)> = points.chunks(times.len()).zip(loads.iter().copied()).collect();
    let best: Vec<Result<Option<(Point, f64)>, StudyError>> = series
        .par_iter()
        .map(|(s, load)| match context.sketch {
            true => Ok(s.first().map(|p| (p.clone(), 0.0))),
            false => least(s, asked.resolution, |time| at(time, *load)),
        })
        .collect();
    let best = best.into_iter().collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect();
    let snubber = values.number("snubber-capacitance");
    let reverses = matches!(loads.first(), Some(Load::Reversing(_)));
    let reverses = reverses.then(|| duty.min(1.0 - duty) / (2.0 * frequency));
    Ok(Found { what, voltage, frequency, celsius, charges, reverses, snubber, points, best })
}

fn answers(found: &Found) -> Vec<Answer> {
    let several = found.best.len() > 1;
    let mut all = Vec::new();
    for (k, (series, (best, distance))) in found.series().zip(&found.best).enumerate() {
        let (before, words) = match several {
            true => (format!("{}.", k + 1), format!("{}: ", people(series[0].current, "A"))),
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
        add("estimate", "dead time that charge balance asks for", found.balance(series[0].current), "s");
        let soft = series.iter().find(|p| p.soft.1 == Kind::Soft).map_or(f64::NAN, |p| p.dead_time);
        let hard = series.iter().rev().find(|p| p.soft.1 != Kind::Soft).map(|p| p.dead_time);
        let soft_at = add("soft-from", "shortest of the list with a soft turn-on", soft, "s");
        if let Some(reverses) = found.reverses {
            add("soft-until", "dead time at which the load's current reverses", reverses, "s");
        }
        for (n, p) in series.iter().enumerate() {
            let quantity = format!("loss of a period at {}", people(p.dead_time, "s"));
            add(&format!("losses.{}", n + 1), &quantity, p.losses, "J");
        }
        all[at].further = *distance;
        if distance.is_infinite() {
            all[at].remark = "at the end of the list: the least may lie beyond".into();
        }
        all[soft_at].remark = match hard {
            None => "at all of them".into(),
            Some(t) if soft.is_nan() => format!("at none of them; not even at {}", people(t, "s")),
            Some(t) if t < soft => format!("not yet at {}", people(t, "s")),
            Some(t) => format!("no longer at {}", people(t, "s")),
        };
    }
    all
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let found = find_all(question, context)?;
    let load = match found.reverses {
        None => "a constant load current out of the leg",
        Some(_) => "an inductance into its mean voltage: the current is the triangle's peak",
    };
    let mut conditions = vec![
        format!("Half-bridge with {load}, in its periodic steady state."),
        format!("Junctions of both switches held at {}.", people(found.celsius, "degC")),
    ];
    conditions.extend(found.charges.map(|(lower, upper)| {
        let (lower, upper) = (people(lower, "C"), people(upper, "C"));
        format!("Output charges at the supply's voltage: lower switch {lower}, upper {upper}.")
    }));
    if found.snubber > 0.0 {
        conditions.push(format!("Snubber over each switch: {}.", people(found.snubber, "F")));
    }
    let (voltage, frequency) = (people(found.voltage, "V"), people(found.frequency, "Hz"));
    let mut study = Study {
        title: format!(
            "Which dead time loses least in a leg of {} at {voltage} and {frequency}?",
            found.what
        ),
        answers: answers(&found),
        conditions,
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        ..Study::default()
    };
    study.computation.refined = STUDY.refines;
    if !context.brief {
        let of: Vec<&str> = NUMBERS.iter().map(|c| c.0).collect();
        let (energies, transitions) = of.split_at(8);
        study.tables = vec![
            table(&found, energies, "energies", "Energies of a period", false),
            table(&found, transitions, "transitions", "Transitions", true),
        ];
        let caption = "Energies of a switching period, and the voltage over the switch that can turn on softly at its gate's edge, against the dead \
                       time; a curve for each load current.";
        study.figures = vec![StudyFigure::new(caption, picture(&found))];
    }
    Ok(study)
}
