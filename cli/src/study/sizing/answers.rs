//! The quantities of a sizing.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::rating::sizing::Fails;

use super::compute::{Found, ranked};
use super::{Options, pulse_words};
use crate::judge::{Bounds, Uncertainty};
use crate::output::answer::{Answer, Study};

const DEFINITIONS: &[(&str, &str)] = &[
    (
        "number",
        "smallest number in parallel for which all junctions stay within their highest temperature and all leads within \
         their rating, continuously and in every pulse from the steady state",
    ),
    (
        "deviating device",
        "the one that carries more: on-resistance lower by the spread, threshold lower; of a single device, the one that gets \
         hotter: on-resistance higher by the spread",
    ),
    ("share", "current of the deviating device over the equal share of all"),
    ("outline", "length times width of the part, or of the case of its package, times the number"),
    (
        "board",
        "largest layer between the case and the cooled layer of the package, times the number; without a package the outline",
    ),
    ("height", "part on the layers below its case, down to the cooled face"),
];

/// One candidate, but for the rounding that an error counts.
const ONE: f64 = 1.0 - 1e-9;

/// Why a number does not do.
pub(super) fn reason(found: &Found, number: usize, fails: Fails, options: &Options) -> String {
    let tried = found.tried.iter().find(|t| t.number == number);
    let dies = found.dies.len();
    let hot = |x: f64| people(x, "degC");
    let die = |d: usize| found.dies.get(d).copied().unwrap_or("die");
    let pulse = |k: usize| options.pulses.get(k).map_or(String::new(), pulse_words);
    match fails {
        Fails::NoSteadyState => "no steady state: thermal runaway, or the law ends".into(),
        Fails::Steady(d) => {
            format!("{} junction at {} continuously", die(d), hot(tried.map_or(f64::NAN, |t| t.steady(dies))))
        }
        Fails::Leads => {
            let current = tried.and_then(|t| t.held.steady).map_or(f64::NAN, |s| s[0].current);
            format!("leads: {} continuously", people(current, "A"))
        }
        Fails::Pulse(k, d) => {
            let at = tried.map_or(f64::NAN, |t| t.pulse(k, dies));
            format!("{} junction at {} or more in {}", die(d), hot(at), pulse(k))
        }
        Fails::Saturation(k) => format!("saturation in {}", pulse(k)),
        Fails::LeadsInPulse(k) => format!("leads in {}", pulse(k)),
    }
}

fn of_candidate(found: &Found, options: &Options) -> Vec<Answer> {
    let (name, dies, tried) = (&found.name, found.dies.len(), found.chosen());
    let mut out = Vec::new();
    let does = found.does();
    let number = if does { tried.number as f64 } else { f64::NAN };
    let remark = match tried.held.fails {
        None => String::new(),
        Some(fails) => {
            format!("not even {}: {}", tried.number, reason(found, tried.number, fails, options))
        }
    };
    let known = found.contradictions.is_empty();
    out.push(
        Answer::new(format!("{name}.number"), format!("{name}: number in parallel"), number, "1")
            .remark(remark),
    );
    let error = || match found.unknown {
        Some(why) => Uncertainty::not_estimated(why),
        None if !found.settled => Uncertainty::NotConverging { plus_minus: 0.0 },
        None => Uncertainty::Bare,
    };
    let further = |k: usize| tried.further.get(k).copied().unwrap_or(0.0);
    // What does not do is not among those that are judged.
    let judged = |answer: Answer| match does {
        true => answer.limited(Bounds::at_most(found.hottest), "T_j,max"),
        false => answer,
    };
    let mut add = |answer: Answer, k: usize| {
        let mut answer = judged(answer.error(error()).further(further(k)));
        answer.known = known;
        out.push(answer);
    };
    let words = format!("{name}: hottest junction in steady state");
    add(Answer::new(format!("{name}.steady"), words, tried.steady(dies), "degC"), 0);
    for (k, pulse) in options.pulses.iter().enumerate() {
        let words = format!("{name}: hottest junction in {}", pulse_words(pulse));
        let at = tried.pulse(k, dies);
        add(Answer::new(format!("{name}.pulse.{}", k + 1), words, at, "degC"), k + 1);
    }
    let steady = tried.held.steady;
    let current = steady.map_or(f64::NAN, |s| s[0].current);
    let equal = options.current / tried.number as f64;
    let remark = format!("{} times the equal share", people_digits(current / equal, "1", 4));
    let remark = if steady.is_some() && tried.number > 1 { remark } else { String::new() };
    let words = format!("{name}: current of the deviating device");
    out.push(Answer::new(format!("{name}.current"), words, current, "A").remark(remark));
    let loss = tried.loss(options.current);
    out.push(Answer::new(format!("{name}.loss"), format!("{name}: loss of all devices"), loss, "W"));
    let area = found.room.area().map_or(f64::NAN, |a| a * tried.number as f64);
    out.push(Answer::new(format!("{name}.area"), format!("{name}: board of all devices"), area, "m^2"));
    let height = found.room.height.unwrap_or(f64::NAN);
    out.push(Answer::new(format!("{name}.height"), format!("{name}: height"), height, "m"));
    out
}

fn conditions(all: &[Found], options: &Options) -> Vec<String> {
    let mut out = vec![format!(
        "{} continuously{}, up to {} in parallel; the heatsink that they share has {}.",
        people(options.current, "A"),
        options
            .pulses
            .iter()
            .map(|p| format!("; {} from the steady state of that", pulse_words(p)))
            .collect::<String>(),
        options.most,
        people(options.shared, "K/W")
    )];
    out.extend(all.iter().map(|f| {
        let gate = f.gate.map_or(String::new(), |g| format!(", gate at {}", people(g, "V")));
        format!(
            "{}: junctions up to {}{gate}; one device with its on-resistance off by {} % ({}) and its threshold by {}; {}.",
            f.name,
            people(f.hottest, "degC"),
            people_digits(100.0 * f.spread.0, "1", 3),
            f.spread.1,
            people(options.threshold, "V"),
            f.heat
        )
    }));
    let silent: Vec<&str> =
        all.iter().filter(|f| f.part.ratings.lead_current.is_none()).map(|f| f.name.as_str()).collect();
    if !silent.is_empty() {
        out.push(format!("Leads are not judged where the part states no rating: {}.", silent.join(", ")));
    }
    out.push("The drop follows the part's own model at the junction temperatures of each moment; a shared heatsink does not warm during a pulse.".into());
    out
}

/// The answers with what they rest on.
pub(super) fn study(all: &[Found], options: &Options) -> Study {
    let order = ranked(all, options);
    let doing = all.iter().filter(|f| f.does()).count();
    let remark = match order.first().filter(|f| f.does()) {
        Some(best) => format!("first by {}: {} of {}", options.rank_by, best.chosen().number, best.name),
        None => format!("none up to {} in parallel", options.most),
    };
    let mut answers = vec![
        Answer::new("candidates", "candidates that do", doing as f64, "1")
            .limited(Bounds::at_least(ONE), "at least one")
            .remark(remark),
    ];
    answers.extend(all.iter().flat_map(|f| of_candidate(f, options)));
    let doubt = |f: &Found| {
        let all = f.contradictions.join("; ");
        (!all.is_empty()).then(|| format!("{} and its package describe different dies: {all}.", f.name))
    };
    let pulses: String = options.pulses.iter().map(|p| format!(" and {} from hot", pulse_words(p))).collect();
    Study {
        title: format!(
            "Which of {} part{}, and how many in parallel, carry {} continuously{pulses}, with the heatsink at {}?",
            all.len(),
            if all.len() == 1 { "" } else { "s" },
            people(options.current, "A"),
            people(options.way.heatsink, "degC")
        ),
        answers,
        doubts: all.iter().filter_map(doubt).collect(),
        conditions: conditions(all, options),
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        ..Study::default()
    }
}
