//! Figures of merit of parts side by side, and how many in parallel carry a current.

use joulestep_engine::units::people;
use joulestep_models::merit::parallel::{Duty, Steady, needed};
use joulestep_models::merit::{
    Conditions, FIGURES, Figure, Figures, MeritError, figures, gate_on, is_switch,
};
use joulestep_models::model::Range::{Any, NotNegative, Positive};
use joulestep_models::part::Part;
use rayon::prelude::*;

use super::{Context, Entry, Input, Question, StudyError, Trial};
use crate::diagnostic::nearest;
use crate::input::keys::table::keys;
use crate::input::keys::words::one_of;
use crate::output::answer::{Answer, Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Bars, Figure as Picture, Panel, Series};
use crate::output::table::{Rows, Table};

/// The study.
pub static STUDY: Entry = Entry {
    name: "parts compare",
    section: &SECTION,
    help: "On-resistance and what it costs in area, output charge and energy, recovery and gate charge; diode drop and \
           thermal resistance; each also relative to a reference. With --current and --heatsink also how many devices \
           in parallel carry a direct current. Every number is the part's own model's, under conditions that are printed.",
    examples: "joulestep parts compare cascode-700v-22m mosfet-sic-700v-12m mosfet-sj-620v-49m\n\
               joulestep parts compare cascode-700v-7m cascode-700v-22m --current \"200 A\" --heatsink \"80 degC\" --plot merit.svg",
    inputs: &[Input::parts(Asked::part)],
    trial: Trial {
        args: &["cascode-700v-22m", "mosfet-sic-700v-12m", "--voltage", "400 V"],
        vary: ("voltage", ["400 V", "300 V"]),
    },
    refines: "",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "compare":
        "Compare parts by their figures of merit, at 25 degC and at a working temperature";
    need part: Files, "shipped parts by name, or part files ending in .toml";
    may reference: Text, "the part that has 1 in every figure; without it the first one";
    may temperature: Quantity("degC", Any), "working junction temperature, beside 25 degC", or 125.0;
    may voltage: Quantity("V", Positive),
        "blocking voltage for output charge and energy, gate charge and recovery", or 400.0;
    may rate: Quantity("A/s", Positive),
        "rate at which the diode's current falls in the recovery", or 1e9;
    may test_current: Quantity("A", Positive),
        "test current of on-resistance, drop and recovery; without it each part's own: where its channel drops 0.2 V at 25 degC, or 1 A/mm^2 of a diode's die";
    may gate_on: Quantity("V", Any),
        "gate-source voltage that turns on; without it the one at which each part states its on-resistance";
    may gate_off: Quantity("V", Any), "gate-source voltage that turns off", or 0.0;
    may current: Quantity("A", Positive), "direct current that devices in parallel have to carry";
    may heatsink: Quantity("degC", Any), "temperature of their heatsink";
    may interface: Quantity("K/W", NotNegative),
        "thermal resistance from each case to the heatsink", or 0.0;
}

/// The law behind the number in parallel.
const LAW: &str = "steady state of each device: T_j = T_heatsink + (R_th(j-c) + R_interface)·I·V(I, T_j), equal sharing, \
                   T_j at most T_j,max";

struct Options {
    conditions: Conditions,
    working: f64,
    duty: Option<Duty>,
    /// Number of the reference among the parts.
    reference: usize,
}

struct Compared {
    parts: Vec<Part>,
    options: Options,
    /// The figures of every part at 25 °C and at the working temperature.
    figures: Vec<(f64, Vec<Figures>)>,
    /// Devices in parallel, where asked for; `None` for a diode, `Some(None)` where no number is enough.
    parallel: Vec<Option<Option<Steady>>>,
}

/// The reference's place in the list.
fn reference(question: &Question, wanted: Option<&str>) -> Result<usize, StudyError> {
    let names = question.files(Asked::part);
    if let Some(k) = (1..names.len()).find(|&k| names[..k].contains(&names[k])) {
        return Err(question.wrong(Asked::part, format!("`{}` is named twice", names[k]), "each part once"));
    }
    let Some(wanted) = wanted else { return Ok(0) };
    names.iter().position(|n| n == wanted).ok_or_else(|| {
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let meant = nearest(wanted, names.iter().copied());
        let meant = meant.map_or_else(String::new, |m| format!("; did you mean `{m}`?"));
        let found = format!("`{wanted}` is not among the parts compared");
        question.wrong(Asked::reference, found, one_of(&names) + &meant)
    })
}

fn read(question: &Question) -> Result<Options, StudyError> {
    let asked = question.asked(Asked::read)?;
    let conditions = Conditions {
        celsius: 25.0,
        voltage: asked.voltage,
        rate: asked.rate,
        current: asked.test_current,
        gate_on: asked.gate_on,
        gate_off: asked.gate_off,
    };
    let interface = asked.interface;
    let duty = match (asked.current, asked.heatsink) {
        (Some(_), Some(cold)) if cold <= -150.0 => {
            return Err(question.wrong(Asked::heatsink, people(cold, "degC"), "above -150 °C"));
        }
        (Some(current), Some(heatsink)) => Some(Duty { current, heatsink, interface, hottest: None }),
        (Some(_), None) => {
            return Err(question.wrong(
                Asked::current,
                "no `heatsink` (--heatsink)",
                "the temperature of the heatsink",
            ));
        }
        (None, Some(_)) => {
            return Err(question.wrong(Asked::heatsink, "no `current` (--current)", "a current to carry"));
        }
        (None, None) => None,
    };
    let reference = reference(question, asked.reference.as_ref().map(|n| n.name.as_str()))?;
    Ok(Options { conditions, working: asked.temperature, duty, reference })
}

fn failed(error: &MeritError) -> StudyError {
    match error {
        MeritError::Recovery { .. } | MeritError::Operating { .. } => {
            StudyError::Numerical(error.to_string())
        }
        _ => StudyError::Refused(error.to_string()),
    }
}

fn compute(parts: Vec<Part>, options: Options, context: &Context<'_>) -> Result<Compared, StudyError> {
    let mut temperatures = vec![25.0, options.working];
    temperatures.dedup();
    let points: Vec<(f64, &Part)> =
        temperatures.iter().flat_map(|&t| parts.iter().map(move |p| (t, p))).collect();
    let one = |&(celsius, part): &(f64, &Part)| {
        context.go_on()?;
        figures(part, &Conditions { celsius, ..options.conditions }).map_err(|why| failed(&why))
    };
    // All of them, then the first error in order: which one is reported does not hang on the threads.
    let all: Vec<Result<Figures, StudyError>> = points.par_iter().map(one).collect();
    let mut found = all.into_iter().collect::<Result<Vec<_>, _>>()?;
    let mut by_temperature = Vec::new();
    for &t in &temperatures {
        let rest = found.split_off(parts.len());
        by_temperature.push((t, std::mem::replace(&mut found, rest)));
    }
    let count = |part: &Part| match (options.duty, gate_on(part, &options.conditions)?) {
        (Some(duty), Some(gate)) => needed(part, gate, &duty).map(Some),
        _ => Ok(None),
    };
    let parallel: Vec<Result<_, MeritError>> = parts.par_iter().map(count).collect();
    let parallel = parallel.into_iter().collect::<Result<Vec<_>, _>>().map_err(|why| failed(&why))?;
    Ok(Compared { parallel, figures: by_temperature, options, parts })
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let options = read(question)?;
    let found = compute(question.parts(Asked::part).to_vec(), options, context)?;
    let names: Vec<&str> = found.parts.iter().map(|p| p.name.as_str()).collect();
    let names = match names.as_slice() {
        [rest @ .., last] if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        names => names.join(""),
    };
    let mut definitions: Vec<(String, String)> =
        FIGURES.iter().map(|f| (f.symbol.into(), f.definition.into())).collect();
    definitions.push(("relative".into(), format!("over that of {} at the same temperature", found.name())));
    let mut conditions = found.conditions();
    let mut tables = vec![
        StudyTable::new("figures", "Figures of merit (smaller is better)", 2, found.figures()),
        StudyTable::new("relative", &format!("The same, relative to {}", found.name()), 2, found.relatives()),
        StudyTable::new("made-of", "What the figures are made of", 2, found.sources()),
    ];
    if let Some(duty) = &found.options.duty {
        conditions.push(format!(
            "Devices in parallel carry {} in all, heatsink at {}, interface {} each.",
            people(duty.current, "A"),
            people(duty.heatsink, "degC"),
            people(duty.interface, "K/W")
        ));
        definitions.push(("devices in parallel".into(), LAW.into()));
        tables.push(StudyTable::new("parallel", "Devices in parallel", 1, found.in_parallel()));
    }
    Ok(Study {
        title: format!("How do {names} compare?"),
        answers: found.answers(),
        conditions,
        definitions,
        tables,
        figures: vec![StudyFigure::new(
            "Figures of merit relative to the reference; smaller is better.",
            found.picture(),
        )],
        ..Study::default()
    })
}

impl Compared {
    fn name(&self) -> &str {
        &self.parts[self.options.reference].name
    }

    /// Value over the reference's at the same temperature.
    fn relative(&self, all: &[Figures], k: usize, value: fn(&Figures) -> Option<f64>) -> Option<f64> {
        Some(value(&all[k])? / value(&all[self.options.reference])?)
    }

    fn conditions(&self) -> Vec<String> {
        let c = &self.options.conditions;
        let test = match c.current {
            Some(i) => format!("Test current {}.", people(i, "A")),
            None => {
                "Test current of each part: where its channel drops 0.2 V at 25 °C, 1 A/mm² of a diode's die."
                    .into()
            }
        };
        let gate = match c.gate_on {
            Some(v) => format!("Gate on at {}.", people(v, "V")),
            None => "Gate on at the voltage at which each part states its on-resistance.".into(),
        };
        let voltage = format!("V = {}, gate off at {}.", people(c.voltage, "V"), people(c.gate_off, "V"));
        vec![test, gate, voltage, format!("Diode current falling at {:.0} A/µs.", 1e-6 * c.rate)]
    }

    /// Figures at the working temperature, and the devices in parallel.
    fn answers(&self) -> Vec<Answer> {
        let Some((celsius, all)) = self.figures.last() else { return Vec::new() };
        let at = people(*celsius, "degC");
        let least = |figure: &Figure| {
            let values = all.iter().enumerate().filter_map(|(k, f)| Some((k, (figure.value)(f)?)));
            let values: Vec<(usize, f64)> = values.filter(|v| v.1.is_finite()).collect();
            let compared = (values.len() > 1).then_some(values)?;
            compared.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).map(|l| l.0)
        };
        let mut out = Vec::new();
        for figure in FIGURES {
            for (k, part) in self.parts.iter().enumerate() {
                let Some(value) = (figure.value)(&all[k]) else { continue };
                let remark = if least(figure) == Some(k) { "the least" } else { "" };
                let name = format!("{}.{}", part.name, figure.key);
                let quantity = format!("{} of {} at {at}", figure.symbol, part.name);
                out.push(Answer::new(name, quantity, value, figure.unit).remark(remark));
            }
        }
        for (part, found) in self.parts.iter().zip(&self.parallel) {
            let Some(found) = found else { continue };
            let (number, remark) = match found {
                Some(s) => {
                    (f64::from(s.number), format!("with the junctions at {}", people(s.junction, "degC")))
                }
                None => (f64::NAN, "no number in parallel is enough".into()),
            };
            let name = format!("{}.devices_in_parallel", part.name);
            let quantity = format!("devices of {} in parallel", part.name);
            out.push(Answer::new(name, quantity, number, "1").remark(remark));
        }
        out
    }

    /// A row for each part at each temperature.
    fn rows(&self) -> Rows<(f64, &[Figures], usize)> {
        let count = self.parts.len();
        let each = self.figures.iter().flat_map(|(t, all)| (0..count).map(move |k| (*t, &all[..], k)));
        Rows::of(each).text("part", |r| self.parts[r.2].name.clone()).number(
            "temperature",
            "T_j",
            "degC",
            |r| r.0,
        )
    }

    fn figures(&self) -> Table {
        FIGURES
            .iter()
            .fold(self.rows(), |rows, f| rows.number(f.key, f.symbol, f.unit, |r| (f.value)(&r.1[r.2])))
            .table()
    }

    fn relatives(&self) -> Table {
        FIGURES
            .iter()
            .fold(self.rows(), |rows, f| {
                rows.number(f.key, f.symbol, "1", |r| self.relative(r.1, r.2, f.value))
            })
            .table()
    }

    fn sources(&self) -> Table {
        self.rows()
            .number("test_current", "I", "A", |r| r.1[r.2].current)
            .number("gate_on", "V_GS", "V", |r| r.1[r.2].gate_on)
            .number("area", "A", "m^2", |r| r.1[r.2].area)
            .number("output_charge", "Q_oss", "C", |r| r.1[r.2].output.charge)
            .number("output_energy", "E_oss", "J", |r| r.1[r.2].output.energy)
            .number("output_capacitance_time_related", "C_o(tr)", "F", |r| r.1[r.2].output.time_related())
            .number("output_capacitance_energy_related", "C_o(er)", "F", |r| r.1[r.2].output.energy_related())
            .number("gate_charge", "Q_g", "C", |r| r.1[r.2].gate_charge)
            .number("recovery_charge", "Q_rr", "C", |r| r.1[r.2].recovery_charge)
            .number("recovery_current", "I_RM", "A", |r| r.1[r.2].recovery_current)
            .table()
    }

    fn in_parallel(&self) -> Table {
        let remark = |(part, found): &(&Part, &Option<Option<Steady>>)| match found {
            Some(None) => "none is enough",
            None if !is_switch(part) => "no switch",
            _ => "",
        };
        let steady = |of: fn(&Steady) -> f64| {
            move |(_, found): &(&Part, &Option<Option<Steady>>)| found.as_ref()?.as_ref().map(of)
        };
        Rows::of(self.parts.iter().zip(&self.parallel))
            .text("part", |(part, _)| part.name.clone())
            .number("number", "number", "1", steady(|s| f64::from(s.number)))
            .number("current_each", "each", "A", steady(|s| s.current))
            .number("drop", "drop", "V", steady(|s| s.drop))
            .number("power_each", "power each", "W", steady(|s| s.power))
            .number("junction", "T_j", "degC", steady(|s| s.junction))
            .number("hottest", "T_j,max", "degC", steady(|s| s.hottest))
            .text("remark", remark)
            .table()
    }

    fn picture(&self) -> Picture {
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
        let mut notes = vec![self.conditions().join(" ")];
        notes.extend(FIGURES.iter().map(|f| format!("{}: {}", f.symbol, f.definition)));
        Picture::new("Figures of merit (smaller is better)", panels).noted(notes)
    }
}
