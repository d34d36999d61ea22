//! How far the numbers of a rating may be wrong: steps of the pulses and nodes of the tabulated law by coarser
//! computations of the same, the mesh and the reduction of a package by what larger rises would do, the search by where
//! it ends.

use std::cell::Cell;

use joulestep_models::part::Part;
use joulestep_models::rating::RatingTrouble;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::surge::{EXACT, Ends};
use rayon::prelude::*;

use super::{Answer, Asked, Heat, Pair, Ready, RideThrough, Share, Spread, answer, ready, words};
use crate::judge::{self, Bounds, Computed, Level, Number, Uncertainty, grid_convergence_up_to, prove};

/// Steps of a pulse take the heat as the mean of that at their ends, tables the share of a die as a straight line between
/// nodes: both are of order two, and differences that shrink faster do so by chance.
pub const RATIO: f64 = 4.0;
/// Share by which all rises are enlarged to see what they do to a number.
pub const NUDGE: f64 = 0.01;
/// Finest level of a proof: the table of a part of two dies has eight times the nodes at each.
const FINEST: i32 = -3;

/// A number, and the time after which the heat path decides about it, s.
struct Timed {
    name: String,
    value: f64,
    time: f64,
}

fn of_share(name: &str, share: Option<&Share>, dies: usize) -> Vec<Timed> {
    let number = |what: String, value| Timed { name: format!("{name}.{what}"), value, time: f64::INFINITY };
    let of = |pick: &dyn Fn(&Share) -> f64| share.map_or(f64::NAN, pick);
    let mut all = vec![number("current".into(), of(&|s| s.current))];
    all.extend((0..dies).map(|k| number(format!("junction.{k}"), of(&|s| s.junctions[k]))));
    all
}

fn of_pair(pair: Option<&Pair>, name: &str, dies: usize) -> Vec<Timed> {
    let time = pair.and_then(|p| p.time).unwrap_or(f64::INFINITY);
    let both = [("odd", pair.map(|p| &p.odd)), ("others", pair.map(|p| &p.others))];
    let all = both.into_iter().flat_map(|(which, share)| of_share(&format!("{name}.{which}"), share, dies));
    all.map(|t| Timed { time, ..t }).collect()
}

/// All numbers, in an order that does not depend on what was found.
fn numbers(answer: &Answer, asked: &Asked) -> Vec<Timed> {
    let r = &answer.rating;
    let at = |time: f64| move |(name, value): (String, f64)| Timed { name, value, time };
    let steady = at(f64::INFINITY);
    let dies = r.dies.len();
    let each = |what: &str, values: Option<&Vec<f64>>| -> Vec<(String, f64)> {
        (0..dies).map(|k| (format!("{what}.{k}"), values.map_or(f64::NAN, |v| v[k]))).collect()
    };
    let c = r.continuous.as_ref();
    let of = |pick: fn(&super::Continuous) -> f64| c.map_or(f64::NAN, pick);
    let mut all: Vec<Timed> = each("resistance", Some(&r.resistance)).into_iter().map(steady).collect();
    let single = [("current", of(|c| c.current)), ("drop", of(|c| c.drop)), ("gain", of(|c| c.loop_gain))];
    all.extend(single.map(|(name, x)| steady((format!("continuous.{name}"), x))));
    all.extend(each("continuous.heat", c.map(|c| &c.heat)).into_iter().map(steady));
    all.extend(each("continuous.junction", c.map(|c| &c.junctions)).into_iter().map(steady));
    all.push(steady(("runaway".into(), r.runaway.unwrap_or(f64::NAN))));
    // What was warm before a pulse depends on the steady state too.
    let after = |t: f64| if asked.before > 0.0 { f64::INFINITY } else { t };
    for (k, p) in r.curve.iter().enumerate() {
        let four = [p.current, p.i2t, p.peaks.drop, p.peaks.energy];
        all.extend(four.into_iter().map(|x| at(after(p.width))((format!("curve.{k}"), x))));
    }
    for (k, f) in r.faults.iter().enumerate() {
        all.push(at(after(f.longest))((format!("fault.{k}"), f.longest)));
    }
    if let Some(p) = &answer.parallel {
        all.extend(of_pair(p.steady.as_ref(), "parallel", dies));
        all.extend(
            p.course.iter().enumerate().flat_map(|(k, c)| of_pair(Some(c), &format!("course.{k}"), dies)),
        );
    }
    all
}

fn slots_of_pair(pair: &mut Pair) -> impl Iterator<Item = &mut Uncertainty> {
    let Pair { odd, others, .. } = pair;
    [odd, others]
        .into_iter()
        .flat_map(|s| std::iter::once(&mut s.current_error).chain(&mut s.junction_errors))
}

/// Three times the error, as of computations that do not converge.
fn cautious(error: &mut Uncertainty) {
    if let Uncertainty::Within { plus_minus } = *error {
        *error = Uncertainty::NotConverging { plus_minus: 3.0 * plus_minus };
    }
}

/// The largest drop is read at the ends of steps: of a pulse whose current turns between them, what it misses there is not
/// in the error.
fn without_drops(answer: &mut Answer, asked: &Asked) {
    if asked.shape == Shape::Square {
        return;
    }
    let rating = &mut answer.rating;
    let points = rating.curve.iter().zip(&mut rating.curve_errors);
    for (_, errors) in points.filter(|(p, _)| p.peaks.drop.is_finite()) {
        errors[2] = Uncertainty::not_estimated("the largest drop may lie between the ends of steps");
    }
}

/// Takes the errors of [`numbers`], in its order.
fn adopt(answer: &mut Answer, errors: Vec<Uncertainty>) {
    let Answer { rating: r, parallel } = answer;
    let dies = r.dies.len();
    let mut rest = errors.into_iter();
    let mut fill = |slots: &mut dyn Iterator<Item = &mut Uncertainty>| {
        for slot in slots {
            if let Some(error) = rest.next() {
                *slot = error;
            }
        }
    };
    let mut idle = vec![Uncertainty::Bare; 3 + 2 * dies];
    fill(&mut r.resistance_errors.iter_mut());
    match &mut r.continuous {
        None => fill(&mut idle.iter_mut()),
        Some(c) => {
            fill(&mut [&mut c.current_error, &mut c.drop_error, &mut c.loop_gain_error].into_iter());
            fill(&mut c.heat_errors.iter_mut());
            fill(&mut c.junction_errors.iter_mut());
        }
    }
    fill(&mut std::iter::once(&mut r.runaway_error));
    fill(&mut r.curve_errors.iter_mut().flatten());
    // Where a part saturates, the search ends at a cliff: neither steps nor tables show their full order there.
    let saturated = r.curve.iter().zip(&mut r.curve_errors).filter(|(p, _)| p.ends == Ends::Saturation);
    for (_, errors) in saturated {
        errors[..2].iter_mut().for_each(cautious);
    }
    fill(&mut r.faults.iter_mut().map(|f| &mut f.longest_error));
    let saturates = |f: &&mut RideThrough| f.ends_by == words::SATURATION;
    r.faults.iter_mut().filter(saturates).for_each(|f| cautious(&mut f.longest_error));
    let Some(p) = parallel else { return };
    match &mut p.steady {
        None => fill(&mut vec![Uncertainty::Bare; 2 * (1 + dies)].iter_mut()),
        Some(pair) => fill(&mut slots_of_pair(pair)),
    }
    p.course.iter_mut().for_each(|pair| fill(&mut slots_of_pair(pair)));
}

/// A rating's numbers with the errors that are known otherwise: of the search, and of the heat path.
fn computed(answer: &Answer, asked: &Asked, further: &[f64]) -> Computed {
    let number = |(k, t): (usize, Timed)| {
        let search = 4.0 * EXACT * t.value.abs();
        let further = further.get(k).copied().unwrap_or(0.0) + if search.is_finite() { search } else { 0.0 };
        Number { further, ..Number::plain(t.name, t.value) }
    };
    let numbers = numbers(answer, asked).into_iter().enumerate().map(number).collect();
    Computed { numbers, ratio: Some(RATIO), ..Computed::default() }
}

/// What a rating gives in the coarsest steps, and the errors of each number that steps do not show: of the tabulated law
/// (read from every node, every second and every fourth: grid convergence index), and of the mesh and the reduction of
/// the heat path (by how much the number moves when all rises grow a little, times how far they may be wrong at its
/// time). Steps and tables are told apart because their errors may cancel.
fn beside(
    part: &Part,
    ready: &Ready,
    asked: &Asked,
    spread: Option<&Spread>,
) -> (Result<Computed, RatingTrouble>, Vec<f64>) {
    let coarsest = ready.coarser(Level::COARSER[1]);
    let nudged = ready.mesh.is_some().then(|| {
        let path = coarsest.path.scaled(1.0 + NUDGE);
        Ready { path, ..coarsest.clone() }
    });
    let all: Vec<Ready> =
        [1, 2, 4].into_iter().map(|stride| coarsest.strided(stride)).chain(nudged).collect();
    let found: Vec<_> = all.par_iter().map(|ready| answer(part, ready, asked, spread)).collect();
    let mut found = found.into_iter();
    let (Some(plain), Some(second), Some(fourth)) = (found.next(), found.next(), found.next()) else {
        return (Err(RatingTrouble::Part { part: part.name.clone(), what: "no rating".into() }), Vec::new());
    };
    let plain = match plain {
        Ok(plain) => plain,
        Err(e) => return (Err(e), Vec::new()),
    };
    let own = numbers(&plain, asked);
    let values = |other: Result<Answer, RatingTrouble>| -> Vec<f64> {
        let other = other.map(|o| numbers(&o, asked)).unwrap_or_default();
        // A course that ends earlier has fewer numbers.
        (0..own.len()).map(|k| other.get(k).map_or(f64::NAN, |t| t.value)).collect()
    };
    let (second, fourth) = (values(second), values(fourth));
    let nudged = found.next().map(values);
    let further = |(k, t): (usize, &Timed)| {
        let tables = grid_convergence_up_to(RATIO, [t.value, second[k], fourth[k]]).plus_minus();
        let heat = match (&ready.mesh, &nudged) {
            (Some(mesh), Some(nudged)) => (nudged[k] - t.value).abs() / NUDGE * mesh.at(t.time),
            _ => 0.0,
        };
        let all = tables.unwrap_or(f64::INFINITY) + heat;
        if all.is_nan() { f64::INFINITY } else { all }
    };
    let further = own.iter().enumerate().map(further).collect();
    (Ok(computed(&plain, asked, &[])), further)
}

/// Runs that stay bare where there is nothing to tell of: no number, or one without end.
fn told(answer: &Answer, asked: &Asked, ready: &Ready, errors: Vec<Uncertainty>) -> Vec<Uncertainty> {
    let unknown = ready.mesh.as_ref().is_some_and(|m| !m.is_known());
    let unclear = ready.mesh.as_ref().is_some_and(|m| !m.converges());
    let one = |(t, e): (Timed, Uncertainty)| match e {
        _ if !t.value.is_finite() => Uncertainty::Bare,
        Uncertainty::Within { plus_minus } | Uncertainty::NotConverging { plus_minus }
            if plus_minus.is_infinite() =>
        {
            Uncertainty::not_estimated(if unknown {
                "only one mesh fits into the cells"
            } else {
                "a coarser computation gives no number"
            })
        }
        Uncertainty::Within { plus_minus } if unclear => Uncertainty::NotConverging { plus_minus },
        other => other,
    };
    numbers(answer, asked).into_iter().zip(errors).map(one).collect()
}

/// A rating with the error of every number.
///
/// # Errors
/// As [`answer`].
pub fn estimated(
    part: &Part,
    ready: &Ready,
    asked: &Asked,
    spread: Option<&Spread>,
) -> Result<Answer, RatingTrouble> {
    let coarse = || answer(part, &ready.coarser(Level::COARSER[0]), asked, spread);
    let (fine, (coarse, (coarsest, further))) = rayon::join(
        || answer(part, ready, asked, spread),
        || rayon::join(coarse, || beside(part, ready, asked, spread)),
    );
    let mut fine = fine?;
    let coarser = [coarse.map(|a| computed(&a, asked, &[])), coarsest];
    let errors = judge::errors(&computed(&fine, asked, &further), &coarser);
    let errors = told(&fine, asked, ready, errors);
    adopt(&mut fine, errors);
    without_drops(&mut fine, asked);
    fine.rule(asked);
    Ok(fine)
}

/// What is judged, by the names of its numbers.
fn bounds(name: &str, asked: &Asked, hottest: f64) -> Option<Bounds> {
    match name {
        "continuous.current" => asked.required_current.map(Bounds::at_least),
        fault if fault.starts_with("fault.") => asked.required_time.map(Bounds::at_least),
        junction if junction.starts_with("parallel.") && junction.contains(".junction.") => {
            Some(Bounds::at_most(hottest))
        }
        _ => None,
    }
}

/// A rating in rounds of finer steps, tables and meshes, until every judged number stands still within its margin; the
/// numbers are those of the last. `heat`: the heat path at a level.
///
/// # Errors
/// As [`answer`], and what `heat` says.
pub fn proven(
    part: &Part,
    heat: &dyn Fn(Level) -> Result<Heat, RatingTrouble>,
    asked: &Asked,
    spread: Option<&Spread>,
) -> Result<Answer, RatingTrouble> {
    let mut held: Option<(Answer, Ready)> = None;
    let deepest = Cell::new(0);
    let at = |level: Level| -> Result<Computed, RatingTrouble> {
        let ready = ready(part, &heat(level)?, asked, spread, level)?;
        let found = answer(part, &ready, asked, spread)?;
        let computed = computed(&found, asked, &beside(part, &ready, asked, spread).1);
        deepest.set(level.0);
        held = Some((found, ready));
        Ok(computed)
    };
    let own = part.hottest();
    let hottest = asked.hottest.or(own).unwrap_or(f64::NAN);
    let proof = prove(at, |name| bounds(name, asked, hottest), || true, || deepest.get() <= FINEST)?;
    let Some((mut found, ready)) = held else {
        return Err(RatingTrouble::Part { part: part.name.clone(), what: "no round was made".into() });
    };
    let errors = told(&found, asked, &ready, proof.errors);
    adopt(&mut found, errors);
    without_drops(&mut found, asked);
    if !proof.proven {
        let text =
            "rounds of finer steps, tables and meshes do not settle every judged number within its margin";
        found.rating.doubts.push(format!("after {} {text}", proof.rounds));
    }
    found.rating.rounds = Some(proof.rounds);
    found.rule(asked);
    Ok(found)
}

/// Without errors: judged as the numbers stand.
///
/// # Errors
/// As [`answer`].
pub fn bare(
    part: &Part,
    ready: &Ready,
    asked: &Asked,
    spread: Option<&Spread>,
) -> Result<Answer, RatingTrouble> {
    let mut found = answer(part, ready, asked, spread)?;
    found.rule(asked);
    Ok(found)
}
