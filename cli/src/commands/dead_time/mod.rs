//! `dead-time`: losses of a leg over dead times and currents, and the dead time of least loss.

mod errors;
mod study;
mod table;

use std::collections::BTreeMap;
use std::io;
use std::path::Path;

use joulestep_models::arrangement::dead_time::{DeadTimeTrouble, Kind, Point, Study, estimate};
use joulestep_models::arrangement::find;
use joulestep_models::model::{Value, Values};
use joulestep_models::part::Part;
use rayon::prelude::*;

use crate::access::Access;
use crate::args::DeadTimeArgs;
use crate::commands::asked::{self, Lies, Refused};
use crate::commands::refuse;
use crate::diagnostic::Sources;
use crate::exit::{BAD_INPUT, DONE, NUMERICAL, Streams};
use crate::judge::Uncertainty;
use crate::progress::Counted;
use crate::scenario::resolve::read;

/// Most points of a study.
const MOST: usize = 10_000;

/// What was studied, and what was found.
pub(crate) struct Found {
    pub what: String,
    pub voltage: f64,
    pub frequency: f64,
    /// Junction temperature of both switches, °C.
    pub celsius: f64,
    /// Output charge of the lower switch at the supply's voltage, C; ideal switches have none.
    pub charge: Option<f64>,
    /// Capacitance of a snubber over each switch, F: it swings too.
    pub snubber: f64,
    pub points: Vec<Point>,
    /// What is known of the errors of each point, by the columns of its numbers.
    pub errors: Vec<Vec<Uncertainty>>,
    /// Rounds of finer steps, where they were made.
    pub rounds: Option<i32>,
}

/// The best of one current.
pub(crate) struct Best {
    pub current: f64,
    /// Dead time of least loss, s, and that loss, J.
    pub least: (f64, f64),
    /// How far from it the least of all may lie, between the dead times of the list.
    pub time_error: Uncertainty,
    /// What is known of the error of the loss.
    pub loss_error: Uncertainty,
    /// The shortest dead time of the list at which the lower switch turns on softly.
    pub soft_from: Option<f64>,
    /// The longest one at which it does not.
    pub hard_until: Option<f64>,
    /// What charge balance asks for.
    pub estimate: Option<f64>,
}

impl Found {
    /// 2·(Q_oss + C_snubber·V)/I, s.
    pub fn estimate(&self, current: f64) -> Option<f64> {
        let charge = self.charge.unwrap_or(0.0) + self.snubber * self.voltage;
        (charge > 0.0 && current > 0.0).then(|| 2.0 * charge / current)
    }

    pub fn best(&self) -> Vec<Best> {
        let mut before = 0;
        let one = |series: &[Point]| {
            let errors = &self.errors[before..before + series.len()];
            before += series.len();
            let (time_error, loss_error) = errors::of_least(series, errors);
            let least = series.iter().min_by(|a, b| a.losses.total_cmp(&b.losses));
            let soft = series.iter().filter(|p| p.kinds.0 == Kind::Soft).map(|p| p.dead_time);
            let not = series.iter().filter(|p| p.kinds.0 != Kind::Soft).map(|p| p.dead_time);
            Best {
                current: series[0].current,
                least: least.map_or((f64::NAN, f64::NAN), |p| (p.dead_time, p.losses)),
                time_error,
                loss_error,
                soft_from: soft.min_by(f64::total_cmp),
                hard_until: not.max_by(f64::total_cmp),
                estimate: self.estimate(series[0].current),
            }
        };
        self.points.chunk_by(|a, b| a.current == b.current).map(one).collect()
    }
}

/// Whether the subject is a file that says its scenario format.
fn is_scenario(subject: &str, access: &Access) -> bool {
    let text = subject.ends_with(".toml").then(|| access.open()(Path::new(subject)).ok()).flatten();
    text.is_some_and(|t| t.lines().any(|l| l.split('=').next().is_some_and(|k| k.trim() == "format")))
}

/// What the arrangement of a scenario gives a leg.
fn from_values(values: &Values) -> Vec<(&'static str, f64)> {
    let params = find("half-bridge").map_or(&[][..], |a| a.params);
    let given = params.iter().filter(|p| !matches!(p.key, "dead-time" | "load-current" | "load-voltage"));
    given
        .filter_map(|p| match values.0.get(p.key) {
            Some(Value::Number(x)) => Some((p.key, *x)),
            _ => None,
        })
        .collect()
}

fn numerical(trouble: &DeadTimeTrouble) -> u8 {
    if matches!(trouble, DeadTimeTrouble::Circuit(_)) { BAD_INPUT } else { NUMERICAL }
}

fn work(args: &DeadTimeArgs, mut study: Study, what: String) -> Result<Found, Refused> {
    let times = asked::list("--dead-time", &args.dead_time, "s", Lies::NotNegative)?;
    let currents = asked::list("--current", &args.current, "A", Lies::NotNegative)?;
    let count = times.len() * currents.len();
    if count > MOST {
        return Err((format!("the study has {count} points; expected at most {MOST}"), BAD_INPUT));
    }
    let options = [
        ("--voltage", "supply-voltage", &args.voltage, "V", Lies::Positive),
        ("--frequency", "frequency", &args.frequency, "Hz", Lies::Positive),
        ("--gate-resistance", "gate-resistance", &args.gate_resistance, "ohm", Lies::Positive),
        ("--temperature", "junction-temperature", &args.temperature, "degC", Lies::Anywhere),
        ("--loop-inductance", "loop-inductance", &args.loop_inductance, "H", Lies::NotNegative),
    ];
    for (option, key, text, unit, lies) in options {
        if let Some(x) = asked::perhaps(option, text.as_ref(), unit, lies)? {
            study.given.retain(|g| g.0 != key);
            study.given.push((key, x));
        }
    }
    asked::are_new(&args.output)?;
    let Some(leg) = find("half-bridge") else { return Err(("there is no half-bridge".into(), BAD_INPUT)) };
    let values = leg.values(&study.given).map_err(|e| (e.to_string(), BAD_INPUT))?;
    let (voltage, celsius) = (values.number("supply-voltage"), values.number("junction-temperature"));
    let charge = estimate(&study, voltage, celsius).map_err(|e| (e.to_string(), numerical(&e)))?;
    let grid: Vec<(f64, f64)> = currents.iter().flat_map(|&i| times.iter().map(move |&t| (t, i))).collect();
    let how = match (args.no_estimate, args.prove) {
        (true, _) => errors::How::Bare,
        (false, true) => errors::How::Finer,
        (false, false) => errors::How::Estimated,
    };
    let quiet = args.quiet || args.output.json || args.output.csv;
    let progress = Counted::new(quiet, grid.len() as u64, "points");
    let one = |&(t, i): &(f64, f64)| {
        let found = errors::solve(&study, (t, i), charge, how);
        progress.one();
        found.map_err(|e| (format!("dead time {t} s, {i} A: {e}"), numerical(&e)))
    };
    // The first trouble in the grid's order, whatever the threads.
    let all: Vec<Result<errors::Solved, Refused>> = grid.par_iter().map(one).collect();
    progress.done();
    let all = all.into_iter().collect::<Result<Vec<_>, _>>()?;
    let rounds = all.iter().filter_map(|s| s.rounds).min();
    let (points, errors) = all.into_iter().map(|s| (s.point, s.errors)).unzip();
    let snubber = values.number("snubber-capacitance");
    Ok(Found {
        what,
        voltage,
        frequency: values.number("frequency"),
        celsius,
        charge,
        snubber,
        points,
        errors,
        rounds,
    })
}

/// Studies the dead time.
///
/// # Errors
/// When a stream cannot be written.
pub fn dead_time(args: &DeadTimeArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let json = args.output.json;
    let mut parts: BTreeMap<String, Part> = BTreeMap::new();
    let mut given = Vec::new();
    let mut what = args.subject.clone();
    let mut names = Vec::new();
    let mut sources = Sources::default();
    if is_scenario(&args.subject, &streams.access) {
        let scenario = match read(Path::new(&args.subject), &streams.access.open()) {
            Ok(scenario) => scenario,
            Err(trouble) => return refuse(&trouble, Path::new(&args.subject), json, streams),
        };
        sources = scenario.sources;
        let leg = scenario
            .arrangement
            .filter(|a| a.arrangement.places == find("half-bridge").map_or(&[][..], |h| h.places));
        let Some(a) = leg else {
            let why = format!("{}: no arrangement with the places `upper` and `lower`", args.subject);
            return asked::refused(&(why, BAD_INPUT), json, streams);
        };
        (parts, given) = (a.parts, from_values(&a.values));
        what = format!("{} ({})", a.kind.name, args.subject);
    } else {
        names.push((String::new(), args.subject.clone()));
    }
    names.extend(args.lower.iter().map(|name| ("lower".to_string(), name.clone())));
    let texts: Vec<String> = names.iter().map(|n| n.1.clone()).collect();
    match asked::parts(&texts, json, streams)? {
        Ok((found, texts)) => {
            parts.extend(names.into_iter().map(|n| n.0).zip(found));
            sources.merge(texts);
        }
        Err(code) => return Ok(code),
    }
    let found = match work(args, Study { parts, given }, what) {
        Ok(found) => found,
        Err(why) => return asked::refused(&why, json, streams),
    };
    let sheet = table::sheet(&found);
    let file = || study::study(&found, &sheet, &streams.command, sources.clone());
    if let Err(why) = asked::keep(&args.output, || table::picture(&found), file) {
        return asked::refused(&why, json, streams);
    }
    if json {
        streams.json(&table::json(&found, &sheet))?;
    } else if args.output.csv {
        write!(streams.out, "{}", sheet.csv())?;
    } else {
        write!(streams.out, "{}", table::text(&found, &sheet))?;
    }
    Ok(DONE)
}
