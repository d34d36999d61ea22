//! The quantities of a rating.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::rating::sharing::Share;
use joulestep_models::rating::surge::Ends;

use super::Options;
use super::compute::{LONGEST, Pair, Rated, of_point};
use crate::judge::{Bounds, Uncertainty};
use crate::output::answer::{Answer, Study};

const DEFINITIONS: &[(&str, &str)] = &[
    (
        "largest current",
        "peak of a single pulse at which the hottest junction just meets its highest temperature",
    ),
    ("I²t", "∫ i² dt over the whole pulse at its largest current"),
    ("continuous current", "steady state in which the hottest junction just meets its highest temperature"),
    ("loop gain", "thermal loop gain dP/dT·Z_th in the steady state; 1 = runaway"),
    ("runaway current", "current beyond which there is no steady state"),
    ("longest pulse", "longest square pulse of a fault current from the steady state before it"),
    ("R_th", "steady rise of a die that is heated alone over the fixed temperature, per watt"),
];

/// What limits a pulse, in words.
pub(super) fn limited_by(dies: &[&str], ends: Ends) -> String {
    match ends {
        Ends::Junction(k) => dies.get(k).map_or("junction".into(), |d| format!("{d} junction")),
        Ends::Saturation => "saturation".into(),
        Ends::Leads => "leads".into(),
        Ends::Nothing => "nothing".into(),
    }
}

/// Answers of one part, taken in the order in which its numbers are known.
struct Builder<'a> {
    rated: &'a Rated,
    further: std::vec::IntoIter<f64>,
    /// Begins names and quantities where there are several parts.
    name: String,
    words: String,
    /// Whether part and package agree.
    known: bool,
    answers: Vec<Answer>,
}

impl Builder<'_> {
    fn add(
        &mut self,
        name: impl AsRef<str>,
        quantity: impl AsRef<str>,
        value: f64,
        unit: &str,
    ) -> &mut Answer {
        let further = self.further.next().unwrap_or(0.0);
        let mut answer = Answer::new(
            format!("{}{}", self.name, name.as_ref()),
            format!("{}{}", self.words, quantity.as_ref()),
            value,
            unit,
        );
        answer.further = further;
        answer.known = self.known;
        if let Some(why) = self.rated.unknown {
            answer.error = Uncertainty::not_estimated(why);
        } else if !self.rated.settled {
            answer.error = Uncertainty::NotConverging { plus_minus: 0.0 };
        }
        self.answers.push(answer);
        self.answers.last_mut().expect("one was just added")
    }

    /// Numbers that have no answer of their own.
    fn skip(&mut self, count: usize) {
        self.further.by_ref().take(count).for_each(drop);
    }
}

fn point(b: &mut Builder<'_>, name: &str, words: &str, p: &joulestep_models::rating::surge::Point) {
    let [current, i2t, _, energy] = of_point(p);
    let by = format!("limited by: {}", limited_by(&b.rated.dies, p.ends));
    // Where a part saturates, the search ends at a cliff: neither steps nor tables show their full order there.
    let cautious = |a: &mut Answer| {
        if p.ends == Ends::Saturation && a.error == Uncertainty::Bare {
            a.error = Uncertainty::NotConverging { plus_minus: 0.0 };
        }
    };
    let answer = b.add(format!("{name}.current"), format!("largest current of {words}"), current, "A");
    answer.remark = by;
    cautious(answer);
    cautious(b.add(format!("{name}.i2t"), format!("I²t of {words}"), i2t, "A^2 s"));
    b.skip(1);
    b.add(format!("{name}.energy"), format!("energy of {words}"), energy, "J");
}

fn of_part(rated: &Rated, options: &Options, several: bool, known: bool) -> Vec<Answer> {
    let name = &rated.part.name;
    let mut b = Builder {
        rated,
        further: rated.further.clone().into_iter(),
        name: if several { format!("{name}.") } else { String::new() },
        words: if several { format!("{name}: ") } else { String::new() },
        known,
        answers: Vec::new(),
    };
    let n = &rated.numbers;
    let dies = &rated.dies;
    for (k, die) in dies.iter().enumerate() {
        let fixed = format!("to {}", people(n.fixed[k], "degC"));
        b.add(format!("{die}.thermal-resistance"), format!("R_th of {die}"), n.resistance[k], "K/W").remark =
            fixed;
    }
    let s = n.continuous.as_ref();
    let of = |pick: fn(&joulestep_models::rating::steady::Steady) -> f64| s.map_or(f64::NAN, pick);
    let current = b.add("continuous.current", "continuous current", s.map_or(0.0, |s| s.current), "A");
    if let Some(least) = options.required_current {
        *current = current.clone().limited(Bounds::at_least(least), "required-current");
    }
    if s.is_none() {
        current.remark = "the heatsink is above T_j,max".into();
    } else if s.is_some_and(|s| s.current >= rated.part.ratings.lead_limit(f64::INFINITY)) {
        current.remark = "limited by: leads".into();
    }
    b.add("continuous.drop", "voltage drop there", of(|s| s.carried.drop), "V");
    b.add("continuous.loop-gain", "thermal loop gain there", of(|s| s.loop_gain), "1");
    for (k, die) in dies.iter().enumerate() {
        let heat = s.map_or(f64::NAN, |s| s.carried.power[k]);
        b.add(format!("continuous.{die}.power"), format!("power of {die} there"), heat, "W");
    }
    for (k, die) in dies.iter().enumerate() {
        let t = s.map_or(f64::NAN, |s| s.celsius[k]);
        let power = s.map_or(f64::NAN, |s| s.carried.power[k]);
        let remark = rated.above[k]
            .filter(|_| t.is_finite())
            .map(|above| format!("mean of the die; its hottest point {}", people(t + above * power, "degC")));
        b.add(format!("continuous.{die}"), format!("junction of {die} there"), t, "degC").remark =
            remark.unwrap_or_default();
    }
    if options.runaway {
        let runaway = b.add("runaway.current", "runaway current", n.runaway.unwrap_or(f64::NAN), "A");
        runaway.known = known && n.runaway_known != Some(false);
        if n.runaway_known == Some(false) {
            runaway.remark = "beyond the temperatures for which the law is known: no more than a hint".into();
        }
    } else {
        b.skip(1);
    }
    for ((name, width, shape), p) in options.pulses.iter().zip(&n.pulses) {
        let words = format!("`{name}` ({}, {})", people(*width, "s"), shape.key());
        point(&mut b, name, &words, p);
    }
    b.skip(4 * n.curve.len());
    for (k, (&current, &(longest, ends))) in options.faults.iter().zip(&n.faults).enumerate() {
        let words = format!("longest pulse of {}", people(current, "A"));
        let answer = b.add(format!("fault.{}.longest", k + 1), words, longest, "s");
        answer.remark = match longest {
            0.0 => "not at all".into(),
            x if x.is_infinite() => format!("more than {}", people(LONGEST, "s")),
            _ => format!("limited by: {}", limited_by(dies, ends)),
        };
        if ends == Ends::Saturation && answer.error == Uncertainty::Bare {
            answer.error = Uncertainty::NotConverging { plus_minus: 0.0 };
        }
        if let Some(least) = options.required_time {
            *answer = answer.clone().limited(Bounds::at_least(least), "required-time");
        }
    }
    if let (Some(shared), Some(sharing)) = (&n.sharing, options.sharing) {
        of_sharing(&mut b, shared.steady.as_ref(), sharing.number);
    }
    b.answers
}

fn of_sharing(b: &mut Builder<'_>, pair: Option<&Pair>, number: usize) {
    let (dies, hottest) = (b.rated.dies.clone(), b.rated.hottest);
    let share = |k: usize| -> Option<&Share> { pair.map(|p| &p[k]) };
    let each = [
        ("deviating", "the deviating device".to_string()),
        ("other", format!("each of {} others", number - 1)),
    ];
    for (k, (name, words)) in each.into_iter().enumerate() {
        let current = share(k).map_or(f64::NAN, |s| s.current);
        b.add(format!("parallel.{name}.current"), format!("current of {words}"), current, "A");
        for (d, die) in dies.iter().enumerate() {
            // Without a steady state the junctions have no bound.
            let celsius = share(k).map_or(f64::INFINITY, |s| s.celsius[d]);
            let quantity = format!("junction of {die} of {words}");
            let answer = b.add(format!("parallel.{name}.{die}"), quantity, celsius, "degC");
            *answer = answer.clone().limited(Bounds::at_most(hottest), "T_j,max");
            if pair.is_none() {
                answer.remark = "there is no steady state".into();
            }
        }
    }
}

fn conditions(all: &[Rated], options: &Options) -> Vec<String> {
    let mut out = vec![format!("Pulse: {}.", options.shape.words())];
    if options.before > 0.0 {
        out.push(format!("Before the pulse {} flow in steady state.", people(options.before, "A")));
    }
    out.extend(all.iter().map(|r| {
        let gate = r.gate.map_or(String::new(), |g| format!(", gate at {}", people(g, "V")));
        format!("{}: junctions up to {}{gate}; {}.", r.part.name, people(r.hottest, "degC"), r.heat)
    }));
    out.extend(all.iter().filter(|r| !r.followed.is_empty()).map(|r| {
        format!(
            "{}: in pulses conductivity and heat capacity follow the temperature of the die ({}), beyond what flowed before; \
             what stands still, and sharing, is by the linear impedances.",
            r.part.name,
            r.followed.join(", ")
        )
    }));
    out.extend(options.sharing.map(|s| {
        format!(
            "{} devices carry {}; one has an on-resistance lower by {} % and a threshold lower by {}; the heatsink that they \
             share has {}.",
            s.number,
            people(s.total, "A"),
            people_digits(100.0 * s.resistance, "1", 3),
            people(s.threshold, "V"),
            people(s.common, "K/W")
        )
    }));
    out.push("The drop follows the part's own model at the junction temperatures of each moment.".into());
    out.push(
        "A rating holds for one pulse from the steady state before it, not for how often it may come.".into(),
    );
    out
}

/// The answers with what they rest on. `contradictions`: of each part with its package.
pub(super) fn study(all: &[Rated], options: &Options, contradictions: &[Vec<String>]) -> Study {
    let names: Vec<&str> = all.iter().map(|r| r.part.name.as_str()).collect();
    let heatsink = people(options.way.heatsink, "degC");
    let doubt = |(r, of): (&Rated, &Vec<String>)| {
        let all = of.join("; ");
        (!of.is_empty()).then(|| format!("{} and its package describe different dies: {all}.", r.part.name))
    };
    let several = all.len() > 1;
    let answers =
        all.iter().zip(contradictions).flat_map(|(r, of)| of_part(r, options, several, of.is_empty()));
    Study {
        title: format!(
            "What current does {} carry, for how long, with the heatsink at {heatsink}?",
            names.join(" or ")
        ),
        answers: answers.collect(),
        doubts: all.iter().zip(contradictions).filter_map(doubt).collect(),
        conditions: conditions(all, options),
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        ..Study::default()
    }
}
