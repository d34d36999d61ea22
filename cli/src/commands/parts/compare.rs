//! `parts compare`: figures of merit side by side, and how many in parallel carry a current.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;

use joulestep_engine::units::{people, people_digits};
use joulestep_models::merit::parallel::{Duty, Steady, needed};
use joulestep_models::merit::{
    Conditions, FIGURES, Figure, Figures, MeritError, figures, gate_on, is_switch,
};
use joulestep_models::part::Part;
use rayon::prelude::*;
use serde::Serialize;

use crate::args::PartsCompareArgs;
use crate::commands::options::{self, Lies, Refused};
use crate::diagnostic::{filled, nearest};
use crate::exit::{BAD_INPUT, DONE, NUMERICAL, Streams};
use crate::plot::{Axis, Bars, Figure as Picture, Panel, Series};
use crate::scenario::words::one_of;
use crate::table::{Cell, Head, Table, aligned};

/// What was asked for, read.
pub(super) struct Options {
    pub conditions: Conditions,
    pub working: f64,
    pub duty: Option<Duty>,
}

/// The comparison.
pub(super) struct Compared {
    pub parts: Vec<Part>,
    pub options: Options,
    /// Number of the reference among the parts.
    pub reference: usize,
    /// The figures of every part at 25 °C and at the working temperature.
    pub figures: Vec<(f64, Vec<Figures>)>,
    /// Devices in parallel, where asked for; `None` for a diode, `Some(None)` where no number is enough.
    pub parallel: Vec<Option<Option<Steady>>>,
}

fn read(args: &PartsCompareArgs) -> Result<Options, Refused> {
    let conditions = Conditions {
        celsius: 25.0,
        voltage: options::quantity("--voltage", &args.voltage, "V", Lies::Positive)?,
        rate: options::quantity("--rate", &args.rate, "A/s", Lies::Positive)?,
        current: options::perhaps("--test-current", args.test_current.as_ref(), "A", Lies::Positive)?,
        gate_on: options::perhaps("--gate-on", args.gate_on.as_ref(), "V", Lies::Anywhere)?,
        gate_off: options::quantity("--gate-off", &args.gate_off, "V", Lies::Anywhere)?,
    };
    let current = options::perhaps("--current", args.current.as_ref(), "A", Lies::Positive)?;
    let heatsink = options::perhaps("--heatsink", args.heatsink.as_ref(), "degC", Lies::Anywhere)?;
    if let Some(cold) = heatsink.filter(|&h| h <= -150.0) {
        return Err((format!("--heatsink: {cold} °C; expected above -150 °C"), BAD_INPUT));
    }
    let interface = options::quantity("--interface", &args.interface, "K/W", Lies::NotNegative)?;
    let duty =
        current.zip(heatsink).map(|(current, heatsink)| Duty { current, heatsink, interface, hottest: None });
    let working = options::quantity("--temperature", &args.temperature, "degC", Lies::Anywhere)?;
    Ok(Options { conditions, working, duty })
}

/// The reference's place in the list.
fn reference(args: &PartsCompareArgs) -> Result<usize, Refused> {
    if let Some(k) = (1..args.parts.len()).find(|&k| args.parts[..k].contains(&args.parts[k])) {
        return Err((format!("`{}` is named twice; expected each part once", args.parts[k]), BAD_INPUT));
    }
    let Some(wanted) = &args.reference else { return Ok(0) };
    let names: Vec<&str> = args.parts.iter().map(String::as_str).collect();
    names.iter().position(|n| n == wanted).ok_or_else(|| {
        let suggestion = nearest(wanted, names.iter().copied());
        let suggestion = suggestion.map_or_else(String::new, |m| format!("; did you mean `{m}`?"));
        let what = format!("--reference: `{wanted}` is not among the parts compared");
        (format!("{what}; expected {}{suggestion}", one_of(&names)), BAD_INPUT)
    })
}

pub(super) fn code(error: &MeritError) -> u8 {
    match error {
        MeritError::Recovery { .. } | MeritError::Operating { .. } => NUMERICAL,
        _ => BAD_INPUT,
    }
}

fn compute(parts: Vec<Part>, options: Options, reference: usize) -> Result<Compared, MeritError> {
    let mut temperatures = vec![25.0, options.working];
    temperatures.dedup();
    let points: Vec<(f64, &Part)> =
        temperatures.iter().flat_map(|&t| parts.iter().map(move |p| (t, p))).collect();
    let one = |&(celsius, part): &(f64, &Part)| figures(part, &Conditions { celsius, ..options.conditions });
    let mut found = points.par_iter().map(one).collect::<Result<Vec<_>, _>>()?;
    let mut by_temperature = Vec::new();
    for &t in &temperatures {
        let rest = found.split_off(parts.len());
        by_temperature.push((t, std::mem::replace(&mut found, rest)));
    }
    let count = |part: &Part| match (options.duty, gate_on(part, &options.conditions)?) {
        (Some(duty), Some(gate)) => needed(part, gate, &duty).map(Some),
        _ => Ok(None),
    };
    let parallel = parts.par_iter().map(count).collect::<Result<Vec<_>, _>>()?;
    Ok(Compared { parallel, figures: by_temperature, reference, options, parts })
}

/// Compares.
pub(super) fn compare(args: &PartsCompareArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let json = args.output.json;
    let ready = read(args).and_then(|options| {
        options::are_new(&args.output)?;
        Ok((options, reference(args)?))
    });
    let (options, reference) = match ready {
        Ok(ready) => ready,
        Err(why) => return options::refused(&why, json, streams),
    };
    let (parts, sources) = match options::parts(&args.parts, json, streams)? {
        Ok(parts) => parts,
        Err(code) => return Ok(code),
    };
    let compared = match compute(parts, options, reference) {
        Ok(compared) => compared,
        Err(error) => return options::refused(&(error.to_string(), code(&error)), json, streams),
    };
    let file = || compared.study(&streams.command, sources.full_text());
    if let Err(why) = options::keep(&args.output, || compared.picture(), file) {
        return options::refused(&why, json, streams);
    }
    if json {
        streams.json(&compared.json())?;
    } else if args.output.csv {
        write!(streams.out, "{}", compared.table().csv())?;
    } else {
        write!(streams.out, "{}", compared.text())?;
    }
    Ok(DONE)
}

#[derive(Serialize)]
struct Document<'a> {
    reference: &'a str,
    conditions: Stated<'a>,
    definitions: BTreeMap<&'a str, &'a Figure>,
    parallel: Option<InParallel>,
    units: BTreeMap<String, String>,
    rows: Table,
}

#[derive(Serialize)]
struct Stated<'a> {
    #[serde(flatten)]
    stated: &'a Conditions,
    in_words: Vec<String>,
}

#[derive(Serialize)]
struct InParallel {
    #[serde(flatten)]
    duty: Duty,
    law: &'static str,
}

impl Compared {
    pub(super) fn name(&self) -> &str {
        &self.parts[self.reference].name
    }

    /// Value over the reference's at the same temperature.
    pub(super) fn relative(
        &self,
        all: &[Figures],
        k: usize,
        value: fn(&Figures) -> Option<f64>,
    ) -> Option<f64> {
        Some(value(&all[k])? / value(&all[self.reference])?)
    }

    pub(super) fn conditions(&self) -> Vec<String> {
        let c = &self.options.conditions;
        let test = match c.current {
            Some(i) => format!("test current {}", people(i, "A")),
            None => {
                "test current of each part: where its channel drops 0.2 V at 25 °C, 1 A/mm² of a diode's die"
                    .into()
            }
        };
        let gate = match c.gate_on {
            Some(v) => format!("gate on at {}", people(v, "V")),
            None => "gate on at the voltage at which each part states its on-resistance".into(),
        };
        let voltage = format!("V = {}, gate off at {}", people(c.voltage, "V"), people(c.gate_off, "V"));
        vec![test, gate, voltage, format!("diode current falling at {:.0} A/µs", 1e-6 * c.rate)]
    }

    fn table(&self) -> Table {
        let mut heads = vec![
            Head::text("part"),
            Head::number("temperature", "T_j", "degC"),
            Head::number("test_current", "I", "A"),
            Head::number("gate_on", "V_GS", "V"),
            Head::number("area", "A", "m^2"),
            Head::number("output_charge", "Q_oss", "C"),
            Head::number("output_energy", "E_oss", "J"),
            Head::number("output_capacitance_time_related", "C_o(tr)", "F"),
            Head::number("output_capacitance_energy_related", "C_o(er)", "F"),
            Head::number("gate_charge", "Q_g", "C"),
            Head::number("recovery_charge", "Q_rr", "C"),
            Head::number("recovery_current", "I_RM", "A"),
        ];
        for f in FIGURES {
            heads.push(Head::number(f.key, f.symbol, f.unit));
            heads.push(Head::number(&format!("{}_relative", f.key), f.symbol, "1"));
        }
        for (name, unit) in
            [("devices_in_parallel", "1"), ("junction_in_parallel", "degC"), ("heat_in_parallel", "W")]
        {
            heads.push(Head::number(name, name, unit));
        }
        let mut rows = Vec::new();
        for (celsius, all) in &self.figures {
            for (k, f) in all.iter().enumerate() {
                let mut row: Vec<Cell> = vec![
                    self.parts[k].name.as_str().into(),
                    (*celsius).into(),
                    f.current.into(),
                    f.gate_on.into(),
                    f.area.into(),
                    f.output.charge.into(),
                    f.output.energy.into(),
                    f.output.time_related().into(),
                    f.output.energy_related().into(),
                    f.gate_charge.into(),
                    f.recovery_charge.into(),
                    f.recovery_current.into(),
                ];
                for figure in FIGURES {
                    row.push((figure.value)(f).into());
                    row.push(self.relative(all, k, figure.value).into());
                }
                let steady = self.parallel[k].flatten();
                row.push(steady.map(|s| f64::from(s.number)).into());
                row.push(steady.map(|s| s.junction).into());
                row.push(steady.map(|s| s.power).into());
                rows.push(row);
            }
        }
        Table { heads, rows }
    }

    fn json(&self) -> impl Serialize {
        let rows = self.table();
        Document {
            reference: self.name(),
            conditions: Stated { stated: &self.options.conditions, in_words: self.conditions() },
            definitions: FIGURES.iter().map(|f| (f.key, f)).collect(),
            parallel: self.options.duty.map(|duty| InParallel { duty, law: LAW }),
            units: rows.units(),
            rows,
        }
    }

    fn text(&self) -> String {
        let mut out = String::new();
        let three = |x: Option<f64>| x.map_or_else(|| "-".into(), |x| people_digits(x, "1", 3));
        for (celsius, all) in &self.figures {
            let reference = self.name();
            let _ = writeln!(out, "Figures of merit at {} (smaller is better)", people(*celsius, "degC"));
            let head = |unit: bool| {
                let of = |f: &Figure| if unit { f.shown.0 } else { f.symbol };
                std::iter::once(String::new()).chain(FIGURES.iter().map(|f| of(f).to_string())).collect()
            };
            let mut lines: Vec<Vec<String>> = vec![head(false), head(true)];
            for (part, f) in self.parts.iter().zip(all) {
                let cells = FIGURES.iter().map(|x| three((x.value)(f).map(|v| v * x.shown.1)));
                lines.push(std::iter::once(part.name.clone()).chain(cells).collect());
            }
            lines.push(vec![format!("relative to {reference}")]);
            for (k, part) in self.parts.iter().enumerate() {
                let cells = FIGURES.iter().map(|x| three(self.relative(all, k, x.value)));
                lines.push(std::iter::once(part.name.clone()).chain(cells).collect());
            }
            let right: Vec<bool> = (0..=FIGURES.len()).map(|k| k > 0).collect();
            out.push_str(&aligned(&lines, &right));
            let tests = self.parts.iter().zip(all).map(|(part, f)| {
                let gate = f.gate_on.map_or_else(String::new, |v| format!(" at {}", people(v, "V")));
                format!("{} {}{gate}", part.name, people(f.current, "A"))
            });
            filled(
                &format!("test currents and gate: {}", tests.collect::<Vec<_>>().join(", ")),
                100,
                &mut out,
            );
            out.push('\n');
        }
        if let Some(duty) = self.options.duty {
            out.push_str(&self.parallel_text(&duty));
        }
        out.push_str("Conditions and definitions\n");
        filled(&self.conditions().join("; "), 100, &mut out);
        for f in FIGURES {
            filled(&format!("{}: {}", f.symbol, f.definition), 100, &mut out);
        }
        out
    }

    fn parallel_text(&self, duty: &Duty) -> String {
        let mut out = String::new();
        let (current, sink) = (people(duty.current, "A"), people(duty.heatsink, "degC"));
        let _ = writeln!(out, "Devices in parallel for {current} with the heatsink at {sink}");
        let mut lines =
            vec![["", "number", "each", "drop", "heat each", "T_j", "T_j,max"].map(String::from).to_vec()];
        for (part, found) in self.parts.iter().zip(&self.parallel) {
            let mut line = vec![part.name.clone()];
            match found {
                None => line.push(if is_switch(part) { "-" } else { "no switch" }.into()),
                Some(None) => line.push("none is enough".into()),
                Some(Some(s)) => line.extend([
                    s.number.to_string(),
                    people(s.current, "A"),
                    people(s.drop, "V"),
                    people(s.power, "W"),
                    people(s.junction, "degC"),
                    people(s.hottest, "degC"),
                ]),
            }
            lines.push(line);
        }
        out.push_str(&aligned(&lines, &[false, true, true, true, true, true, true]));
        filled(&format!("{LAW}; interface {} K/W each", duty.interface), 100, &mut out);
        out.push('\n');
        out
    }

    pub(super) fn picture(&self) -> Picture {
        let panel = |(celsius, all): &(f64, Vec<Figures>)| {
            let series = self.parts.iter().enumerate().map(|(k, part)| Series {
                name: part.name.clone(),
                values: FIGURES.iter().map(|f| self.relative(all, k, f.value)).collect(),
            });
            Panel::Bars(Bars {
                title: format!("at {}", people(*celsius, "degC")),
                y: Axis::linear(&format!("relative to {}", self.name()), "1"),
                groups: FIGURES.iter().map(|f| f.symbol.to_string()).collect(),
                series: series.collect(),
                reference: Some(1.0),
                height: 0.0,
            })
        };
        let panels = self.figures.iter().map(panel).collect();
        let mut notes = vec![self.conditions().join("; ")];
        notes.extend(FIGURES.iter().map(|f| format!("{}: {}", f.symbol, f.definition)));
        Picture::new("Figures of merit (smaller is better)", panels).noted(notes)
    }
}

/// The law behind the number in parallel.
pub(super) const LAW: &str = "steady state of each device: T_j = T_heatsink + (R_th(j-c) + R_interface)·I·V(I, T_j), equal sharing, \
                   T_j at most T_j,max";
