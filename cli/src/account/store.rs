//! The account as the result file keeps it.

use joulestep_engine::accounts::ledger::Ledger;

use super::Account;
use crate::result::{LedgerRow, LedgerTable, Scalar, Summary};

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

/// The numbers a reader looks at first. Limits that the user set stand at the extreme that they bound.
pub fn summary(a: &Account) -> Summary {
    let plain = |name: String, long_name: String, value: f64, unit: &str| Scalar {
        name,
        long_name,
        value,
        unit: unit.to_string(),
        minimum: None,
        maximum: None,
    };
    let mut scalars = vec![plain("reached".into(), "simulated time reached".into(), a.reached, "s")];
    for p in &a.peaks {
        scalars.push(plain(format!("{}.least", p.name), format!("least {}", p.long_name), p.least, p.unit));
        scalars.push(plain(
            format!("{}.largest", p.name),
            format!("largest {}", p.long_name),
            p.largest,
            p.unit,
        ));
    }
    for j in &a.junctions {
        let words = format!("hottest virtual junction temperature of {}", j.name);
        scalars.push(plain(format!("{}.hottest", j.name), words, j.hottest, "degC"));
        let words = format!("error that the coupling of heat leaves in the temperature of {}", j.name);
        scalars.push(plain(format!("{}.coupling_error", j.name), words, j.coupling_error, "K"));
        scalars.push(plain(format!("{}.heat", j.name), format!("heat from {}", j.name), j.heat, "J"));
    }
    for j in a.judged.iter().filter(|j| j.by_user) {
        if j.max.is_finite() {
            let words = format!("largest value of limit {}", j.name);
            let mut scalar = plain(format!("limit.{}.largest", j.name), words, j.largest, j.unit);
            scalar.maximum = Some(j.max);
            scalars.push(scalar);
        }
        if j.min.is_finite() {
            let words = format!("least value of limit {}", j.name);
            let mut scalar = plain(format!("limit.{}.least", j.name), words, j.least, j.unit);
            scalar.minimum = Some(j.min);
            scalars.push(scalar);
        }
    }
    // Ratings of the parts are no limits of the user: numbers beside one another, so that they do not touch the verdict.
    for j in a.judged.iter().filter(|j| !j.by_user) {
        let bounds = [("largest", "at_most", j.max, j.largest), ("least", "at_least", j.min, j.least)];
        for (end, name, bound, found) in bounds.into_iter().filter(|b| b.2.is_finite()) {
            let words = format!("{end} value of rating {}", j.name);
            scalars.push(plain(format!("rating.{}.{end}", j.name), words, found, j.unit));
            let words = format!("bound of rating {}", j.name);
            scalars.push(plain(format!("rating.{}.{name}", j.name), words, bound, j.unit));
        }
    }
    let relative = "ledger residual against the energy turned over".to_string();
    scalars.push(plain("ledger_residual_relative".into(), relative, a.relative, "1"));
    scalars.push(plain("steps".into(), "steps taken".into(), a.counters.steps as f64, "1"));
    scalars.push(plain("iterations".into(), "Newton iterations".into(), a.counters.iterations as f64, "1"));
    let exchanges = "exchanges of heat and temperature".to_string();
    scalars.push(plain("couplings".into(), exchanges, a.counters.couplings as f64, "1"));
    Summary { scalars }
}
