//! Words about ratings that text, report and result file share.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::rating::surge::Ends;

use super::{Continuous, Judged, LONGEST, Parallel, Rating, verdict};
use crate::judge::{Ruling, Uncertainty, Verdict};

/// What ends a pulse whose current is more than the part carries.
pub(super) const SATURATION: &str = "saturation";

/// The worst kind of some errors, as files keep it.
pub(super) fn kind(errors: &[Uncertainty]) -> &'static str {
    let word = |w: &str| errors.iter().find(|e| e.word() == w).map(Uncertainty::word);
    let of = ["not estimated", "not converging", "within"].into_iter().find_map(word);
    of.unwrap_or("bare")
}

/// ± for a column of a table: a star where what it rests on does not converge.
pub(super) fn error(error: &Uncertainty, unit: &str) -> String {
    let unit = if unit == "degC" { "K" } else { unit };
    match error {
        Uncertainty::Bare => "-".into(),
        Uncertainty::Within { plus_minus } => people_digits(*plus_minus, unit, 2),
        Uncertainty::NotConverging { plus_minus } => format!("{} *", people_digits(*plus_minus, unit, 2)),
        Uncertainty::NotEstimated { .. } => "not estimated".into(),
    }
}

/// A number with its error behind it.
pub(super) fn with(x: f64, unit: &str, of: &Uncertainty) -> String {
    let value = if unit == "degC" { people_digits(x, unit, 4) } else { three(x, unit) };
    match of {
        Uncertainty::Bare => value,
        Uncertainty::NotEstimated { .. } => format!("{value} (error not estimated)"),
        _ => format!("{value} ± {}", error(of, unit)),
    }
}

/// Whether nobody asked for errors.
pub(super) fn is_bare(all: &[Rating]) -> bool {
    all.iter().all(|r| r.resistance_errors.iter().all(|e| *e == Uncertainty::Bare))
}

/// What makes the ratings fail, or leaves them unproven.
pub(super) fn warnings(all: &[Rating], parallel: Option<&Parallel>) -> Vec<String> {
    let word = |ruling| if ruling == Ruling::Fails { "FAILS" } else { "NOT PROVEN" };
    let shared = parallel.and_then(|p| Some((p.ruling, p.exceeded.as_ref()?)));
    let shared = shared.map(|(r, why)| format!("{}: of the devices in parallel {why}.", word(r)));
    let judged = all.iter().flat_map(|r| r.judged.iter().map(move |j| (r, j)));
    let judged = judged.filter(|(_, j)| j.ruling > Ruling::Passes).map(|(r, j)| {
        let [word, name] = [word(j.ruling), r.part.name.as_str()];
        format!("{word}: {name}, {} {}, required {}.", j.what, value(j), people(j.limit, j.unit))
    });
    let doubted =
        all.iter().flat_map(|r| r.doubts.iter().map(|d| format!("NOT PROVEN: {}: {d}.", r.part.name)));
    let unproven = all.iter().filter(|r| !r.contradictions.is_empty()).map(|r| {
        format!(
            "NOT PROVEN: {} and its package mean different dies, and every number of it rests on both: {}.",
            r.part.name,
            r.contradictions.join("; ")
        )
    });
    let of_law = all.iter().filter(|r| r.runaway_known == Some(false)).map(|r| {
        format!(
            "{}: the current beyond which there is no steady state lies where the junctions are hotter than its law \
             is known; it is no more than a hint.",
            r.part.name
        )
    });
    shared.into_iter().chain(judged).chain(doubted).chain(unproven).chain(of_law).collect()
}

/// A judged value with its error.
pub(super) fn value(j: &Judged) -> String {
    match j.value {
        0.0 => "none".into(),
        x if x.is_infinite() => format!("over {}", people(LONGEST, "s")),
        x => with(x, j.unit, &j.error),
    }
}

/// The verdict in a line.
pub(super) fn verdict_line(all: &[Rating], parallel: Option<&Parallel>) -> String {
    let verdict = verdict(all, parallel);
    let bare = is_bare(all) && verdict != Verdict::NotJudged;
    let rounds = all.iter().filter_map(|r| r.rounds).max();
    let rounds = rounds.map_or(String::new(), |n| format!(" ({n} rounds of finer steps, tables and meshes)"));
    format!("Verdict: {}{}{rounds}", verdict.word(), if bare { ", without error estimate" } else { "" })
}

/// Heat and temperature of each die at the continuous current.
pub(super) fn each_die(r: &Rating, s: &Continuous) -> String {
    let of = |k: usize| {
        let heat = with(s.heat[k], "W", &s.heat_errors[k]);
        format!("{} {heat} at {}", r.dies[k], with(s.junctions[k], "degC", &s.junction_errors[k]))
    };
    (0..r.dies.len()).map(of).collect::<Vec<_>>().join(", ")
}

/// Where the heat goes, with the resistance of the whole way.
pub(super) fn heat_path(r: &Rating) -> String {
    let each = r.dies.iter().zip(&r.resistance).zip(&r.resistance_errors).zip(&r.fixed);
    let each = each.map(|(((die, resistance), error), fixed)| {
        format!("{die} {} to {}", with(*resistance, "K/W", error), people(*fixed, "degC"))
    });
    format!("{}; whole way from a die that is heated alone: {}", r.heat, each.collect::<Vec<_>>().join(", "))
}

pub(super) fn three(x: f64, unit: &str) -> String {
    people_digits(x, unit, 3)
}

pub(super) fn ends(dies: &[&str], ends: Ends) -> String {
    match ends {
        Ends::Junction(k) => dies.get(k).map_or("junction".into(), |d| format!("{d} junction")),
        Ends::Saturation => SATURATION.into(),
        Ends::Nothing => "nothing".into(),
    }
}
