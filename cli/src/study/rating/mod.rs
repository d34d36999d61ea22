//! Ratings of parts on their heat path: pulses, continuous current, faults, devices in parallel.

mod answers;
mod compute;
mod picture;
mod tables;

use joulestep_engine::units::people;
use joulestep_models::model::Range::{NotNegative, Positive};
use joulestep_models::part::Part;
use joulestep_models::rating::pulse::Shape;
use rayon::prelude::*;

use self::compute::{Rated, rate};
use super::heat_path::{self, Sink, Way, bounds};
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::input::keys::table::keys;
use crate::output::answer::{Study, StudyFigure};
use crate::progress::Counted;

/// The study.
pub static STUDY: Entry = Entry {
    name: "rating",
    section: &SECTION,
    help: "Gives the largest current of a pulse against its width such that the junctions stay within their highest \
           temperature and the leads within what the part states for them, its let-through I²t, the continuous current with the margin to thermal runaway, the longest pulse \
           of a fault current, and how unequal devices in parallel share a current as they heat. The part's own model gives \
           the drop at the junction temperatures of each moment; the heat flows through a package solved in three \
           dimensions and reduced, or through the part's own impedance to its case.\n\n\
           Widths: square, its length; half-sine, its base; exponential, its time constant; inrush (critically damped into \
           a capacitor), the time to its peak. A rating holds for one pulse from the steady state before it; its numbers \
           are as good as the part's data and the heat path behind them.",
    examples: "joulestep rating cascode-700v-7m --on board-700v-7m --heatsink \"45 degC\"\n\
               joulestep rating cascode-700v-7m --interface \"0.3 K/W\" --shape half-sine --plot surge.svg\n\
               joulestep rating cascode-700v-7m mosfet-sj-620v-49m --on board-700v-7m --on board-sj-620v-49m\n\
               joulestep rating cascode-700v-22m --fault \"150 A\" --required-time \"10 us\" --required-current \"20 A\"\n\
               joulestep rating cascode-700v-22m --parallel 4 --total \"200 A\" --resistance-spread 10%",
    inputs: &[
        Input::parts(Asked::part),
        Input { key: Asked::on, root: "package", what: What::Package, count: Count::Many, positional: false },
    ],
    trial: Trial {
        args: &[
            "cascode-700v-22m",
            "--interface",
            "0.3 K/W",
            "--points",
            "3",
            "--fault",
            "100 A",
            "--required-current",
            "20 A",
        ],
        vary: ("interface", ["0.3 K/W", "0.5 K/W"]),
    },
    refines: "steps, tables and meshes",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "rating":
        "Ratings of parts on their heat path: surge, continuous and fault currents, devices in parallel";
    need part: Files,
        "shipped parts by name, or part files ending in .toml; the first is the reference";
    may on: Same(Sink::on), "as there";
    may heatsink: Same(Sink::heatsink), "as there";
    may interface: Same(Sink::interface), "as there";
    may hottest: Same(Sink::hottest), "as there";
    may gate_on: Same(Sink::gate_on), "as there";
    may before: Quantity("A", NotNegative), "current in steady state before the pulse", or 0.0;
    may shape: Word(SHAPES), "shape of the pulses";
    may from: Quantity("s", Positive), "shortest width", or 1e-5;
    may to: Quantity("s", Positive), "longest width", or 100.0;
    may points: Whole(2, 500), "number of widths, evenly spread over the decades", or 36.0;
    may pulse: Tables(&PULSE), "named pulses whose largest current is computed";
    may fault: Quantities("A", Positive), "fault currents whose longest square pulse is computed; a list";
    may required_current: Quantity("A", Positive), "continuous current that every part must carry";
    may required_time: Quantity("s", Positive),
        "time for which every part must withstand every `fault` current";
    may no_runaway: Flag,
        "leaves the runaway current out: the part's law is then known no further than its highest junction temperature, \
         which makes variants of a plan faster", else false;
    may parallel: Whole(2, 64), "devices of the first part in parallel, one of which deviates";
    may total: Quantity("A", Positive), "current of all of them together";
    may resistance_spread: Quantity("1", NotNegative),
        "by how much the on-resistance of the deviating one is lower", or 0.1;
    may threshold_spread: Quantity("V", NotNegative),
        "by how much the threshold of the deviating one is lower", or 0.3;
    may shared: Quantity("K/W", NotNegative),
        "thermal resistance of the heatsink that they share, to an ambient at the temperature of `heatsink`", or 0.0;
    may cells: Same(Sink::cells), "as there";
}

/// Words of [`Shape`].
const SHAPES: &[&str] = &["square", "half-sine", "exponential", "inrush"];

keys! {
    /// A pulse.
    struct Pulse in PULSE = "rating.pulse": "A pulse: its largest current, let-through and energy";
    need name: Name, "unique name; its quantities begin with it";
    need width: Quantity("s", Positive), "width, as the shape defines it";
    may shape: Word(SHAPES), "shape; default square";
}

/// What is asked of every part.
#[derive(Clone, Debug)]
struct Options {
    way: Way,
    /// A.
    before: f64,
    shape: Shape,
    /// s.
    widths: Vec<f64>,
    pulses: Vec<(String, f64, Shape)>,
    /// A.
    faults: Vec<f64>,
    sharing: Option<Sharing>,
    /// Whether the runaway current is computed.
    runaway: bool,
    required_current: Option<f64>,
    required_time: Option<f64>,
}

/// Devices in parallel, one of which deviates.
#[derive(Clone, Copy, Debug)]
struct Sharing {
    number: usize,
    /// A.
    total: f64,
    /// By which share its on-resistance is lower.
    resistance: f64,
    /// By how much its threshold is lower, V.
    threshold: f64,
    /// Thermal resistance that all share, K/W.
    common: f64,
}

fn read(q: &Question) -> Result<Options, StudyError> {
    let asked = q.asked(Asked::read)?;
    let (from, to) = (asked.from, asked.to);
    if to <= from {
        return Err(q.wrong(
            Asked::to,
            format!("from {} to {}", people(from, "s"), people(to, "s")),
            "`to` above `from`",
        ));
    }
    let resistance = asked.resistance_spread;
    if resistance >= 1.0 {
        return Err(q.wrong(Asked::resistance_spread, format!("{resistance}"), "below 100 %"));
    }
    let sharing = match (asked.parallel, asked.total) {
        (Some(number), Some(total)) => Some(Sharing {
            number: number as usize,
            total,
            resistance,
            threshold: asked.threshold_spread,
            common: asked.shared,
        }),
        (None, None) => None,
        (Some(_), None) => {
            return Err(q.wrong(Asked::parallel, "no `total` beside it", "the current of all of them"));
        }
        (None, Some(_)) => {
            return Err(q.wrong(Asked::total, "no `parallel` beside it", "the number of devices"));
        }
    };
    let faults = asked.fault;
    if asked.required_time.is_some() && faults.is_empty() {
        return Err(q.wrong(Asked::required_time, "no `fault` beside it", "the currents to be withstood"));
    }
    let shape = |word: Option<String>| word.as_deref().and_then(Shape::of_key).unwrap_or(Shape::Square);
    let pulse = |f| Pulse::read(f).map(|p| (p.name.name, p.width, shape(p.shape)));
    Ok(Options {
        way: Way::of(q)?,
        before: asked.before,
        shape: shape(asked.shape),
        widths: widths(from, to, asked.points as usize),
        pulses: asked.pulse.iter().filter_map(pulse).collect(),
        faults,
        sharing,
        runaway: !asked.no_runaway,
        required_current: asked.required_current,
        required_time: asked.required_time,
    })
}

/// Widths evenly spread over the decades, s.
fn widths(from: f64, to: f64, points: usize) -> Vec<f64> {
    let ratio = (to / from).ln() / (points - 1) as f64;
    (0..points).map(|k| if k + 1 == points { to } else { from * (ratio * k as f64).exp() }).collect()
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let options = read(question)?;
    let package = |k: usize| heat_path::package(question, k);
    let parts: Vec<(usize, &Part)> = question.parts(Asked::part).iter().enumerate().collect();
    let widths = if context.brief { 0 } else { options.widths.len() };
    let each = options.pulses.len() + widths + options.faults.len();
    let progress = Counted::new(context.quiet, (parts.len() * each) as u64, "pulses");
    let one = |&(k, part): &(usize, &Part)| -> Result<Rated, StudyError> {
        context.go_on()?;
        let bounds = bounds(question, part, options.way.heatsink)?;
        let sharing = options.sharing.filter(|_| k == 0);
        rate((part, bounds), package(k), &options, sharing, (context, &progress))
    };
    // The first error in the order of the parts, whatever the threads.
    let all: Vec<Result<Rated, StudyError>> = parts.par_iter().map(one).collect();
    progress.done();
    let all = all.into_iter().collect::<Result<Vec<_>, _>>()?;
    let contradictions: Vec<Vec<String>> =
        parts.iter().map(|&(k, part)| heat_path::contradictions(part, package(k))).collect();
    let mut study = answers::study(&all, &options, &contradictions);
    study.computation.ratio = Some(compute::RATIO);
    study.computation.refined = STUDY.refines;
    if !context.brief {
        study.tables = tables::tables(&all, &options);
        let caption = "Largest current of a single pulse, and its let-through I²t, against the pulse width; dotted: the \
                       continuous current.";
        study.figures = vec![StudyFigure::new(caption, picture::picture(&all, &options))];
    }
    Ok(study)
}
