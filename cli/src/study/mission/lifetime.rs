//! Lifetimes of the dies, by the user's law and use.

use joulestep_models::arrangement::mission::Followed;

use super::life::Life;
use crate::input::scenario::resolved::LifetimeSpec;
use crate::judge::Bounds;
use crate::output::answer::{Answer, StudyTable};
use crate::output::table::Rows;

/// Shares that have failed, in the table: column, heading, share.
const SHARES: [(&str, &str, f64); 4] = [
    ("b1", "1 % failed", 0.01),
    ("b10", "10 % failed", 0.1),
    ("b50", "50 % failed", 0.5),
    ("b90", "90 % failed", 0.9),
];

/// One die's lifetime, or that of the first to fail.
pub(super) struct Lifetime {
    die: String,
    /// By the law, s; infinite without damage.
    law: f64,
    /// How far it may be wrong as a share of it, by what coarser computations do not show.
    share: f64,
}

/// Of every die, and of the first to fail. `shares`: how far their damages may be wrong, as shares of them.
pub(super) fn lifetimes(spec: &LifetimeSpec, f: &Followed, lives: &[Life], shares: &[f64]) -> Vec<Lifetime> {
    let damages = lives.iter().filter_map(|life| life.damage.map(|(mission, ripple)| mission + ripple));
    let seconds: Vec<f64> = damages.map(|damage| 1.0 / (spec.rate * damage)).collect();
    let first = match spec.scatter {
        Some(scatter) => scatter.first_of(&seconds),
        None => seconds.iter().copied().fold(f64::INFINITY, f64::min),
    };
    let most = shares.iter().copied().fold(0.0, f64::max);
    let dies = f.inputs.iter().zip(seconds).zip(shares);
    let mut all: Vec<Lifetime> =
        dies.map(|((die, law), share)| Lifetime { die: die.clone(), law, share: *share }).collect();
    all.push(Lifetime { die: "first to fail".into(), law: first, share: most });
    all
}

/// The lifetime of the first to fail, as far as failures are allowed.
pub(super) fn answer(spec: &LifetimeSpec, all: &[Lifetime]) -> Option<Answer> {
    let first = all.last()?;
    let value = spec.scatter.map_or(first.law, |s| s.until(spec.allowed, first.law));
    let further = if value.is_finite() { first.share * value } else { 0.0 };
    let least = all[..all.len() - 1].iter().min_by(|a, b| a.law.total_cmp(&b.law));
    let mut remark = least.map_or(String::new(), |l| format!("{} the shortest", l.die));
    if spec.scatter.is_some() {
        remark = format!("until {} % have failed; {remark}", 100.0 * spec.allowed);
    }
    let answer =
        Answer::new("lifetime", "lifetime, first die to fail", value, "s").further(further).remark(remark);
    Some(match spec.required {
        Some(required) => answer.limited(Bounds::at_least(required), "required"),
        None => answer,
    })
}

/// A line per die, and one for the first to fail.
pub(super) fn table(spec: &LifetimeSpec, all: &[Lifetime]) -> StudyTable {
    let number = |x: f64| x.is_finite().then_some(x);
    let mut rows =
        Rows::of(all).text("die", |l| l.die.clone()).number("law", "by the law", "s", |l| number(l.law));
    let mut columns = vec!["law"];
    if let Some(scatter) = spec.scatter {
        for (name, title, share) in SHARES {
            rows = rows.number(name, title, "s", move |l| number(scatter.until(share, l.law)));
            columns.push(name);
        }
    }
    StudyTable::new("lifetimes", "Lifetimes by the user's law and use", 1, rows.table())
        .estimated(&columns)
        .further(|row, _, value| all.get(row).map_or(0.0, |l| l.share * value.abs()))
}

/// The use and the scatter in words.
pub(super) fn words(spec: &LifetimeSpec) -> String {
    let daily = format!("{} missions a day", spec.rate * 86_400.0);
    match spec.scatter {
        None => format!("Lifetimes: {daily}, without scatter about the law."),
        Some(s) => format!(
            "Lifetimes: {daily}; Weibull of shape {} about the law, at whose number {:.3} % have failed; dies fail \
             independently.",
            s.shape,
            100.0 * s.share
        ),
    }
}
