//! Tables of double pulses, and the definitions of their numbers.

use joulestep_engine::units::people;
use joulestep_models::arrangement::double_pulse::{Outcome, RECOVERY_SHARE, SIGNALS, has_kelvin};

use super::Grid;
use super::judge::Judged;
use crate::output::account::Judgement;
use crate::output::answer::{Answer, StudyTable};
use crate::output::table::{Cell, Head, Table};

type Column = (&'static str, &'static str, &'static str, fn(&Outcome) -> Option<f64>);

/// Name, symbol, unit, value.
const COLUMNS: &[Column] = &[
    ("temperature", "T_j", "degC", |o| Some(o.point.celsius)),
    ("voltage", "V", "V", |o| Some(o.point.voltage)),
    ("gate_resistance", "R_g", "ohm", |o| Some(o.point.gate_resistance)),
    ("current", "I", "A", |o| Some(o.point.current)),
    ("turn_off_current", "I(off)", "A", |o| Some(o.switched.0)),
    ("turn_on_current", "I(on)", "A", |o| Some(o.switched.1)),
    ("turn_on_energy", "E_on", "J", |o| Some(o.on.energy)),
    ("turn_off_energy", "E_off", "J", |o| Some(o.off.energy)),
    ("recovery_energy", "E_rr", "J", |o| Some(o.recovery?.energy)),
    ("turn_on_delay", "t_d(on)", "s", |o| Some(o.on.delay)),
    ("rise_time", "t_r", "s", |o| Some(o.on.time)),
    ("turn_off_delay", "t_d(off)", "s", |o| Some(o.off.delay)),
    ("fall_time", "t_f", "s", |o| Some(o.off.time)),
    ("recovery_charge", "Q_rr", "C", |o| Some(o.recovery?.charge)),
    ("recovery_current", "I_RM", "A", |o| Some(o.recovery?.peak.0)),
    ("recovery_time", "t_rr", "s", |o| Some(o.recovery?.extrapolated)),
    ("peak_current", "i_D,max", "A", |o| Some(o.on.peak_current.0)),
    ("peak_voltage", "v_DS,max", "V", |o| Some(o.off.peak_voltage.0)),
    ("peak_upper_voltage", "v_upper,max", "V", |o| Some(o.upper_peak.0)),
    ("turn_on_current_slope", "di/dt(on)", "A/s", |o| Some(o.on.current_slope)),
    ("turn_on_voltage_slope", "dv/dt(on)", "V/s", |o| Some(o.on.voltage_slope)),
    ("turn_off_current_slope", "di/dt(off)", "A/s", |o| Some(o.off.current_slope)),
    ("turn_off_voltage_slope", "dv/dt(off)", "V/s", |o| Some(o.off.voltage_slope)),
    ("turn_on_energy_whole", "E_on,whole", "J", |o| Some(o.on.whole)),
    ("turn_off_energy_whole", "E_off,whole", "J", |o| Some(o.off.whole)),
    ("recovery_charge_whole", "Q_rr,whole", "C", |o| Some(o.upper_whole?.0)),
    ("recovery_energy_whole", "E_rr,whole", "J", |o| Some(o.upper_whole?.1)),
    ("turn_on_from", "E_on from", "s", |o| Some(o.on.limits.0)),
    ("turn_on_to", "E_on to", "s", |o| Some(o.on.limits.1)),
    ("turn_off_from", "E_off from", "s", |o| Some(o.off.limits.0)),
    ("turn_off_to", "E_off to", "s", |o| Some(o.off.limits.1)),
    ("recovery_from", "E_rr from", "s", |o| Some(o.recovery?.zero)),
    ("recovery_to", "E_rr to", "s", |o| Some(o.recovery?.end)),
    ("load_inductance", "L", "H", |o| Some(o.load)),
    ("ledger_residual_relative", "ledger", "1", |o| Some(o.ledger.relative())),
];

/// Columns that name an operating point.
const POINT: [&str; 4] = ["temperature", "voltage", "gate_resistance", "current"];

/// Columns that are what they are: the point, and what follows from it alone.
const EXACT: [&str; 6] =
    ["temperature", "voltage", "gate_resistance", "current", "load_inductance", "ledger_residual_relative"];

/// What the peaks of a point are estimated to miss between the ends of steps.
pub(super) fn missed_all(o: &Outcome) -> Vec<(&'static str, f64)> {
    COLUMNS.iter().map(|c| (c.0, at_peak(o, c.0))).filter(|m| m.1 != 0.0).collect()
}

/// What a peak misses; 0 for what is no peak.
fn missed(j: &Judged, column: &str) -> f64 {
    j.missed.iter().find(|m| m.0 == column).map_or(0.0, |m| m.1)
}

/// The same, read off the waveforms.
fn at_peak(o: &Outcome, column: &str) -> f64 {
    let (signal, at, sign) = match (column, o.recovery) {
        ("recovery_current", Some(recovery)) => ("upper-current", recovery.peak.1, -1.0),
        ("peak_current", _) => ("current", o.on.peak_current.1, 1.0),
        ("peak_voltage", _) => ("voltage", o.off.peak_voltage.1, 1.0),
        ("peak_upper_voltage", _) => ("upper-voltage", o.upper_peak.1, 1.0),
        _ => return 0.0,
    };
    let (w, k) = (&o.waveforms, SIGNALS.iter().position(|s| *s == signal));
    let peak = w.time.iter().position(|t| *t == at);
    let around = peak.filter(|p| *p >= 2).and_then(|p| Some((w.time.get(p - 2..p + 2)?, p)));
    let (Some(k), Some((time, p))) = (k, around) else { return 0.0 };
    beyond([0, 1, 2, 3].map(|n| (time[n], sign * w.samples[p - 2 + n][k])))
}

/// How far the vertex of a parabola through the last three of four points lies above the third, their largest. A kink
/// has none: its second derivative does not go on from that of the first three, and a jump has two points at one
/// instant.
fn beyond(points: [(f64, f64); 4]) -> f64 {
    let [first, before, after] =
        [0, 1, 2].map(|n| (points[n + 1].1 - points[n].1) / (points[n + 1].0 - points[n].0));
    let length = |n: usize| points[n + 2].0 - points[n].0;
    let (last, curvature) = (2.0 * (before - first) / length(0), 2.0 * (after - before) / length(1));
    let slope = before + 0.5 * curvature * (points[2].0 - points[1].0);
    let rounded = curvature < 0.0 && last < 0.0 && curvature >= GOES_ON * last;
    if rounded && before >= 0.0 && after <= 0.0 { -0.5 * slope * slope / curvature } else { 0.0 }
}

/// How much larger the second derivative at a rounded peak may be than just before it.
const GOES_ON: f64 = 4.0;

/// Columns that people read together.
const GROUPS: [(&str, &[&str]); 3] = [
    (
        "Energies and recovery",
        &[
            "turn_on_energy",
            "turn_off_energy",
            "recovery_energy",
            "recovery_charge",
            "recovery_current",
            "recovery_time",
        ],
    ),
    (
        "Times and peaks",
        &["turn_on_delay", "rise_time", "turn_off_delay", "fall_time", "peak_current", "peak_voltage"],
    ),
    (
        "Slopes, and energies from edge to edge",
        &[
            "turn_on_current_slope",
            "turn_on_voltage_slope",
            "turn_off_current_slope",
            "turn_off_voltage_slope",
            "turn_on_energy_whole",
            "turn_off_energy_whole",
            "recovery_charge_whole",
        ],
    ),
];

/// Names of the tables of [`GROUPS`].
const NAMES: [&str; 3] = ["energies", "times", "slopes"];
/// Relative ledger residual up to which energies are trusted.
pub(super) const CLOSES: f64 = 1e-4;

/// Answers of a point: the columns that people read, or the few that tell of one point among many.
pub(super) fn answers(before: &str, words: &str, j: &Judged, few: bool) -> Vec<Answer> {
    let few_of = ["turn_on_energy", "turn_off_energy", "recovery_energy", "peak_voltage"];
    let read = |c: &&Column| GROUPS.iter().any(|g| g.1.contains(&c.0)) && (!few || few_of.contains(&c.0));
    let answer = |c: &Column| {
        let quantity = format!("{words}{}, {}", c.1, c.0.replace('_', " "));
        let value = (c.3)(&j.outcome).unwrap_or(f64::NAN);
        let answer = Answer::new(format!("{before}{}", c.0), quantity, value, c.2);
        Answer { missed: missed(j, c.0), ..answer }
    };
    COLUMNS.iter().filter(read).map(answer).collect()
}

/// Name, unit and value of every number of a point that it has.
pub(super) fn numbers(o: &Outcome) -> impl Iterator<Item = (&'static str, &'static str, f64)> {
    COLUMNS.iter().filter_map(move |c| Some((c.0, c.2, (c.3)(o).filter(|x| x.is_finite())?)))
}

/// A table of columns behind those that name the point.
fn table(name: &str, title: &str, columns: &[&str], found: &[Judged]) -> StudyTable {
    let all: Vec<&Column> =
        COLUMNS.iter().filter(|c| POINT.contains(&c.0) || columns.contains(&c.0)).collect();
    let heads = all.iter().map(|c| Head::number(c.0, c.1, c.2)).collect();
    let row = |j: &Judged| all.iter().map(|c| (c.3)(&j.outcome).into()).collect();
    let estimated: Vec<&str> = all.iter().map(|c| c.0).filter(|c| !EXACT.contains(c)).collect();
    let missed = found.iter().flat_map(|j| estimated.iter().map(|c| missed(j, c)));
    let missed = missed.collect();
    let data = Table { heads, rows: found.iter().map(row).collect() };
    StudyTable { missed, ..StudyTable::new(name, title, POINT.len(), data).estimated(&estimated) }
}

/// What the ratings bound, point by point.
fn ratings(found: &[Judged]) -> Option<StudyTable> {
    let judged = &found.first()?.account.judged;
    let sides: Vec<(usize, usize)> = (0..judged.len())
        .flat_map(|k| [(k, 0), (k, 1)])
        .filter(|&(k, end)| !judged[k].sides()[end].1.is_none())
        .collect();
    let name = |&(k, end): &(usize, usize)| {
        let (j, word) = (&judged[k].limit, ["least", "largest"][end]);
        (format!("{}.{word}", j.name), format!("{} {}", ["min", "max"][end], j.name), j.unit.as_str())
    };
    let value =
        |j: &Judgement, end: usize| if end == 0 { (j.least, j.missed.0) } else { (j.largest, j.missed.1) };
    let points: Vec<&Column> = COLUMNS.iter().filter(|c| POINT.contains(&c.0)).collect();
    let mut heads: Vec<Head> = points.iter().map(|c| Head::number(c.0, c.1, c.2)).collect();
    heads.extend(sides.iter().map(name).map(|(name, words, unit)| Head::number(&name, &words, unit)));
    let row = |j: &Judged| -> Vec<Cell> {
        let rest = sides.iter().map(|&(k, end)| Cell::from(value(&j.account.judged[k], end).0));
        points.iter().map(|c| Cell::from((c.3)(&j.outcome))).chain(rest).collect()
    };
    let data = Table { heads, rows: found.iter().map(row).collect() };
    let names: Vec<String> = sides.iter().map(|s| name(s).0).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let missed = found.iter().flat_map(|j| sides.iter().map(|&(k, end)| value(&j.account.judged[k], end).1));
    let missed = missed.collect();
    let table = StudyTable::new("ratings", "What the ratings bound", POINT.len(), data).estimated(&names);
    (!names.is_empty()).then_some(StudyTable { missed, ..table })
}

/// All tables; the energies are the main one.
pub(super) fn tables(found: &[Judged]) -> Vec<StudyTable> {
    let mut out: Vec<StudyTable> =
        GROUPS.iter().zip(NAMES).map(|((title, columns), name)| table(name, title, columns, found)).collect();
    // Those of a single point are its answers.
    out.extend(ratings(found).filter(|_| found.len() > 1));
    let shown = |name: &str| POINT.contains(&name) || GROUPS.iter().any(|g| g.1.contains(&name));
    let rest: Vec<&str> = COLUMNS.iter().map(|c| c.0).filter(|c| !shown(c)).collect();
    out.push(table("rest", "Limits of the integrals, and what else was found", &rest, found));
    out
}

/// How each number is defined.
pub(super) fn definitions(grid: &Grid) -> Vec<(&'static str, String)> {
    let rules = grid.bench.rules;
    let standard = rules.standard();
    vec![
        (
            "E_on",
            format!("∫ v_DS·i_D dt {} ({standard}); at the pins of the part", rules.turn_on_limits()),
        ),
        ("E_off", format!("∫ v_DS·i_D dt {} ({standard})", rules.turn_off_limits())),
        (
            "E_on,whole and E_off,whole",
            "∫ v_DS·i_D dt from the gate's edge to the next one, conduction included. E_off holds energy that is only \
             stored in the output capacitance, E_on misses the part's own: their sum counts"
                .into(),
        ),
        (
            "E_rr, Q_rr",
            format!(
                "integrals of reverse voltage times reverse current, and of reverse current, of the upper device from zero \
                 current to {:.0} % of I_RM (IEC 60747-2); capacitive charge included",
                100.0 * RECOVERY_SHARE
            ),
        ),
        (
            "Q_rr,whole and E_rr,whole",
            "from zero current to the end of the second pulse: what rings back is taken off again. E_rr,whole holds what \
             stays stored in the output capacitance; with ringing, Q_rr and E_rr end with the first swing"
                .into(),
        ),
        ("t_rr", "from zero current to where the line through 90 % and 25 % of I_RM meets zero".into()),
        ("t_d(on), t_r", "v_GS at 10 % of its swing to i_D at 10 % of I; i_D from 10 % to 90 % of I".into()),
        ("t_d(off), t_f", "v_GS at 90 % of its swing to i_D at 90 % of I; i_D from 90 % to 10 % of I".into()),
        ("di/dt, dv/dt", "mean slopes between 10 % and 90 % of I and of V".into()),
        ("±", "by two coarser computations of the same point".into()),
        ("100 %", "I: load current at the edge; V: supply voltage; gate: off level to on level".into()),
    ]
}

/// Where the gate of the part under test returns to, in words.
fn gate_return(grid: &Grid) -> String {
    let lead = grid.part.values.maybe("source-inductance").filter(|l| *l > 0.0);
    match lead.map(|l| people(l, "H")) {
        Some(lead) if grid.bench.kelvin && has_kelvin(&grid.part) => {
            format!("the Kelvin source pin (the source lead's {lead} are outside the gate loop)")
        }
        Some(lead) => format!("the power source pin (the source lead's {lead} are common to gate and load)"),
        None => "the source pin (the part's model has no source lead, so this is a Kelvin source)".into(),
    }
}

/// The circuit in a line.
pub(super) fn circuit(grid: &Grid) -> String {
    let b = &grid.bench;
    let load = b.load.map_or_else(|| "10 µs of first pulse".into(), |l| people(l, "H"));
    let snubber = b.snubber.map_or_else(String::new, |s| {
        format!(", snubbers {} and {}", people(s.capacitance, "F"), people(s.resistance, "ohm"))
    });
    format!(
        "gate {} to {} in {}, returning to {}; loop {} and {}; load: {load}{snubber}; junctions held at T_j",
        people(b.gate_off, "V"),
        people(b.gate_on, "V"),
        people(b.ramp, "s"),
        gate_return(grid),
        people(b.loop_inductance, "H"),
        people(b.loop_resistance, "ohm"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A parabola has its vertex where it has it, whatever the steps; a kink and a jump have none.
    #[test]
    fn a_rounded_peak_between_steps_is_missed() {
        let parabola = |t: f64| (t, 3.0 - (t - 0.1) * (t - 0.1));
        assert!((beyond([-1.5, -0.7, 0.0, 0.4].map(parabola)) - 0.01).abs() < 1e-12);
        assert!(beyond([-2.0, -1.0, 0.0, 1.0].map(|t: f64| (t, -t.abs()))) == 0.0);
        assert!(beyond([(-1.0, -1.0), (0.0, 0.0), (0.0, 2.0), (1.0, 1.0)]) == 0.0);
    }
}
