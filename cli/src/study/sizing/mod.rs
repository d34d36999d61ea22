//! Which of several parts, and how many in parallel, carry a direct current and pulses from hot.

mod answers;
mod compute;
mod picture;
mod tables;

use std::sync::Arc;

use joulestep_engine::units::people;
use joulestep_models::model::Range::{NotNegative, Positive};
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::sizing::Pulse;
use rayon::prelude::*;

use self::compute::{Found, candidate};
use super::heat_path::{Sink, Way, package};
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::input::keys::table::keys;
use crate::output::answer::{Study, StudyFigure};

/// The study.
pub static STUDY: Entry = Entry {
    name: "sizing",
    section: &SECTION,
    help: "Finds for every candidate, a part on its package or on its own impedance to the case, the smallest number in \
           parallel that carries a direct current continuously and pulses from the steady state of that current, with all \
           junctions within their highest temperature and the leads within their rating; says why each smaller number \
           fails; and ranks the candidates.\n\n\
           Devices in parallel differ: one has an on-resistance lower by the spread and a lower threshold, so it carries \
           more; the others are nominal. A single device is taken at the other end of the spread, where it gets hotter. The \
           spread is three standard deviations of the on-resistance where the part states them ([[spread]]), else 10 %, \
           unless --resistance-spread says otherwise. Each device has its own copy of the package; what they share is \
           --shared.",
    examples: "joulestep sizing cascode-700v-7m mosfet-sic-700v-12m --current \"150 A\" --pulse \"800 A\" --width \"300 us\"\n\
               joulestep sizing cascode-700v-7m mosfet-sic-700v-12m --current \"150 A\" --interface \"0.3 K/W\"\n\
               joulestep sizing cascode-700v-7m mosfet-sj-620v-49m --on board-700v-7m --on board-sj-620v-49m --current \"60 A\"\n\
               joulestep sizing mosfet-sj-620v-49m --current \"60 A\" --most 16 --rank-by loss --plot sizing.svg",
    inputs: &[
        Input { key: Asked::part, root: "part", what: What::Part, count: Count::Many, positional: true },
        Input { key: Asked::on, root: "package", what: What::Package, count: Count::Many, positional: false },
    ],
    trial: Trial {
        args: &[
            "mosfet-sic-700v-12m",
            "--current",
            "100 A",
            "--interface",
            "0.3 K/W",
            "--pulse",
            "300 A",
            "--width",
            "1 ms",
        ],
        vary: ("interface", ["0.3 K/W", "0.5 K/W"]),
    },
    refines: "steps, tables and meshes",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "sizing":
        "Which of these parts, and how many in parallel, carry a current continuously and pulses from hot";
    need part: Files, "candidates: shipped parts by name, or part files ending in .toml";
    may on: Same(Sink::on), "as there";
    may heatsink: Same(Sink::heatsink), "as there";
    may interface: Same(Sink::interface), "as there";
    may hottest: Same(Sink::hottest), "as there";
    may gate_on: Same(Sink::gate_on), "as there";
    need current: Quantity("A", Positive), "direct current of all devices together, continuously";
    may pulse: Quantities("A", Positive), "peaks of pulses of all devices together, each from the steady state of the direct current";
    may width: Quantities("s", Positive), "width of each pulse, as `shape` defines it";
    may shape: Word(SHAPES), "shape of the pulses";
    may most: Whole(1, 64), "devices in parallel, at most", or 8.0;
    may resistance_spread: Quantity("1", NotNegative), "by how much the on-resistance of the deviating device is lower; without it as the part states it, else 10 %";
    may threshold_spread: Quantity("V", NotNegative), "by how much the threshold of the deviating device is lower", or 0.3;
    may shared: Quantity("K/W", NotNegative), "thermal resistance of the heatsink that they share, to an ambient at the temperature of `heatsink`", or 0.0;
    may rank_by: Word(RANKS), "what the ranking is by; equal candidates by their number", else RANKS[0].into();
    may cells: Same(Sink::cells), "as there";
}

/// Words of [`Shape`].
const SHAPES: &[&str] = &["square", "half-sine", "exponential", "inrush"];
/// What candidates are ranked by.
const RANKS: &[&str] = &["area", "number", "loss", "height", "junction"];

/// What is asked of every candidate.
#[derive(Clone, Debug)]
struct Options {
    way: Way,
    /// A.
    current: f64,
    pulses: Vec<Pulse>,
    most: usize,
    resistance: Option<f64>,
    /// V.
    threshold: f64,
    /// K/W.
    shared: f64,
    rank_by: String,
}

fn read(q: &Question) -> Result<Options, StudyError> {
    let asked = q.asked(Asked::read)?;
    let (peaks, widths) = (asked.pulse, asked.width);
    if peaks.len() != widths.len() {
        let of = |n: usize, what: &str| format!("{n} {what}{}", if n == 1 { "" } else { "s" });
        let (key, expected) = match peaks.len() < widths.len() {
            true => (Asked::width, "a peak under `pulse` for each width"),
            false => (Asked::pulse, "a width under `width` for each peak"),
        };
        let found = format!("{} and {}", of(peaks.len(), "peak"), of(widths.len(), "width"));
        return Err(q.wrong(key, found, expected));
    }
    let resistance = asked.resistance_spread;
    if let Some(wide) = resistance.filter(|r| *r >= 1.0) {
        return Err(q.wrong(Asked::resistance_spread, format!("{wide}"), "below 100 %"));
    }
    let shape = asked.shape.as_deref().and_then(Shape::of_key).unwrap_or(Shape::Square);
    let pulse = |(&current, &width)| Pulse { shape, current, width };
    Ok(Options {
        way: Way::of(q)?,
        current: asked.current,
        pulses: peaks.iter().zip(&widths).map(pulse).collect(),
        most: asked.most as usize,
        resistance,
        threshold: asked.threshold_spread,
        shared: asked.shared,
        rank_by: asked.rank_by,
    })
}

/// A pulse in words.
fn pulse_words(p: &Pulse) -> String {
    let shape = if p.shape == Shape::Square { String::new() } else { format!(", {}", p.shape.key()) };
    format!("{} for {}{shape}", people(p.current, "A"), people(p.width, "s"))
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let options = read(question)?;
    // Coarser and finer computations ask what the numbers as stated do.
    let left = question.left::<Vec<usize>>();
    let numbers: Option<Arc<Vec<usize>>> = if context.level.0 == 0 { None } else { left };
    let parts: Vec<_> = question.parts(Asked::part).iter().enumerate().collect();
    let one = |&(k, part): &(usize, &joulestep_models::part::Part)| -> Result<Found, StudyError> {
        context.go_on()?;
        let number = numbers.as_ref().and_then(|n| n.get(k).copied());
        candidate(question, part, package(question, k), &options, number, context)
    };
    // The first error in the order of the parts, whatever the threads.
    let all: Vec<Result<Found, StudyError>> = parts.par_iter().map(one).collect();
    let mut all = all.into_iter().collect::<Result<Vec<_>, _>>()?;
    compute::distinguish(&mut all);
    if context.level.0 == 0 {
        question.leave(all.iter().map(|f| f.chosen().number).collect::<Vec<usize>>());
    }
    let mut study = answers::study(&all, &options);
    study.computation.ratio = Some(compute::RATIO);
    study.computation.refined = STUDY.refines;
    if !context.brief {
        study.tables = tables::tables(&all, &options);
        let caption = "Hottest junction of each candidate against the number in parallel, in steady state and in the pulses.";
        study.figures = vec![StudyFigure::new(caption, picture::picture(&all, &options))];
    }
    Ok(study)
}
