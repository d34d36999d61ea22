//! The account for programs.

use serde_json::{Value, json};

use super::happened::Line;
use super::{Account, Outcome};

/// A number, or null where it is not finite.
fn number(x: f64) -> Value {
    if x.is_finite() { json!(x) } else { Value::Null }
}

/// The account as JSON; SI units, temperatures in °C.
pub fn json(a: &Account) -> Value {
    let (outcome, why) = match &a.outcome {
        Outcome::Done => ("done", None),
        Outcome::Interrupted => ("interrupted", None),
        Outcome::Failed(why) => ("failed", Some(why)),
    };
    let events = a.events.iter().map(|line| {
        let (count, e, last) = match line {
            Line::One(e) => (1, e, e),
            Line::Many(count, first, last) => (*count, first, last),
        };
        let note = if count == 1 { e.note.as_str() } else { "" };
        json!({
            "time": e.time, "kind": e.kind.word(), "subject": e.subject, "note": note, "count": count,
            "last_time": last.time, "value": if count == 1 { number(e.value) } else { Value::Null }, "unit": e.unit,
        })
    });
    let extremes = a.peaks.iter().map(|p| {
        json!({
            "name": p.name, "long_name": p.long_name, "unit": p.unit,
            "least": number(p.least.0), "least_at": number(p.least.1),
            "largest": number(p.most.0), "largest_at": number(p.most.1),
        })
    });
    let junctions = a.junctions.iter().map(|j| {
        json!({
            "name": j.name, "hottest": number(j.hottest.0), "hottest_at": number(j.hottest.1),
            "end": number(j.end), "rated": number(j.rated), "heat": number(j.heat),
            "coupling_error": number(j.coupling_kelvin()), "coupling_error_not_bounded": j.unbounded(),
        })
    });
    let energies = a.energies.iter().map(|e| {
        json!({
            "component": e.name, "delivered": e.delivered, "dissipated": e.dissipated, "stored": e.stored,
        })
    });
    let limits = a.judged.iter().map(|j| {
        json!({
            "name": j.name, "unit": j.unit, "set_by": if j.by_user { "user" } else { "part" },
            "min": number(j.bounds.0), "max": number(j.bounds.1),
            "least": number(j.found.0), "largest": number(j.found.1), "kept": j.kept(),
        })
    });
    json!({
        "title": a.title,
        "outcome": outcome,
        "why": why,
        "reached": a.reached,
        "end": a.end,
        "method": a.method,
        "steps": a.counters.steps,
        "iterations": a.counters.iterations,
        "windows": a.counters.windows,
        "couplings": a.counters.couplings,
        "events": events.collect::<Vec<_>>(),
        "extremes": extremes.collect::<Vec<_>>(),
        "junctions": junctions.collect::<Vec<_>>(),
        "energies": energies.collect::<Vec<_>>(),
        "ledger_residual": number(a.residual),
        "ledger_residual_relative": number(a.relative),
        "limits": limits.collect::<Vec<_>>(),
        "verdict": a.verdict().word(),
    })
}
