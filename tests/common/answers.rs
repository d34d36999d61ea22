//! Answers and tables of a study as JSON, by their names.

use serde_json::Value;

/// The answer of this name.
pub fn answer<'a>(report: &'a Value, name: &str) -> &'a Value {
    let all = report["answers"].as_array().expect("answers");
    let found = all.iter().find(|a| a["name"] == name);
    found.unwrap_or_else(|| {
        let names: Vec<&Value> = all.iter().map(|a| &a["name"]).collect();
        panic!("no answer {name}: {names:?}")
    })
}

/// Its value, in its unit.
pub fn value(report: &Value, name: &str) -> f64 {
    answer(report, name)["value"].as_f64().unwrap_or_else(|| panic!("{name} is no number"))
}

/// Its error, ±.
pub fn plus_minus(report: &Value, name: &str) -> f64 {
    answer(report, name)["error"].as_f64().unwrap_or_else(|| panic!("{name} has no error"))
}

/// The rows of the table of this name.
pub fn rows<'a>(report: &'a Value, table: &str) -> &'a Vec<Value> {
    report["tables"][table]["rows"].as_array().unwrap_or_else(|| panic!("no table {table}"))
}
