//! The statistics of a batch, for people and as JSON.

use std::fmt::Write;

use joulestep_engine::units::people;
use serde_json::{Value, json};

use crate::batch::indices::Indices;
use crate::batch::plan::Sampling;
use crate::batch::statistics::{CONFIDENCE, ColumnSummary, PERCENTS, Share, Statistics};
use crate::batch::variant::Study;

/// Indices told of one output: the largest ones.
const TOLD_INDICES: usize = 12;

/// What of the outputs is worth a line for people: what the user asked for, limits, junctions.
pub fn main_outputs(study: &Study) -> Vec<usize> {
    let asked = usize::from(study.plan.search.is_some()) + study.plan.measures.len();
    let mut told: Vec<usize> = (0..asked).collect();
    for limit in &study.limits {
        let (least, largest) = limit.columns;
        told.extend(limit.bounds.0.is_finite().then_some(least));
        told.extend(limit.bounds.1.is_finite().then_some(largest));
    }
    let hottest = study.outputs.iter().enumerate().filter(|(_, c)| c.name.ends_with(".hottest"));
    told.extend(hottest.map(|(k, _)| k));
    told
}

fn share(study: &Study, s: &Share) -> String {
    let percent = |x: f64| format!("{:.2} %", 100.0 * x);
    let rate = if s.of == 0 { "none judged".into() } else { percent(s.hits as f64 / s.of as f64) };
    // The bounds are about chance, and exact for independent draws only.
    let how = match study.plan.sampling {
        Sampling::MonteCarlo { .. } => "",
        Sampling::LatinHypercube { .. } | Sampling::SobolSequence { .. } => ", as if drawn independently",
        _ => return format!("{} of {} ({rate})", s.hits, s.of),
    };
    let bounds = format!("{} to {}", percent(s.bounds.0), percent(s.bounds.1));
    format!("{} of {} ({rate}; {:.0} % confidence {bounds}{how})", s.hits, s.of, 100.0 * CONFIDENCE)
}

fn inputs(study: &Study, variant: usize) -> String {
    let one = |(input, x): (&crate::batch::plan::Input, &f64)| {
        format!("{} = {}", input.name, people(*x, &input.slot.unit))
    };
    let all: Vec<String> = study.plan.inputs.iter().zip(study.inputs(variant)).map(one).collect();
    all.join(", ")
}

/// For people.
pub fn text(study: &Study, statistics: &Statistics, indices: &[(usize, Indices)]) -> String {
    let mut out = String::new();
    if !study.plan.title.is_empty() {
        let _ = writeln!(out, "{}", study.plan.title);
    }
    let ended: Vec<String> = statistics.ended.iter().map(|(s, n)| format!("{n} {}", s.word())).collect();
    let _ = writeln!(out, "Variants: {}", ended.join(", "));
    if let Some(passes) = &statistics.passes {
        let _ = writeln!(out, "All limits kept: {}", share(study, passes));
    }
    for limit in &statistics.limits {
        let _ = writeln!(out, "Limit {}: kept by {}", limit.name, share(study, &limit.kept));
        if let Some((variant, margin)) = limit.worst {
            let unit =
                study.limits.iter().find(|l| l.name == limit.name).map(|l| &study.outputs[l.columns.0].unit);
            let unit = unit.map_or("1", |u| if u == "degC" { "K" } else { u });
            let _ = writeln!(
                out,
                "  worst: variant {variant}, margin {}: {}",
                people(margin, unit),
                inputs(study, variant)
            );
        }
    }
    let told = main_outputs(study);
    let lines: Vec<&ColumnSummary> =
        told.iter().map(|k| &statistics.columns[*k]).filter(|c| c.count > 0).collect();
    if !lines.is_empty() {
        let _ = writeln!(
            out,
            "Percentiles                      least         5 %        50 %        95 %     largest"
        );
    }
    for c in lines {
        let column = &study.outputs[c.output];
        let _ = write!(out, "  {:<26}", column.name);
        for k in [0, 2, 3, 4, 6] {
            let _ = write!(out, " {:>11}", people(c.percentiles[k], &column.unit));
        }
        out.push('\n');
    }
    for (output, of) in indices.iter().filter(|(k, _)| told.contains(k)) {
        let name = &study.outputs[*output].name;
        let _ = writeln!(out, "Sobol indices of {name} ({} points): first order, total", of.points);
        let mut order: Vec<usize> = (0..of.total.len()).collect();
        order.sort_by(|a, b| of.total[*b].total_cmp(&of.total[*a]));
        for k in order.into_iter().take(TOLD_INDICES) {
            let _ = writeln!(
                out,
                "  {:<40} {:>7.3} {:>7.3}",
                study.plan.inputs[k].name, of.first[k], of.total[k]
            );
        }
    }
    out
}

fn number(x: f64) -> Value {
    if x.is_finite() { json!(x) } else { Value::Null }
}

fn share_json(s: &Share) -> Value {
    json!({ "variants": s.hits, "of": s.of, "lower": s.bounds.0, "upper": s.bounds.1, "confidence": CONFIDENCE })
}

/// For programs: SI units, temperatures in degC.
pub fn json(study: &Study, statistics: &Statistics, indices: &[(usize, Indices)]) -> Value {
    let ended: serde_json::Map<String, Value> =
        statistics.ended.iter().map(|(s, n)| (s.word().replace(' ', "_"), json!(n))).collect();
    let limits = statistics.limits.iter().map(|l| {
        let worst = l.worst.map(|(variant, margin)| {
            let values = study.inputs(variant).iter().zip(&study.plan.inputs);
            let inputs: serde_json::Map<String, Value> =
                values.map(|(x, input)| (input.name.clone(), number(*x))).collect();
            json!({ "variant": variant, "margin": number(margin), "inputs": inputs })
        });
        json!({ "name": l.name, "kept": share_json(&l.kept), "worst": worst })
    });
    let columns = statistics.columns.iter().map(|c| {
        let percentiles: serde_json::Map<String, Value> =
            PERCENTS.iter().zip(c.percentiles).map(|(p, x)| (p.to_string(), number(x))).collect();
        json!({
            "name": study.outputs[c.output].name, "unit": study.outputs[c.output].unit, "count": c.count,
            "mean": number(c.mean), "deviation": number(c.deviation), "percentiles": percentiles,
        })
    });
    let indices = indices.iter().map(|(output, of)| {
        let per_input = study.plan.inputs.iter().enumerate().map(|(k, input)| {
            json!({ "input": input.name, "first": number(of.first[k]), "total": number(of.total[k]) })
        });
        json!({
            "output": study.outputs[*output].name, "points": of.points,
            "inputs": per_input.collect::<Vec<_>>(),
        })
    });
    json!({
        "title": study.plan.title,
        "variants": study.count(),
        "ended": ended,
        "all_limits_kept": statistics.passes.as_ref().map(share_json),
        "limits": limits.collect::<Vec<_>>(),
        "outputs": columns.collect::<Vec<_>>(),
        "sobol_indices": indices.collect::<Vec<_>>(),
    })
}
