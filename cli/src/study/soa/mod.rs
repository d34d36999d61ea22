//! Safe operating area of a part on its heat path, and the course of a run over it.

mod answers;
mod compute;
mod course;
mod picture;
mod tables;

use std::sync::Arc;

use joulestep_engine::units::people;
use joulestep_models::model::Range::Positive;
use joulestep_models::part::Part;

use self::compute::{Charted, chart};
use super::heat_path::{self, Sink, Way};
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::input::keys::table::keys;
use crate::output::answer::Estimation;
use crate::output::answer::{Study, StudyFigure};

/// The study.
pub static STUDY: Entry = Entry {
    name: "soa",
    section: &SECTION,
    help: "Charts drain current against drain-source voltage for rectangular pulses of the given widths and for direct \
           current, from the temperature of the heatsink. Every border comes from one model and bears its name: \
           on-resistance and saturation (what the part conducts with its gate on, at the junction temperature that V·I·Z_th \
           gives at the end of the pulse), junction (V·I·Z_th meets the highest temperature; the dies share the heat as the \
           part's law says), instability (the thermal loop gain of the held current reaches 1), leads, rated voltage, and \
           avalanche where the part states it.\n\n\
           With --run the voltage and current of a switch are laid over the chart. A border is passed by a course that \
           stays above it for longer than its pulse width; so the margin against a border is the least, over all stretches \
           of that width, of the largest ratio of allowed current to current within the stretch. Only what can harm \
           counts: junction, instability, leads, voltage; not what the part conducts. Beside it the junctions that the \
           course makes, whatever its shape. Ask for widths as short as its edges.\n\n\
           A chart holds for a single pulse from the boundary temperature. For one from a warm state give the case's \
           temperature then.",
    examples: "joulestep soa cascode-700v-7m --on board-700v-7m --heatsink \"55 degC\" --plot soa.svg\n\
               joulestep soa mosfet-sic-700v-12m --width \"10 us,1 ms\" --voltage \"400 V,100 V\" --heatsink \"100 degC\"\n\
               joulestep soa cascode-700v-7m --run ferry.h5 --component breaker --voltage-signal \"voltage(feed,out)\"",
    inputs: &[
        Input { key: Asked::part, root: "part", what: What::Part, count: Count::One, positional: true },
        Input { key: Asked::on, root: "package", what: What::Package, count: Count::One, positional: false },
        Input { key: Asked::run, root: "run", what: What::Result, count: Count::One, positional: false },
    ],
    trial: Trial {
        args: &[
            "mosfet-sic-700v-12m",
            "--points",
            "10",
            "--width",
            "1 ms",
            "--no-instability",
            "--heatsink",
            "60 degC",
        ],
        vary: ("heatsink", ["60 degC", "80 degC"]),
    },
    refines: "meshes",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "soa":
        "Safe operating area of a part by pulse width, and the course of a run over it";
    need part: Files, "a shipped part by name, or a part file ending in .toml";
    may on: Same(Sink::on), "as there";
    may heatsink: Same(Sink::heatsink), "as there";
    may interface: Same(Sink::interface), "as there";
    may hottest: Same(Sink::hottest), "as there";
    may gate_on: Same(Sink::gate_on), "as there";
    may width: Quantities("s", Positive), "widths of the pulses, beside direct current; without it 1 us, 10 us, 100 us, 1 ms and 10 ms";
    may voltage: Quantities("V", Positive), "voltages at which the largest current of each width is answered; without it the rated one";
    may from: Quantity("V", Positive), "least voltage of the chart", or 0.1;
    may points: Whole(10, 400), "voltages of the chart, evenly spread over the decades", or 48.0;
    may no_instability: Flag, "leaves the border of thermal instability out", else false;
    may run: Files, "result file of a run, whose course is laid over the chart";
    may component: Name, "the switch in that run; its voltage and current must be recorded (`NAME.voltage`, `NAME.current`)";
    may voltage_signal: Text, "recorded signal of its voltage, in place of `NAME.voltage`";
    may current_signal: Text, "recorded signal of its current, in place of `NAME.current`";
    may required_margin: Quantity("1", Positive), "margin that the course must keep", or 1.0;
    may cells: Same(Sink::cells), "as there";
}

/// Widths, unless others are asked for, s.
const WIDTHS: [f64; 5] = [1e-6, 1e-5, 1e-4, 1e-3, 1e-2];

/// What is asked.
#[derive(Clone, Debug)]
struct Options {
    way: Way,
    /// s; the last is ∞.
    widths: Vec<f64>,
    /// Voltages of the answers, V.
    voltages: Vec<f64>,
    /// Voltages of the chart, V.
    grid: Vec<f64>,
    instability: bool,
    /// Rated voltage, V.
    rated: f64,
    required_margin: f64,
}

fn read(q: &Question, part: &Part) -> Result<Options, StudyError> {
    let rated = part.rated_voltage().ok_or_else(|| {
        StudyError::Refused(format!("{}: it states neither a rated nor a breakdown voltage", part.name))
    })?;
    let asked = q.asked(Asked::read)?;
    let from = asked.from;
    if from >= rated {
        let found = format!("from {} to the rated voltage {}", people(from, "V"), people(rated, "V"));
        return Err(q.wrong(Asked::from, found, "a voltage below the rated one"));
    }
    let mut widths = asked.width;
    if widths.is_empty() {
        widths = WIDTHS.to_vec();
    }
    widths.sort_by(f64::total_cmp);
    widths.dedup();
    widths.push(f64::INFINITY);
    let mut voltages = asked.voltage;
    if let Some(above) = voltages.iter().find(|v| **v > rated) {
        let expected = format!("at most the rated voltage, {}", people(rated, "V"));
        return Err(q.wrong(Asked::voltage, people(*above, "V"), expected));
    }
    if voltages.is_empty() {
        voltages = vec![rated];
    }
    let points = asked.points as usize;
    let ratio = (rated / from).ln() / (points - 1) as f64;
    let at = |k: usize| if k + 1 == points { rated } else { from * (ratio * k as f64).exp() };
    if q.files(Asked::run).is_empty() {
        for key in [Asked::component, Asked::voltage_signal, Asked::current_signal] {
            if q.fields.has(key) {
                return Err(q.wrong(key, "no `run` beside it", "the result file that it is of"));
            }
        }
    }
    Ok(Options {
        way: Way::of(q)?,
        widths,
        voltages,
        grid: (0..points).map(at).collect(),
        instability: !asked.no_instability,
        rated,
        required_margin: asked.required_margin,
    })
}

/// A width in words.
fn width_words(width: f64) -> String {
    if width.is_infinite() { "direct current".into() } else { people(width, "s") }
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let [part] = question.parts(Asked::part) else {
        return Err(question.wrong(Asked::part, "none", "a part"));
    };
    let options = read(question, part)?;
    let package = heat_path::package(question, 0);
    let level = context.level.0;
    let course = course::read(question)?;
    // Only finer computations change the chart.
    let left = (level > 0).then(|| question.left::<Charted>()).flatten();
    let charted = match left {
        Some(left) => left,
        None => {
            let charted = Arc::new(chart(question, part, package, &options, context)?);
            if level == 0 {
                question.leave((*charted).clone());
            }
            charted
        }
    };
    context.go_on()?;
    let laid = course
        .as_ref()
        .map(|course| course::laid(course, &charted, &options, context.estimation != Estimation::None));
    let doubts = heat_path::contradictions(part, package);
    let mut study = answers::study(&charted, laid.as_ref(), &options, &doubts);
    study.computation.refined = STUDY.refines;
    if !context.brief {
        study.tables = tables::tables(&charted, laid.as_ref());
        let caption = "Largest current of a rectangular pulse against voltage, by pulse width; signs: what each border is.";
        study.figures = vec![StudyFigure::new(caption, picture::picture(&charted, laid.as_ref(), &options))];
    }
    Ok(study)
}
