//! How far the numbers of a dead-time study may be wrong: those of a point by coarser runs, the dead time of least loss by
//! the interval between those of the list.

use joulestep_models::arrangement::dead_time::{DeadTimeTrouble, Point, Study, point_at};

use super::table::NUMBERS;
use crate::judge::{Computed, Level, Number, Uncertainty, errors, estimated, prove};

/// How a point is solved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum How {
    /// Once.
    Bare,
    /// As stated, and twice in coarser steps.
    Estimated,
    /// In rounds of finer steps.
    Finer,
}

/// A point, and what is known of the errors of its numbers.
pub(super) struct Solved {
    pub point: Point,
    pub errors: Vec<Uncertainty>,
    pub rounds: Option<i32>,
}

fn computed(point: &Point) -> Computed {
    let number = |c: &(&str, &str, &str, fn(&Point) -> f64)| Number::plain(c.0, (c.3)(point));
    Computed { numbers: NUMBERS.iter().map(number).collect(), ..Computed::default() }
}

/// Solves the point of a dead time and a current.
pub(super) fn solve(
    study: &Study,
    at: (f64, f64),
    charge: Option<f64>,
    how: How,
) -> Result<Solved, DeadTimeTrouble> {
    let solved = |level: Level| point_at(study, at, charge, &|setup| level.apply(setup));
    match how {
        How::Bare => {
            let errors = vec![Uncertainty::Bare; NUMBERS.len()];
            Ok(Solved { point: solved(Level::STATED)?, errors, rounds: None })
        }
        How::Estimated => {
            let stated = std::sync::OnceLock::new();
            let (_, errors) = estimated(|level| {
                let point = solved(level)?;
                let computed = computed(&point);
                if level == Level::STATED {
                    let _ = stated.set(point);
                }
                Ok::<_, DeadTimeTrouble>(computed)
            })?;
            let point = stated.into_inner().map_or_else(|| solved(Level::STATED), Ok)?;
            Ok(Solved { point, errors, rounds: None })
        }
        How::Finer => {
            let mut all: Vec<(Point, Computed)> = Vec::new();
            let each = |level: Level| {
                let point = solved(level)?;
                let found = computed(&point);
                all.push((point, found.clone()));
                Ok::<_, DeadTimeTrouble>(found)
            };
            // Nothing is judged: the least number of rounds.
            let (errors, rounds) = match prove(each, |_| None, || true, || false) {
                Ok(proof) => (proof.errors, proof.rounds),
                // The second round may ask for more digits than the equations give; the first then stands, against the
                // run as stated and a coarser one.
                Err(trouble) => match all.as_slice() {
                    [(_, stated), (_, finer)] => {
                        let coarse = solved(Level::COARSER[0]).map(|p| computed(&p));
                        (errors(finer, &[Ok(stated.clone()), coarse]), 1)
                    }
                    _ => return Err(trouble),
                },
            };
            let point = all.pop().map_or_else(|| solved(Level::STATED), |last| Ok(last.0))?;
            Ok(Solved { point, errors, rounds: Some(rounds) })
        }
    }
}

/// How far from the dead time of least loss in a list the least of all may lie, if losses have one least: as far as the
/// neighbours of every dead time whose loss is the least within the errors. And the error of that loss.
pub(super) fn of_least(series: &[Point], errors: &[Vec<Uncertainty>]) -> (Uncertainty, Uncertainty) {
    let column = NUMBERS.iter().position(|c| c.0 == "losses").unwrap_or(0);
    let mut all: Vec<(f64, f64, &Uncertainty)> =
        series.iter().zip(errors).map(|(p, e)| (p.dead_time, p.losses, &e[column])).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(least) = (0..all.len()).min_by(|&a, &b| all[a].1.total_cmp(&all[b].1)) else {
        return (Uncertainty::Bare, Uncertainty::Bare);
    };
    let of_loss = all[least].2.clone();
    if all.iter().any(|p| *p.2 == Uncertainty::Bare) {
        return (Uncertainty::Bare, of_loss);
    }
    let error = |k: usize| all[k].2.plus_minus().unwrap_or(f64::INFINITY);
    let may = |k: &usize| all[*k].1 - error(*k) <= all[least].1 + error(least);
    let candidates: Vec<usize> = (0..all.len()).filter(may).collect();
    let (first, last) = (candidates.first().copied().unwrap_or(0), candidates.last().copied().unwrap_or(0));
    if first == 0 || last + 1 == all.len() {
        return (Uncertainty::not_estimated("it may lie beyond the list"), of_loss);
    }
    let ends = [all[least].0 - all[first - 1].0, all[last + 1].0 - all[least].0];
    (Uncertainty::within(ends[0].max(ends[1])), of_loss)
}
