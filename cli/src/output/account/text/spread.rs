//! What the spread of the input does, beside the numerical errors.

use joulestep_engine::units::people_digits;

use super::{WIDTH, error, errors_beside, heading, seen_digits};
use crate::diagnostic::{filled, printable};
use crate::judge::{End, FACTOR, Spread, Uncertainty};
use crate::output::account::Account;

/// The numbers that are reported.
fn numbers(a: &Account) -> Vec<(String, f64, &str, &Uncertainty)> {
    let mut all = Vec::new();
    for j in &a.judged {
        for (end, (found, known, bounds)) in End::BOTH.into_iter().zip(j.sides()) {
            if !bounds.is_none() {
                all.push((j.limit.number(end), found, j.limit.unit.as_str(), known));
            }
        }
    }
    for p in &a.peaks {
        all.push((format!("{}.least", p.name), p.least, p.unit, &p.least_error));
        all.push((format!("{}.largest", p.name), p.largest, p.unit, &p.largest_error));
    }
    for j in &a.junctions {
        all.push((format!("{}.hottest", j.name), j.hottest, "degC", &j.hottest_error));
        all.push((format!("{}.heat", j.name), j.heat, "J", &j.heat_error));
    }
    all
}

/// The section; none without `--spread`.
pub(super) fn spread(out: &mut String, a: &Account) {
    let Some(spreads) = &a.spread else { return };
    let definition = format!(
        "each input moved by a standard deviation to either side; ± input: {FACTOR} standard deviations of the number, by the \
         law of propagation; by: the input that does most"
    );
    heading(out, "Spread of the input", &definition);
    let inputs = spreads.inputs.iter().map(|i| {
        let unit = if i.unit == "degC" { "K" } else { &i.unit };
        vec![i.name.clone(), people_digits(i.value, &i.unit, 4), people_digits(i.deviation, unit, 3)]
    });
    errors_beside(out, &["input", ">value", ">standard deviation"], inputs.collect());
    out.push('\n');
    let mut bent = Vec::new();
    let rows = numbers(a).into_iter().filter_map(|(name, value, unit, known)| {
        let own = a.spread_of(&name)?;
        let of_unit = if unit == "degC" { "K" } else { unit };
        let by = own.most_by.clone().unwrap_or_default();
        let report = match &own.spread {
            Spread::Linear { deviation } => people_digits(FACTOR * deviation, of_unit, 2),
            Spread::Unresolved { deviation } => {
                format!("{} †", people_digits(FACTOR * deviation, of_unit, 2))
            }
            Spread::NotLinear { why } => {
                bent.push(format!("{name} is not linear: {why}"));
                "not linear".into()
            }
        };
        Some(vec![name, seen_digits(value, unit, 4), error(known, unit), report, by])
    });
    let rows: Vec<Vec<String>> = rows.collect();
    let unresolved = rows.iter().any(|r| r[3].ends_with('†'));
    errors_beside(out, &["number", ">value", ">±", ">± input", "by"], rows);
    if unresolved {
        filled(
            "† less than the numerical error of the runs that were compared, and mostly that error",
            WIDTH,
            out,
        );
    }
    // One reason for all numbers is reported once.
    let mut report: Vec<&str> = Vec::new();
    for text in &bent {
        let why = text.split_once(": ").map_or("", |t| t.1);
        if !report.contains(&why) {
            report.push(why);
            filled(&printable(text), WIDTH, out);
        }
    }
}
