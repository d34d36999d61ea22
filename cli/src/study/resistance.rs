//! On-resistance against temperature, its budget, and the dies against the unipolar limit.

use joulestep_engine::units::people;
use joulestep_models::budget::{Place, Share, limit, places, shares};
use joulestep_models::merit::{Conditions, MeritError, carries, check, gate_on, is_switch, test_current};
use joulestep_models::model::Range::{Any, Positive};
use joulestep_models::operating::resistance as resistance_at;
use joulestep_models::part::{Material, Part};
use rayon::prelude::*;

use super::{Context, Entry, Input, Question, StudyError, Trial};
use crate::input::keys::table::keys;
use crate::output::answer::{Answer, Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Bars, Chart, Curve, Figure, Line, Marker, Panel, Series};
use crate::output::table::{Rows, Table};

/// The study.
pub static STUDY: Entry = Entry {
    name: "parts resistance",
    section: &SECTION,
    help: "Gives the on-resistance of each part over temperature, relative to 25 degC; the shares of channel, drift \
           region, substrate and package where the part file states them; and the specific on-resistance of each die \
           against the one-dimensional unipolar limit of its material.",
    examples: "joulestep parts resistance cascode-700v-22m mosfet-sic-700v-12m --plot resistance.svg",
    inputs: &[Input::parts(Asked::part)],
    trial: Trial {
        args: &["cascode-700v-22m", "--step", "75 K", "--to", "150 degC"],
        vary: ("to", ["150 degC", "125 degC"]),
    },
    refines: "",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "resistance":
        "On-resistance against temperature, its budget, and the dies against the unipolar limit";
    need part: Files, "shipped parts by name, or part files ending in .toml";
    may from: Quantity("degC", Any), "lowest junction temperature", or -50.0;
    may to: Quantity("degC", Any), "highest junction temperature; a part ends at its own limit", or 175.0;
    may step: Quantity("K", Positive), "step between temperatures", or 25.0;
    may temperature: Quantity("degC", Any), "temperature of the budget, beside 25 degC", or 125.0;
    may test_current: Quantity("A", Positive),
        "drain current; without it each part's own: where its channel drops 0.2 V at 25 degC";
    may gate_on: Quantity("V", Any),
        "gate-source voltage that turns on; without it the one at which each part states its on-resistance";
}

/// Most temperatures of a curve.
const MOST: usize = 1000;

struct Options {
    temperatures: Vec<f64>,
    working: f64,
    conditions: Conditions,
}

struct One {
    part: Part,
    current: f64,
    gate: f64,
    /// On-resistance at 25 °C, Ω.
    cold: f64,
    /// Temperature (°C) and on-resistance (Ω).
    curve: Vec<(f64, f64)>,
    /// Pieces at 25 °C and at the working temperature, where the part states them.
    pieces: Option<[Vec<Share>; 2]>,
    places: Vec<Place>,
}

fn read(question: &Question) -> Result<Options, StudyError> {
    let asked = question.asked(Asked::read)?;
    let (from, to, step) = (asked.from, asked.to, asked.step);
    if to <= from || from <= -150.0 {
        let found = format!("from {from} degC to {to} degC");
        return Err(question.wrong(
            Asked::from,
            found,
            "a start above -150 degC, and an end above the start",
        ));
    }
    let count = ((to - from) / step + 1e-9).floor();
    if count >= MOST as f64 {
        return Err(question.wrong(Asked::step, format!("{count} temperatures"), format!("at most {MOST}")));
    }
    let mut temperatures: Vec<f64> = (0..=count as usize).map(|k| from + step * k as f64).collect();
    if temperatures.last().is_some_and(|&last| to - last > 1e-6) {
        temperatures.push(to);
    }
    let conditions = Conditions {
        current: asked.test_current,
        gate_on: asked.gate_on,
        voltage: 0.0,
        ..Conditions::default()
    };
    Ok(Options { temperatures, working: asked.temperature, conditions })
}

fn one(part: Part, options: &Options) -> Result<One, MeritError> {
    check(&part, &Conditions { celsius: options.working, ..options.conditions })?;
    let lacks = |what: &str| MeritError::Lacks { part: part.name.clone(), what: what.into() };
    let gate = match gate_on(&part, &options.conditions)? {
        Some(gate) if is_switch(&part) => gate,
        _ => return Err(lacks("it has no gate, so no on-resistance")),
    };
    let current = test_current(&part, &options.conditions)?;
    let at = |celsius: f64| {
        resistance_at(part.entry(), &part.values, gate, current, celsius)
            .map_err(|error| MeritError::Operating { part: part.name.clone(), error })
    };
    for celsius in [25.0, options.working] {
        carries(&part, gate, current, celsius)?;
    }
    let mut temperatures = options.temperatures.clone();
    if let Some(hottest) = part.hottest() {
        temperatures.retain(|&t| t <= hottest);
    }
    let curve = temperatures.into_iter().map(|t| Ok((t, at(t)?))).collect::<Result<Vec<_>, _>>()?;
    if curve.is_empty() {
        return Err(lacks("every temperature asked for is beyond its highest junction temperature"));
    }
    let cold = at(25.0)?;
    let pieces = shares(&part, 25.0).zip(shares(&part, options.working)).map(|(a, b)| [a, b]);
    let places = places(&part);
    Ok(One { curve, cold, pieces, places, current, gate, part })
}

fn failed(error: &MeritError) -> StudyError {
    match error {
        MeritError::Operating { .. } => StudyError::Numerical(error.to_string()),
        _ => StudyError::Refused(error.to_string()),
    }
}

fn solve(question: &Question, _: &Context<'_>) -> Result<Study, StudyError> {
    let options = read(question)?;
    let parts = question.parts(Asked::part).to_vec();
    let all: Result<Vec<One>, MeritError> = parts.into_par_iter().map(|p| one(p, &options)).collect();
    let all = all.map_err(|error| failed(&error))?;
    let names: Vec<&str> = all.iter().map(|o| o.part.name.as_str()).collect();
    let hot = |o: &One| {
        let (celsius, ohm) = o.curve.last().copied().unwrap_or((f64::NAN, f64::NAN));
        let name = |what: &str| format!("{}.{what}", o.part.name);
        let relative = format!("{}: R_on over that at 25 °C", o.part.name);
        let at = format!("at {}", people(celsius, "degC"));
        [
            Answer::new(name("cold"), format!("{}: R_on at 25 °C", o.part.name), o.cold, "ohm"),
            Answer::new(name("hot"), format!("{}: R_on hot", o.part.name), ohm, "ohm").remark(&at),
            Answer::new(name("rise"), relative, ohm / o.cold, "1").remark(&at),
        ]
    };
    let conditions = all.iter().map(|o| {
        format!("{}: {} with the gate at {}.", o.part.name, people(o.current, "A"), people(o.gate, "V"))
    });
    let mut tables = vec![StudyTable::new("resistance", "On-resistance against temperature", 2, table(&all))];
    let title = format!("On-resistance budgets at 25 °C and {}", people(options.working, "degC"));
    tables.push(StudyTable::new("budget", &title, 3, budgets(&all)));
    let title = "Dies against the one-dimensional unipolar limit of their material at 25 °C";
    tables.push(StudyTable::new("unipolar-limit", title, 2, limits(&all)));
    Ok(Study {
        title: format!("How does the on-resistance of {} rise with temperature?", names.join(" and ")),
        answers: all.iter().flat_map(hot).collect(),
        conditions: conditions.collect(),
        definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        tables,
        figures: vec![StudyFigure::new(
            "On-resistance against temperature, its budget, and the dies against the unipolar limit.",
            picture(&all, &options),
        )],
        ..Study::default()
    })
}

fn budgets(all: &[One]) -> Table {
    let with = all.iter().filter_map(|o| Some((o, o.pieces.as_ref()?)));
    Rows::of(with.flat_map(|(o, [cold, warm])| cold.iter().zip(warm).map(move |(a, b)| (o, a, b))))
        .text("part", |(o, ..)| o.part.name.clone())
        .text("piece", |(_, a, _)| a.name.clone())
        .text("die", |(_, a, _)| a.die.clone().unwrap_or("-".into()))
        .number("cold", "25 °C", "ohm", |(_, a, _)| a.resistance)
        .number("cold_share", "share", "1", |(_, a, _)| a.share)
        .number("working", "working", "ohm", |(.., b)| b.resistance)
        .number("working_share", "share", "1", |(.., b)| b.share)
        .table()
}

fn limits(all: &[One]) -> Table {
    Rows::of(all.iter().flat_map(|o| o.places.iter().map(move |p| (o, p))))
        .text("part", |(o, _)| o.part.name.clone())
        .text("die", |(_, p)| p.die.clone())
        .number("blocks", "V_BR", "V", |(_, p)| p.blocks)
        .number("specific", "R·A", "ohm m^2", |(_, p)| p.specific)
        .number("limit", "limit", "ohm m^2", |(_, p)| p.limit.specific)
        .number("ratio", "times", "1", |(_, p)| p.ratio())
        .number("drift_ratio", "drift times", "1", |(_, p)| p.drift_ratio())
        .table()
}

fn table(all: &[One]) -> Table {
    Rows::of(all.iter().flat_map(|o| o.curve.iter().map(move |p| (o, p))))
        .text("part", |(o, _)| o.part.name.clone())
        .number("temperature", "T_j", "degC", |(_, p)| p.0)
        .number("on_resistance", "R_on", "ohm", |(_, p)| p.1)
        .number("on_resistance_relative", "R_on/R_on(25 °C)", "1", |(o, p)| p.1 / o.cold)
        .number("test_current", "I", "A", |(o, _)| o.current)
        .number("gate_on", "V_GS", "V", |(o, _)| o.gate)
        .table()
}

const DEFINITIONS: [(&str, &str); 3] = [
    ("R_on", "drain-source voltage over drain current at the test current, gate on"),
    ("budget", "as the part file states its pieces, each with its own exponent of the absolute temperature"),
    (
        "limit",
        "one-dimensional unipolar limit at 25 °C for the breakdown voltage of the die; in 4H-SiC for current along c",
    ),
];

fn picture(all: &[One], options: &Options) -> Figure {
    let mut panels = vec![Panel::Chart(Chart {
        title: "On-resistance against junction temperature".into(),
        x: Axis::linear("junction temperature", "degC"),
        y: Axis::linear("R_on / R_on(25 °C)", "1"),
        curves: all
            .iter()
            .map(|o| Curve::new(&o.part.name, o.curve.iter().map(|&(t, r)| (t, r / o.cold)).collect()))
            .collect(),
        height: 320.0,
        ..Chart::default()
    })];
    panels.extend(budget_panel(all, options));
    panels.extend(limit_panel(all));
    Figure::new("On-resistance", panels).noted(DEFINITIONS.map(|(a, b)| format!("{a}: {b}.")).to_vec())
}

/// Shares at the working temperature, pieces of one name side by side.
fn budget_panel(all: &[One], options: &Options) -> Option<Panel> {
    let with: Vec<(&One, &Vec<Share>)> =
        all.iter().filter_map(|o| Some((o, &o.pieces.as_ref()?[1]))).collect();
    let label = |s: &Share| match &s.die {
        Some(die) => format!("{die} {}", s.name),
        None => s.name.clone(),
    };
    let mut groups: Vec<String> = Vec::new();
    for share in with.iter().flat_map(|w| w.1) {
        if !groups.contains(&label(share)) {
            groups.push(label(share));
        }
    }
    let series = with.iter().map(|(o, list)| Series {
        name: o.part.name.clone(),
        values: groups
            .iter()
            .map(|g| list.iter().find(|s| label(s) == *g).map(|s| 100.0 * s.share))
            .collect(),
    });
    let series: Vec<Series> = series.collect();
    (!series.is_empty()).then(|| {
        Panel::Bars(Bars {
            title: format!("Resistance budget at {}", people(options.working, "degC")),
            y: Axis::linear("share of the on-resistance", "%"),
            groups,
            series,
            ..Bars::default()
        })
    })
}

/// Dies in the plane of breakdown voltage and specific resistance, with the limits.
fn limit_panel(all: &[One]) -> Option<Panel> {
    let dies: Vec<(&One, &Place)> = all.iter().flat_map(|o| o.places.iter().map(move |p| (o, p))).collect();
    if dies.is_empty() {
        return None;
    }
    // Axes in mΩ·cm², as the trade has them.
    let line = |material: Material, name: &str, line: Line, colour: usize| {
        let volts = (0..=80).map(|k| 10.0 * 10f64.powf(f64::from(k) * 0.04));
        let points = volts.filter_map(|v| Some((v, 1e7 * limit(material, v)?.specific))).collect();
        Curve::new(name, points).lined(line).coloured(colour).marked(Marker::None)
    };
    let mut curves = vec![
        line(Material::Silicon, "limit of Si", Line::Dashed, 6),
        line(Material::SiliconCarbide, "limit of 4H-SiC", Line::Solid, 6),
    ];
    for (k, (o, p)) in dies.iter().enumerate() {
        let name = format!("{} {}", o.part.name, p.die);
        curves.push(Curve::scatter(&name, vec![(p.blocks, 1e7 * p.specific)]).coloured(k));
    }
    let blocks = dies.iter().map(|d| d.1.blocks);
    let (low, high) = (blocks.clone().fold(f64::INFINITY, f64::min), blocks.fold(0.0, f64::max));
    Some(Panel::Chart(Chart {
        title: "Dies against the unipolar limit at 25 °C".into(),
        x: Axis::log("breakdown voltage", "V").within(0.5 * low, 2.0 * high),
        y: Axis::log("specific on-resistance", "mohm cm^2"),
        curves,
        height: 340.0,
        ..Chart::default()
    }))
}
