//! What is reported of a mission: text for people, and JSON.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use joulestep_engine::cycle::rainflow::{Counted, UserLaw};
use joulestep_engine::units::{people, people_digits};
use joulestep_models::arrangement::mission::{Options, Work};
use serde::Serialize;

use super::judge::Known;
use super::{Life, tables};
use crate::account;
use crate::judge::Uncertainty;
use crate::table::Table;

/// What a mission was asked with.
pub(crate) struct MissionReport<'a> {
    pub kind: &'a str,
    pub known: &'a Known,
    pub law: Option<&'a UserLaw>,
    pub options: &'a Options,
    pub rounds: u32,
    pub repeating: bool,
}

fn whole(data: &Table, keys: usize) -> String {
    // Errors come with their numbers.
    let names = data.heads.iter().map(|h| h.name.as_str()).filter(|n| !n.ends_with("_error"));
    let names: Vec<&str> = names.collect();
    data.blocks(&names[..keys], &names[keys..], 100)
}

/// An energy with its error.
fn energy(joules: f64, error: &Uncertainty) -> String {
    let words = error.words("J");
    if words.is_empty() { people(joules, "J") } else { format!("{} {words}", people(joules, "J")) }
}

fn count(x: f64) -> String {
    if x < 1e6 { format!("{x:.0}") } else { format!("{x:.3e}") }
}

/// The law in words.
pub(super) fn law_words(law: &UserLaw) -> String {
    let mut words = format!("N = {} · (ΔT/{} K)^(-{})", law.cycles, law.range, law.exponent);
    if let Some(a) = law.activation {
        let ev = a.energy / 1.602_176_634e-19;
        let _ = write!(words, " · exp({ev:.3} eV/k · (1/T - 1/T_ref)), T_ref = {} °C", a.reference);
    }
    words
}

pub(crate) fn text(report: &MissionReport<'_>) -> String {
    let Known { followed: f, lives, account, tables, .. } = report.known;
    let w = &f.work;
    let span = f.course.last().map_or(0.0, |i| i.time);
    let mut out = format!(
        "Mission of {}: {} in {} round{}, {} cycles of {}\n",
        report.kind,
        people(span, "s"),
        report.rounds,
        if report.rounds == 1 { "" } else { "s" },
        count(span / f.period.0),
        people(f.period.0, "s"),
    );
    if !f.complete {
        out.push_str("INTERRUPTED: what follows is of the time until then\n");
    }
    if report.options.every_cycle {
        let _ = writeln!(out, "every cycle resolved: {} solved", w.solved);
    } else {
        let _ = writeln!(
            out,
            "{} cycles solved ({} after load steps, {} more reused from equal load steps), {} leaps, {} of them repeated",
            w.solved, w.resolved, w.reused, w.leaps, w.taken_back
        );
        if w.jumps > 0 {
            let _ = writeln!(
                out,
                "{} settling{} longer than {} cycles: the rest solved by shooting",
                w.jumps,
                if w.jumps == 1 { " was" } else { "s were" },
                report.options.resolve
            );
        }
        let _ = writeln!(
            out,
            "estimated error of the temperatures: at most {}, {} at the end (tolerance {})",
            people(w.estimate, "K"),
            people(w.estimate_at_end, "K"),
            people(report.options.tolerance, "K")
        );
        if w.estimate > report.options.tolerance {
            out.push_str("THE ESTIMATED ERROR IS ABOVE THE TOLERANCE: repeat with a smaller --tolerance\n");
        }
    }
    let _ = writeln!(
        out,
        "holding the laws of devices over each cycle may add {} to that",
        people_digits(w.coupling, "K", 2)
    );
    let _ = write!(out, "\nJunctions\n{}", whole(&tables.dies, 1));
    let [input, output, losses] = std::array::from_fn(|k| energy(f.balance[k], &tables.balance[k]));
    let _ = writeln!(out, "\nsources gave {input}, the load took {output}, losses {losses}");
    if let Some(hot) = &f.hottest {
        let _ = write!(
            out,
            "\nRipple of the hottest cycle, at {}\n{}",
            people(hot.time, "s"),
            whole(&tables.ripple, 1)
        );
        let mut spectrum = tables.harmonics.clone();
        // The hottest junction's alone; the rest is in JSON and the file.
        let hottest =
            (0..f.inputs.len()).max_by(|&a, &b| hot.celsius[a].total_cmp(&hot.celsius[b])).unwrap_or(0);
        let n = hot.harmonics.len();
        spectrum.rows = spectrum.rows[hottest * n..(hottest + 1) * n].to_vec();
        let name = f.inputs.get(hottest).map_or("", String::as_str);
        let _ = write!(out, "\nAmplitudes against frequency in {name}\n{}", {
            spectrum.text(&["harmonic", "frequency", "power", "temperature"])
        });
    }
    let method = if report.repeating { "simplified, as a history that repeats" } else { "rainflow" };
    let _ = write!(
        out,
        "\nTemperature cycles (ASTM E1049-85, {method}), gathered in sixteenths of the largest range;\n`mission`: of the course, its turning points with the ripple's; `ripple`: every cycle of the control\n{}",
        whole(&tables::cycles(f, lives), 2)
    );
    if let Some(law) = report.law {
        let _ = writeln!(out, "\nDamage by the user's law {}", law_words(law));
        let damages = f.inputs.iter().zip(lives).filter_map(|(name, life)| Some((name, life.damage?)));
        for ((name, (mission, ripple)), error) in damages.zip(&tables.damage) {
            let plus_minus = error.plus_minus().map_or(String::new(), |x| format!(" ± {x:.1e}"));
            let _ = writeln!(
                out,
                "  {}: {:.3e}{plus_minus} ({:.3e} of the mission's cycles, {:.3e} of the ripple); its sum is 1 after {:.3e} such missions",
                crate::diagnostic::printable(name),
                mission + ripple,
                mission,
                ripple,
                1.0 / (mission + ripple)
            );
        }
        out.push_str("  Summed linearly (Palmgren 1924, Miner 1945). This is the user's law; nothing here says that a part follows it.\n");
    }
    let errors: Vec<&Uncertainty> =
        [&tables.dies, &tables.ripple, &tables.harmonics].into_iter().flat_map(Table::errors).collect();
    out.push_str(&account::text::judged(account, &errors));
    out
}

#[derive(Serialize)]
struct Answer<'a> {
    outcome: &'static str,
    arrangement: &'a str,
    rounds: u32,
    duration: Option<f64>,
    period: f64,
    switching_periods_per_period: u32,
    #[serde(flatten)]
    work: &'a Work,
    every_cycle: bool,
    tolerance: f64,
    input_energy: f64,
    output_energy: f64,
    losses_energy: f64,
    input_energy_error: &'a Uncertainty,
    output_energy_error: &'a Uncertainty,
    losses_energy_error: &'a Uncertainty,
    dies: &'a Table,
    hottest_at: Option<f64>,
    ripple: &'a Table,
    harmonics: &'a Table,
    cycles_gathered: Table,
    life: Vec<LifeDocument<'a>>,
    users_law: Option<String>,
    course: Table,
    steps: u64,
    iterations: u64,
    #[serde(flatten)]
    judged: account::json::JudgedDocument<'a>,
    units: BTreeMap<&'static str, &'static str>,
}

#[derive(Serialize)]
struct LifeDocument<'a> {
    die: &'a str,
    counted: Vec<Range>,
    damage_by_users_law: Option<Damage<'a>>,
}

#[derive(Serialize)]
struct Range {
    range: f64,
    mean: f64,
    count: f64,
}

#[derive(Serialize)]
struct Damage<'a> {
    mission: f64,
    ripple: f64,
    sum: f64,
    sum_error: Option<&'a Uncertainty>,
}

const UNITS: [(&str, &str); 7] = [
    ("times", "s"),
    ("energies", "J"),
    ("powers", "W"),
    ("temperatures", "degC"),
    ("ranges", "K"),
    ("errors", "K"),
    ("frequencies", "Hz"),
];

/// For programs: null for what is not finite.
pub(crate) fn json<'a>(report: &MissionReport<'a>) -> impl Serialize + use<'a> {
    let Known { followed: f, lives, account, tables, .. } = report.known;
    let mut errors = tables.damage.iter();
    let mut life = |(die, life): (&'a String, &'a Life)| {
        let range = |c: &Counted| Range { range: c.range, mean: c.mean, count: c.count };
        let mut damage =
            |(mission, ripple)| Damage { mission, ripple, sum: mission + ripple, sum_error: errors.next() };
        let counted = life.cycles.mission.iter().map(range).collect();
        LifeDocument { die, counted, damage_by_users_law: life.damage.map(&mut damage) }
    };
    Answer {
        outcome: if f.complete { "done" } else { "interrupted" },
        arrangement: report.kind,
        rounds: report.rounds,
        duration: f.course.last().map(|i| i.time),
        period: f.period.0,
        switching_periods_per_period: f.period.1,
        work: &f.work,
        every_cycle: report.options.every_cycle,
        tolerance: report.options.tolerance,
        input_energy: f.balance[0],
        output_energy: f.balance[1],
        losses_energy: f.balance[2],
        input_energy_error: &tables.balance[0],
        output_energy_error: &tables.balance[1],
        losses_energy_error: &tables.balance[2],
        dies: &tables.dies,
        hottest_at: f.hottest.as_ref().map(|h| h.time),
        ripple: &tables.ripple,
        harmonics: &tables.harmonics,
        cycles_gathered: tables::cycles(f, lives),
        life: f.inputs.iter().zip(lives).map(&mut life).collect(),
        users_law: report.law.map(law_words),
        course: tables::course(f),
        steps: f.counters.steps,
        iterations: f.counters.iterations,
        judged: account::json::judged(account),
        units: UNITS.into(),
    }
}
