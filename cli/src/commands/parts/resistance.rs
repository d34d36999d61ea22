//! `parts resistance`: on-resistance against temperature, what it is made of, and the unipolar limit.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;

use joulestep_engine::units::{people, people_digits};
use joulestep_models::budget::{Place, Share, limit, places, shares};
use joulestep_models::merit::{Conditions, MeritTrouble, carries, check, gate_on, is_switch, test_current};
use joulestep_models::operating::resistance as resistance_at;
use joulestep_models::part::{Material, Part};
use rayon::prelude::*;
use serde::Serialize;

use super::compare::code;
use crate::args::PartsResistanceArgs;
use crate::commands::asked::{self, Lies, Refused};
use crate::diagnostic::Sources;
use crate::diagnostic::filled;
use crate::exit::{BAD_INPUT, DONE, Streams};
use crate::plot::{Axis, Bars, Chart, Curve, Figure, Line, Marker, Panel, Series};
use crate::result::{Study, StudyFigure, StudyTable};
use crate::sheet::{Cell, Head, Sheet, aligned};

/// Most temperatures of a curve.
const MOST: usize = 1000;

struct Asked {
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

fn read(args: &PartsResistanceArgs) -> Result<Asked, Refused> {
    let celsius = |option, text: &str| asked::quantity(option, text, "degC", Lies::Anywhere);
    let (from, to) = (celsius("--from", &args.from)?, celsius("--to", &args.to)?);
    let step = asked::quantity("--step", &args.step, "K", Lies::Positive)?;
    if to <= from || from <= -150.0 {
        let what =
            format!("--from {from} degC, --to {to} degC; expected above -150 degC, and --to above --from");
        return Err((what, BAD_INPUT));
    }
    let count = ((to - from) / step + 1e-9).floor();
    if count >= MOST as f64 {
        let what = format!("--step: {step} K makes {count} temperatures; expected at most {MOST}");
        return Err((what, BAD_INPUT));
    }
    let mut temperatures: Vec<f64> = (0..=count as usize).map(|k| from + step * k as f64).collect();
    if temperatures.last().is_some_and(|&last| to - last > 1e-6) {
        temperatures.push(to);
    }
    let conditions = Conditions {
        current: asked::perhaps("--test-current", args.test_current.as_ref(), "A", Lies::Positive)?,
        gate_on: asked::perhaps("--gate-on", args.gate_on.as_ref(), "V", Lies::Anywhere)?,
        voltage: 0.0,
        ..Conditions::default()
    };
    Ok(Asked { temperatures, working: celsius("--temperature", &args.temperature)?, conditions })
}

fn one(part: Part, asked: &Asked) -> Result<One, MeritTrouble> {
    check(&part, &Conditions { celsius: asked.working, ..asked.conditions })?;
    let lacks = |what: &str| MeritTrouble::Lacks { part: part.name.clone(), what: what.into() };
    let gate = match gate_on(&part, &asked.conditions)? {
        Some(gate) if is_switch(&part) => gate,
        _ => return Err(lacks("it has no gate, so no on-resistance")),
    };
    let current = test_current(&part, &asked.conditions)?;
    let at = |celsius: f64| {
        resistance_at(part.entry(), &part.values, gate, current, celsius)
            .map_err(|trouble| MeritTrouble::Operating { part: part.name.clone(), trouble })
    };
    for celsius in [25.0, asked.working] {
        carries(&part, gate, current, celsius)?;
    }
    let mut temperatures = asked.temperatures.clone();
    if let Some(hottest) = part.hottest() {
        temperatures.retain(|&t| t <= hottest);
    }
    let curve = temperatures.into_iter().map(|t| Ok((t, at(t)?))).collect::<Result<Vec<_>, _>>()?;
    if curve.is_empty() {
        return Err(lacks("every temperature asked for is beyond its highest junction temperature"));
    }
    let cold = at(25.0)?;
    let pieces = shares(&part, 25.0).zip(shares(&part, asked.working)).map(|(a, b)| [a, b]);
    let places = places(&part);
    Ok(One { curve, cold, pieces, places, current, gate, part })
}

/// Tells on-resistances.
pub(super) fn resistance(args: &PartsResistanceArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let json = args.output.json;
    let ready = read(args).and_then(|asked| {
        asked::are_new(&args.output)?;
        Ok(asked)
    });
    let asked = match ready {
        Ok(asked) => asked,
        Err(why) => return asked::refused(&why, json, streams),
    };
    let (parts, sources) = match asked::parts(&args.parts, json, streams)? {
        Ok(parts) => parts,
        Err(code) => return Ok(code),
    };
    let all: Vec<One> = match parts.into_par_iter().map(|p| one(p, &asked)).collect() {
        Ok(all) => all,
        Err(trouble) => return asked::refused(&(trouble.to_string(), code(&trouble)), json, streams),
    };
    let file = || study(&all, &asked, &streams.command, sources.clone());
    if let Err(why) = asked::keep(&args.output, || picture(&all, &asked), file) {
        return asked::refused(&why, json, streams);
    }
    if json {
        streams.json(&told(&all, &asked))?;
    } else if args.output.csv {
        write!(streams.out, "{}", sheet(&all).csv())?;
    } else {
        write!(streams.out, "{}", text(&all, &asked))?;
    }
    Ok(DONE)
}

/// The answers with everything behind them.
fn study(all: &[One], asked: &Asked, command: &str, inputs: Sources) -> Study {
    let names: Vec<&str> = all.iter().map(|o| o.part.name.as_str()).collect();
    let answers = all.iter().map(|o| {
        let last = o.curve.last().copied().unwrap_or((f64::NAN, f64::NAN));
        format!(
            "{}: {} at 25 °C, {} times that at {}.",
            o.part.name,
            people(o.cold, "ohm"),
            people_digits(last.1 / o.cold, "1", 3),
            people(last.0, "degC")
        )
    });
    let conditions = all.iter().map(|o| {
        format!("{}: {} with the gate at {}.", o.part.name, people(o.current, "A"), people(o.gate, "V"))
    });
    let terms = DEFINITION.split(". ").filter_map(|s| s.split_once(": "));
    Study {
        kind: "resistance".into(),
        title: format!("How does the on-resistance of {} rise with temperature?", names.join(" and ")),
        command: command.into(),
        inputs,
        verdict: None,
        answers: answers.collect(),
        conditions: conditions.collect(),
        definitions: terms.map(|(a, b)| (a.trim().to_string(), b.to_string())).collect(),
        tables: vec![StudyTable::new("resistance", "On-resistance", 2, sheet(all))],
        figures: vec![StudyFigure::new(
            "On-resistance against temperature, what it is made of, and the dies against the unipolar limit.",
            picture(all, asked),
        )],
    }
}

fn sheet(all: &[One]) -> Sheet {
    let heads = vec![
        Head::text("part"),
        Head::number("temperature", "T_j", "degC"),
        Head::number("on_resistance", "R_on", "ohm"),
        Head::number("on_resistance_relative", "R_on/R_on(25 °C)", "1"),
        Head::number("test_current", "I", "A"),
        Head::number("gate_on", "V_GS", "V"),
    ];
    let row = |o: &One, &(t, r): &(f64, f64)| -> Vec<Cell> {
        let [t, r, relative] = [t, r, r / o.cold].map(Cell::from);
        vec![o.part.name.as_str().into(), t, r, relative, o.current.into(), o.gate.into()]
    };
    Sheet { heads, rows: all.iter().flat_map(|o| o.curve.iter().map(move |p| row(o, p))).collect() }
}

const DEFINITION: &str = "R_on: drain-source voltage over drain current at the test current, gate on; relative to 25 °C. \
                          Pieces: as the part's file states them, each with its own exponent of the absolute temperature. \
                          Limit: one-dimensional unipolar limit at 25 °C for the die's breakdown voltage";

#[derive(Serialize)]
struct Told<'a> {
    definitions: &'a str,
    working_temperature: f64,
    units: BTreeMap<String, String>,
    rows: Sheet,
    budgets: Vec<Budget<'a>>,
    unipolar_limits: Vec<Placed<'a>>,
}

#[derive(Serialize)]
struct Budget<'a> {
    part: &'a str,
    #[serde(rename = "at_25_degC")]
    cold: &'a [Share],
    #[serde(rename = "at_working_temperature")]
    warm: &'a [Share],
}

#[derive(Serialize)]
struct Placed<'a> {
    part: &'a str,
    die: &'a str,
    blocks: f64,
    specific: f64,
    limit: f64,
    ratio: f64,
}

fn told<'a>(all: &'a [One], asked: &Asked) -> Told<'a> {
    let rows = sheet(all);
    let budget = |o: &'a One| o.pieces.as_ref().map(|[cold, warm]| Budget { part: &o.part.name, cold, warm });
    let placed = |o: &'a One| {
        o.places.iter().map(|p| Placed {
            part: &o.part.name,
            die: &p.die,
            blocks: p.blocks,
            specific: p.specific,
            limit: p.limit.specific,
            ratio: p.ratio(),
        })
    };
    Told {
        definitions: DEFINITION,
        working_temperature: asked.working,
        units: rows.units(),
        rows,
        budgets: all.iter().filter_map(budget).collect(),
        unipolar_limits: all.iter().flat_map(placed).collect(),
    }
}

fn text(all: &[One], asked: &Asked) -> String {
    let mut out = String::from("On-resistance against junction temperature, relative to 25 °C\n");
    let three = |x: f64| people_digits(x, "1", 3);
    let names = all.iter().map(|o| o.part.name.clone());
    let mut lines = vec![std::iter::once("T_j".to_string()).chain(names).collect::<Vec<_>>()];
    let cold = all.iter().map(|o| people(o.cold, "ohm"));
    lines.push(std::iter::once("R_on(25 °C)".to_string()).chain(cold).collect());
    for &t in &asked.temperatures {
        let at = |o: &One| o.curve.iter().find(|p| p.0 == t).map_or("-".into(), |p| three(p.1 / o.cold));
        lines.push(std::iter::once(people(t, "degC")).chain(all.iter().map(at)).collect());
    }
    let right: Vec<bool> = vec![true; all.len() + 1];
    out.push_str(&aligned(&lines, &right));
    let tests =
        all.iter().map(|o| format!("{} {} at {}", o.part.name, people(o.current, "A"), people(o.gate, "V")));
    filled(&format!("test currents and gate: {}", tests.collect::<Vec<_>>().join(", ")), 100, &mut out);
    for (o, [cold, warm]) in all.iter().filter_map(|o| Some((o, o.pieces.as_ref()?))) {
        let _ = writeln!(out, "\nResistance budget of {}", o.part.name);
        let working = people(asked.working, "degC");
        let mut lines =
            vec![vec!["".into(), "die".into(), "25 °C".into(), "share".into(), working, "share".into()]];
        let percent = |x: f64| format!("{:.0} %", 100.0 * x);
        for (a, b) in cold.iter().zip(warm) {
            let die = a.die.clone().unwrap_or_else(|| "-".into());
            let [ra, rb] = [a.resistance, b.resistance].map(|r| people(r, "ohm"));
            lines.push(vec![a.name.clone(), die, ra, percent(a.share), rb, percent(b.share)]);
        }
        let sum = |list: &[Share]| people(list.iter().map(|s| s.resistance).sum(), "ohm");
        lines.push(vec!["sum".into(), "".into(), sum(cold), "".into(), sum(warm)]);
        out.push_str(&aligned(&lines, &[false, false, true, true, true, true]));
    }
    if all.iter().any(|o| !o.places.is_empty()) {
        out.push_str("\nDies against the one-dimensional unipolar limit of their material at 25 °C\n");
        let mut lines = vec![["part", "die", "blocks", "R·A", "limit", "times"].map(String::from).to_vec()];
        let specific = |x: f64| format!("{} mΩ·cm²", three(1e7 * x));
        for (o, p) in all.iter().flat_map(|o| o.places.iter().map(move |p| (o, p))) {
            lines.push(vec![
                o.part.name.clone(),
                p.die.clone(),
                people(p.blocks, "V"),
                specific(p.specific),
                specific(p.limit.specific),
                three(p.ratio()),
            ]);
        }
        out.push_str(&aligned(&lines, &[false, false, true, true, true, true]));
    }
    out.push('\n');
    filled(DEFINITION, 100, &mut out);
    out
}

fn picture(all: &[One], asked: &Asked) -> Figure {
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
    panels.extend(budget_panel(all, asked));
    panels.extend(limit_panel(all));
    Figure::new("On-resistance", panels).noted(vec![format!("{DEFINITION}.")])
}

/// Shares at the working temperature, pieces of one name side by side.
fn budget_panel(all: &[One], asked: &Asked) -> Option<Panel> {
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
            title: format!("Resistance budget at {}", people(asked.working, "degC")),
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
