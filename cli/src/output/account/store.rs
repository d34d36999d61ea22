//! The account as the result file keeps it.

use joulestep_engine::accounts::ledger::Ledger;

use super::{Account, Outcome};
use crate::judge::{Uncertainty, Verdict};
use crate::output::result::{LedgerRow, LedgerTable, Scalar, Summary};

/// The ledger, a row per component of the circuit.
pub fn ledger(ledger: &Ledger<f64>) -> LedgerTable {
    let rows = ledger.entries.iter().map(|e| LedgerRow {
        component: e.name.clone(),
        delivered: e.delivered,
        dissipated: e.dissipated,
        stored_change: e.stored,
    });
    LedgerTable { rows: rows.collect(), residual: ledger.residual, residual_relative: ledger.relative() }
}

/// Limits and ratings at the extremes that they bound.
pub fn judged(a: &Account) -> Vec<Scalar> {
    let mut scalars = Vec::new();
    for j in &a.judged {
        let before = if j.by_user { "limit" } else { "rating" };
        let [least, most] = j.sides();
        for (end, (found, error, bounds)) in [("largest", most), ("least", least)] {
            if bounds.is_none() {
                continue;
            }
            let words = format!("{end} value of {before} {}", j.name);
            let name = format!("{before}.{}.{end}", j.name);
            let scalar = Scalar {
                spread: a.spread_of(&name).map(|n| n.spread.clone()),
                name,
                long_name: words,
                value: found,
                unit: j.unit.to_string(),
                error: error.clone(),
                ..Scalar::default()
            };
            let finite = |x: f64| Some(x).filter(|x| x.is_finite());
            let (minimum, maximum) = (finite(bounds.lower), finite(bounds.upper));
            scalars.push(Scalar { minimum, maximum, ruled: Some(j.ruling), ..scalar });
        }
    }
    scalars
}

/// The numbers a reader looks at first, each with its error. Limits and ratings stand at the extremes that they bound.
pub fn summary(a: &Account) -> Summary {
    let with = |name: String, long_name: String, value: f64, unit: &str, error: &Uncertainty| Scalar {
        long_name,
        value,
        unit: unit.to_string(),
        error: error.clone(),
        spread: a.spread_of(&name).map(|n| n.spread.clone()),
        name,
        ..Scalar::default()
    };
    // Counts are what they are.
    let exact = Uncertainty::within(0.0);
    let plain = |name: &str, words: &str, value: f64, unit: &str| {
        with(name.into(), words.into(), value, unit, &exact)
    };
    let mut scalars = vec![plain("reached", "simulated time reached", a.reached, "s")];
    for p in &a.peaks {
        let words = |end: &str| format!("{end} {}", p.long_name);
        scalars.push(with(format!("{}.least", p.name), words("least"), p.least, p.unit, &p.least_error));
        scalars.push(with(
            format!("{}.largest", p.name),
            words("largest"),
            p.largest,
            p.unit,
            &p.largest_error,
        ));
    }
    for j in &a.junctions {
        let words = format!("hottest virtual junction temperature of {}", j.name);
        scalars.push(with(format!("{}.hottest", j.name), words, j.hottest, "degC", &j.hottest_error));
        let words = format!("error that the coupling of heat leaves in the temperature of {}", j.name);
        scalars.push(plain(&format!("{}.coupling_error", j.name), &words, j.coupling_error, "K"));
        let words = format!("heat from {}", j.name);
        scalars.push(with(format!("{}.heat", j.name), words, j.heat, "J", &j.heat_error));
    }
    let errors = a.let_through.iter().zip(&a.let_through_errors);
    for ((protection, i2t), error) in errors.filter(|l| l.0.1.is_finite()) {
        let words = format!("largest let-through I²t of a fault that {protection} cleared");
        scalars.push(with(format!("{protection}.let-through"), words, *i2t, "A^2 s", error));
    }
    scalars.extend(judged(a));
    let relative = "ledger residual against the energy turned over or stored";
    scalars.push(plain("ledger_residual_relative", relative, a.relative, "1"));
    scalars.push(plain("steps", "steps taken", a.counters.steps as f64, "1"));
    scalars.push(plain("iterations", "Newton iterations", a.counters.iterations as f64, "1"));
    let exchanges = "exchanges of heat and temperature";
    scalars.push(plain("couplings", exchanges, a.counters.couplings as f64, "1"));
    let stalled = "steps of the finest length whose error was above its bound";
    scalars.push(plain("stalled", stalled, a.counters.stalled as f64, "1"));
    summary_of(a, scalars)
}

/// Numbers with the doubts, waivers and notes of an account.
pub fn summary_of(a: &Account, scalars: Vec<Scalar>) -> Summary {
    let mut doubts: Vec<String> = a.doubts.iter().map(|d| d.text.clone()).collect();
    if a.outcome != Outcome::Done && a.verdict() == Verdict::NotProven {
        doubts.push("the run did not come to its end".into());
    }
    Summary {
        scalars,
        input: a.input(),
        doubts,
        waivers: a.waivers.iter().map(|w| format!("`{}`: {}", w.rating, w.reason)).collect(),
        notes: a.notes.iter().cloned().chain(a.stall()).collect(),
    }
}
