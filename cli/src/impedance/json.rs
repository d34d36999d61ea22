//! Impedances for programs: SI units.

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm};
use joulestep_engine::thermal::pulses::repetitive_peak;
use serde_json::{Value, json};

use super::{DUTIES, Impedance, Path, Points, times};

/// One stack, or two.
pub fn json(stacks: &[Impedance]) -> Value {
    json!({ "stacks": stacks.iter().map(one).collect::<Vec<_>>() })
}

/// A fit of measured points.
pub fn points_json(points: &Points) -> Value {
    json!({
        "points": points.points.len(),
        "steady_resistance": points.fit.terms.iter().map(|t| t.resistance).sum::<f64>(),
        "largest_error": points.fit.largest,
        "rms_error": points.fit.typical,
        "foster": foster(&points.fit.terms),
        "cauer": cauer(&points.cells),
        "round_trip_difference": points.round_trip,
        "note": super::text::NOT_LAYERS,
    })
}

fn one(stack: &Impedance) -> Value {
    let to = |path: &Path| path_json(path, &stack.dies);
    json!({
        "stack": stack.name,
        "title": stack.title,
        "property_temperature": stack.temperature,
        "dies": stack.dies,
        "boundaries": stack.boundaries,
        "junction_to_case": stack.case.as_ref().map(to),
        "junction_to_boundary": to(&stack.ambient),
        "steady_rise_over_case_in_place": stack.over_case,
    })
}

fn path_json(path: &Path, dies: &[String]) -> Value {
    let network = path.network();
    let times = times(&Span::default(), 5);
    let die = |d: usize| {
        let exact = path.terms(d);
        let curve =
            |from: usize| times.iter().map(|t| network.step_response(*t, d, from)).collect::<Vec<_>>();
        let mutual = (0..dies.len()).filter(|j| *j != d);
        let mutual: serde_json::Map<String, Value> = mutual
            .map(|j| {
                let told = json!({ "steady": network.steady_resistance(d, j), "impedance": curve(j) });
                (dies[j].clone(), told)
            })
            .collect();
        let family = |duty: &f64| {
            let peaks: Vec<f64> = times.iter().map(|t| repetitive_peak(&exact, *t, *duty)).collect();
            json!({ "duty": duty, "peak": peaks })
        };
        let structure = path.structure(d);
        json!({
            "die": dies[d],
            "steady_resistance": network.steady_resistance(d, d),
            "largest_error": path.errors[d],
            "impedance": curve(d),
            "heated_by": mutual,
            "pulses": DUTIES.iter().map(family).collect::<Vec<_>>(),
            "foster": foster(&path.fits[d].terms),
            "foster_largest_error": path.fits[d].largest,
            "cauer": cauer(&path.cells(d)),
            "foster_all_modes": foster(&exact),
            "structure_function": {
                "resistance": structure.iter().map(|p| p.0).collect::<Vec<_>>(),
                "capacitance": structure.iter().map(|p| p.1).collect::<Vec<_>>(),
            },
        })
    };
    let study = &path.study;
    let levels =
        study.levels.iter().map(|l| json!({ "cells": l.cells, "steady_resistances": l.resistances }));
    json!({
        "time": times,
        "dies": (0..dies.len()).map(die).collect::<Vec<_>>(),
        "meshes": levels.collect::<Vec<_>>(),
        "observed_order": study.order,
        "modes": network.time_constants().len(),
        "reduction_error": study.finest.error,
    })
}

fn foster(terms: &[FosterTerm]) -> Value {
    let terms = terms.iter().map(|t| json!({ "resistance": t.resistance, "time_constant": t.time_constant }));
    json!(terms.collect::<Vec<_>>())
}

fn cauer(cells: &[CauerCell]) -> Value {
    let cells = cells.iter().map(|c| json!({ "capacitance": c.capacitance, "resistance": c.resistance }));
    json!(cells.collect::<Vec<_>>())
}
