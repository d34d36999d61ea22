//! The quantities of a chart.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::rating::area::Corner;
use joulestep_models::rating::trajectory::Nearest;

use super::compute::{BREAKDOWN, Charted, words};
use super::course::Laid;
use super::{Options, width_words};
use crate::judge::{Bounds, Uncertainty};
use crate::output::answer::{Answer, Study};

const DEFINITIONS: &[(&str, &str)] = &[
    (
        "safe operating area",
        "voltage and current, constant over a rectangular pulse from the boundary temperature, that the part conducts \
         without a junction above its highest temperature at the end of the pulse (IEC 60747-8)",
    ),
    (
        "on-resistance, saturation",
        "largest current with the gate on, at the junction temperature of the end of the pulse; on-resistance where it rises \
         faster than the root of the voltage; electro-thermal: law and V·I·Z_th solved together",
    ),
    (
        "junction",
        "smallest current at which V·I·Z_th(width) equals the highest junction temperature less that of the boundary; between \
         two dies the heat is shared as the law says at that voltage, current and temperature",
    ),
    (
        "instability",
        "V·(∂I/∂T at the held gate voltage)·Z_th(width) equals 1, for the dies as a whole; drifts are those at half the rated \
         voltage; a single hot spot may go first",
    ),
    (
        "breakdown",
        "voltage at which the law carries 1 mA with the gate off, junctions at the boundary temperature; the chart ends at the \
         rated voltage, or at this one where it is less",
    ),
    ("leads", "current that leads and package carry for the width, as the part states it"),
    (
        "margin",
        "against a width: the least, over all stretches of that width in the course, of the largest ratio of allowed current to \
         current within the stretch; below 1 the course stays above the border for longer than the width",
    ),
    (
        "junction of the course",
        "its heat v·i through the same heat path, from the boundary temperature at its start; a run differs by what v·i at the pins stores in capacitances",
    ),
];

fn uncertain(answer: Answer, charted: &Charted, further: f64) -> Answer {
    let error = match charted.unknown {
        Some(why) => Uncertainty::not_estimated(why),
        None if !charted.settled => Uncertainty::NotConverging { plus_minus: 0.0 },
        None => Uncertainty::Bare,
    };
    answer.further(further).error(error)
}

fn of_chart(charted: &Charted, options: &Options) -> Vec<Answer> {
    let dies = charted.law.names();
    let breakdown = charted.breakdown.unwrap_or(f64::NAN);
    let remark = match charted.breakdown {
        Some(v) if v < options.rated => "below the rated voltage".into(),
        Some(_) => format!("{} with the gate off", people(BREAKDOWN, "A")),
        None => "the law has none from half to three times the rated voltage".to_string(),
    };
    let answer = Answer::new("breakdown", "breakdown voltage", breakdown, "V").remark(remark);
    let mut out = vec![answer.further(1e-9 * breakdown.abs())];
    for (k, line) in charted.lines.iter().enumerate() {
        let name = if line.width.is_infinite() { "direct".to_string() } else { format!("pulse.{}", k + 1) };
        let pulse = width_words(line.width);
        let mut add = |name: String, quantity: String, (corner, error): (Corner, f64), remark: String| {
            let answer = Answer::new(name, quantity, corner.current, "A").remark(remark);
            out.push(uncertain(answer, charted, error));
        };
        for (j, (volts, found)) in options.voltages.iter().zip(&line.answers).enumerate() {
            let quantity = format!("{pulse}: largest current at {}", people(*volts, "V"));
            let by = format!("limited by: {}", words(found.0.border, dies));
            add(format!("{name}.at.{}", j + 1), quantity, *found, by);
        }
        if let Some(found) = line.largest() {
            let by = words(found.0.border, dies);
            let remark = format!("at {}, limited by: {by}", people(found.0.volts, "V"));
            add(format!("{name}.largest"), format!("{pulse}: largest current at any voltage"), found, remark);
        }
    }
    out
}

fn of_course(laid: &Laid, charted: &Charted, options: &Options) -> Vec<Answer> {
    let mut out = Vec::new();
    let when = |t: f64| format!("at {}", people_digits(t, "s", 5));
    let least = laid.least(&options.widths);
    let mesh = |width: f64| {
        let line = charted.lines.iter().find(|l| l.width == width);
        line.map_or(0.0, |l| l.mesh)
    };
    let (margin, remark, further) = match least {
        Some((width, n)) => {
            let against = match width {
                0.0 => "leads, at every instant".into(),
                w => format!("border of {}", width_words(w)),
            };
            let remark = format!(
                "against the {against}, {}: {} and {}",
                when(n.time),
                people(n.volts, "V"),
                people(n.current, "A")
            );
            (n.margin, remark, n.margin * mesh(width))
        }
        None => (f64::INFINITY, "the switch never conducts forwards".into(), 0.0),
    };
    let margin_of = |l: &Laid| l.least(&options.widths).map_or(f64::INFINITY, |l| l.1.margin);
    let answer = Answer::new("run.margin", format!("least margin of {}", laid.name), margin, "1")
        .limited(Bounds::at_least(options.required_margin), "required-margin")
        .remark(remark);
    out.push(uncertain(answer, charted, further + laid.sampling(margin_of)));
    let mut add = |name: &str, quantity: &str, unit: &str, of: fn(&Nearest) -> f64| {
        let of = |l: &Laid| l.least(&options.widths).map_or(f64::NAN, |l| of(&l.1));
        out.push(Answer::new(name, quantity, of(laid), unit).further(laid.sampling(of)));
    };
    add("run.margin.time", "instant of the least margin", "s", |n| n.time);
    add("run.margin.voltage", "voltage there", "V", |n| n.volts);
    add("run.margin.current", "current there", "A", |n| n.current);
    let avalanche = charted.part.ratings.avalanche_limit(options.rated, 1.0).is_some();
    let remark = when(laid.voltage.1);
    let voltage =
        Answer::new("run.voltage", format!("largest voltage of {}", laid.name), laid.voltage.0, "V")
            .limited(Bounds::at_most(options.rated), "rated voltage")
            .further(laid.sampling(|l| l.voltage.0))
            .remark(if avalanche && laid.voltage.0 > options.rated {
                format!("{remark}; the avalanche ratings of the part are for single pulses")
            } else {
                remark
            });
    out.push(voltage);
    for (k, (die, &(celsius, time))) in charted.law.names().iter().zip(&laid.junctions).enumerate() {
        let rise = celsius - charted.path.cold().first().copied().unwrap_or(0.0);
        let answer =
            Answer::new(format!("run.{die}"), format!("junction of {die} by the course"), celsius, "degC")
                .limited(Bounds::at_most(charted.hottest), "T_j,max")
                .remark(when(time));
        let sampling = laid.sampling(|l| l.junctions[k].0);
        out.push(uncertain(answer, charted, rise * mesh(options.widths[0]) + sampling));
    }
    out
}

fn conditions(charted: &Charted, laid: Option<&Laid>, options: &Options) -> Vec<String> {
    let part = &charted.part;
    let gate = charted.gate.map_or(String::new(), |g| format!(", gate on at {}", people(g, "V")));
    let mut out = vec![format!(
        "{}: junctions up to {}{gate}; {}.",
        part.name,
        people(charted.hottest, "degC"),
        charted.heat
    )];
    out.push("A point is one pulse of constant voltage and current from the boundary temperature.".into());
    let followed = charted.path.followed(charted.law.names());
    if laid.is_some() && !followed.is_empty() {
        out.push(format!(
            "Junctions of the course: conductivity and heat capacity follow the temperature of the die ({}); the borders are by \
             the linear impedances.",
            followed.join(", ")
        ));
    }
    let r = &part.ratings;
    out.push(match (r.lead_current, r.lead_pulse_current, r.lead_pulse_width) {
        (None, ..) => "The part states no current of its leads: that border is missing.".into(),
        (Some(direct), Some(pulse), Some(width)) => format!(
            "Leads: {} direct, {} up to {}, between them by one time constant.",
            people(direct, "A"),
            people(pulse, "A"),
            people(width, "s")
        ),
        (Some(direct), ..) => format!("Leads: {} at every width.", people(direct, "A")),
    });
    out.push(match (r.avalanche_current, r.avalanche_energy) {
        (None, None) => {
            format!("Up to {}, the rated voltage; the part states no avalanche.", people(options.rated, "V"))
        }
        (current, energy) => {
            let of = |x: Option<f64>, unit: &str| x.map_or("-".into(), |x| people(x, unit));
            format!(
                "Up to {}, the rated voltage; in avalanche a single pulse of {} and {}.",
                people(options.rated, "V"),
                of(current, "A"),
                of(energy, "J")
            )
        }
    });
    out.extend(laid.map(|l| {
        format!(
            "{}: {} samples over {}, straight lines between them; their errors follow from every second sample.",
            l.name,
            l.count,
            people(l.lasts, "s")
        )
    }));
    out
}

/// The answers with what they rest on.
pub(super) fn study(
    charted: &Charted,
    laid: Option<&Laid>,
    options: &Options,
    contradictions: &[String],
) -> Study {
    let name = &charted.part.name;
    let mut answers = laid.map_or(Vec::new(), |laid| of_course(laid, charted, options));
    answers.extend(of_chart(charted, options));
    answers.iter_mut().for_each(|a| a.known = contradictions.is_empty());
    let doubt = || format!("{name} and its package describe different dies: {}.", contradictions.join("; "));
    Study {
        title: format!(
            "Where may {name} be operated, for how long, with the heatsink at {}?",
            people(options.way.heatsink, "degC")
        ),
        answers,
        doubts: (!contradictions.is_empty()).then(doubt).into_iter().collect(),
        conditions: conditions(charted, laid, options),
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        ..Study::default()
    }
}
