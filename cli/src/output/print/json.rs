//! A study as JSON: SI units (temperatures in degC); null where a number is not finite.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::output::answer::{Answer, Study, StudyTable};
use crate::output::table::Table;

#[derive(Serialize)]
struct Document<'a> {
    study: &'a str,
    title: &'a str,
    command: &'a str,
    outcome: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<&'a str>,
    verdict: &'a str,
    #[serde(skip_serializing_if = "str::is_empty")]
    input: &'a str,
    answers: Vec<One<'a>>,
    doubts: &'a [String],
    notes: &'a [String],
    conditions: &'a [String],
    definitions: BTreeMap<&'a str, &'a str>,
    tables: BTreeMap<&'a str, TableDocument<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    computation: Option<Cost>,
}

/// What it took, where steps were taken.
#[derive(Serialize)]
struct Cost {
    steps: u64,
    iterations: u64,
    steps_of_estimate: u64,
    iterations_of_estimate: u64,
}

#[derive(Serialize)]
struct One<'a> {
    name: &'a str,
    quantity: &'a str,
    value: f64,
    unit: &'a str,
    error: Option<f64>,
    error_kind: &'a str,
    minimum: f64,
    maximum: f64,
    limit: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    limit_kind: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    occurrence: Option<&'a str>,
    ruling: &'a str,
    waived: Option<&'a str>,
    within_range: bool,
    remark: &'a str,
}

#[derive(Serialize)]
struct TableDocument<'a> {
    title: &'a str,
    units: BTreeMap<String, String>,
    rows: Table,
}

fn of(a: &Answer) -> One<'_> {
    let word = |k: usize| a.limited.as_ref().map(|l| l.words()[k]).filter(|word| !word.is_empty());
    One {
        name: &a.name,
        quantity: &a.quantity,
        value: a.value,
        unit: &a.unit,
        error: a.error.plus_minus(),
        error_kind: a.error.word(),
        minimum: a.bounds().lower,
        maximum: a.bounds().upper,
        limit: a.set_by(),
        limit_kind: word(0),
        occurrence: word(1),
        ruling: a.ruling.word(),
        waived: a.waived(),
        within_range: a.known,
        remark: &a.remark,
    }
}

/// The study for programs.
pub fn json(study: &Study) -> impl Serialize + '_ {
    let table = |t: &StudyTable| {
        let data = t.data.plain();
        (data.units(), data)
    };
    let cost = &study.computation;
    let tables = study.tables.iter().map(|t| {
        let (units, rows) = table(t);
        (t.name.as_str(), TableDocument { title: &t.title, units, rows })
    });
    Document {
        study: &study.kind,
        title: &study.title,
        command: &study.command,
        outcome: study.outcome.word(),
        why: study.outcome.why(),
        verdict: study.verdict.map_or("not judged", |v| v.word()),
        input: &study.input,
        answers: study.answers.iter().map(of).collect(),
        doubts: &study.doubts,
        notes: &study.notes,
        conditions: &study.conditions,
        definitions: study.definitions.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect(),
        tables: tables.collect(),
        computation: (cost.steps > 0).then_some(Cost {
            steps: cost.steps,
            iterations: cost.iterations,
            steps_of_estimate: cost.of_estimate,
            iterations_of_estimate: cost.iterations_of_estimate,
        }),
    }
}
