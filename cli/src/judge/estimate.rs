//! The error of a number from coarser runs of the same, above any method.
//!
//! A study is computed at bounds δ, 4δ and 16δ of the local error, with steps and finest step coarser to match. With r
//! the ratio of the two differences, capped at √8, ± = 1.25·|difference|/(r − 1): the grid convergence index of Roache,
//! J. Fluids Eng. 116 (1994) 405, with his factor for three grids. The cap works both ways: a ratio above √8, that of
//! order three, is chance, and the smaller difference then counts as the larger over √8. Below r = 1.3 the runs do not
//! converge, and ± is three times the larger difference.
//!
//! The levels lie so near, and the cap below the ratio of the bounds, because of what switching circuits do. Between
//! edges a run of order 4 errs in proportion to its bound; but just after edges, steps follow what has passed rather
//! than the bound, and the error of a peak falls two- or threefold where the bound falls fourfold, now more and now
//! less. Bounds 256 times as wide as stated (26 V in a converter of 400 V) are no longer on the same course: the
//! difference from there is large whatever the error as stated is, and two runs that agree by chance then seem to
//! converge sixteenfold.
//!
//! Two things have an error of their own that such runs do not show, or show only by chance. An extreme is read at the
//! ends of steps and misses a peak between them; what it misses is measured by a parabola in the run itself
//! ([`Number::missed`]): differences are taken of the values with it, and it adds to ±. And no number is better than
//! its rounding and what Newton's iteration leaves, the square of its relative tolerance of 1e-6: [`ROUNDING`] of the
//! value adds.

use std::f64::consts::SQRT_2;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::run::setup::Setup;

use super::error::{CAUTION, Uncertainty};

/// Factor of safety of the grid convergence index for three grids (Roache).
const SAFETY: f64 = 1.25;
/// Ratio of two differences from which on runs count as converging.
const CONVERGES: f64 = 1.3;
/// The largest ratio of two differences that is believed, from one coarser level to the next: that of order three.
const RATIO: f64 = 2.0 * SQRT_2;
/// The same where levels are twice as far apart, as rounds of a proof are.
pub const RATIO_OF_TWO: f64 = RATIO * RATIO;
/// Share of a value that no estimate goes below.
pub const ROUNDING: f64 = 1e-12;

/// How coarse a computation is: bounds of the local error 4ⁿ times as wide as stated, steps √2ⁿ times as long (a method
/// of order 4 has a sixteenth of the error at half the step). Finer levels, n < 0, are rounds of a proof: bounds 16ⁿ
/// times as wide, steps 2ⁿ times as long, coupling of heat 4ⁿ times as loose.
///
/// Whatever may decide how long a step is must become coarser, or the runs share an error that none of them sees: the
/// base and the finest step, the bounds, but also how soon steps grow after an edge, and the tolerance of Newton's
/// iteration, by whose count steps are taken back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Level(pub i32);

impl Level {
    /// As the user stated it.
    pub const STATED: Self = Self(0);
    /// The two that an estimate needs beside it.
    pub const COARSER: [Self; 2] = [Self(1), Self(2)];

    /// The next finer one.
    pub fn finer(self) -> Self {
        Self(self.0 - 1)
    }

    /// Factor of the bounds of the local error.
    pub fn of_bounds(self) -> f64 {
        if self.0 > 0 { 4f64.powi(self.0) } else { 16f64.powi(self.0) }
    }

    /// Factor of step lengths.
    pub fn of_steps(self) -> f64 {
        self.of_bounds().sqrt().sqrt()
    }

    /// Factor of the bound or interval of the coupling of heat.
    pub fn of_coupling(self) -> f64 {
        4f64.powi(self.0)
    }

    /// Twice as coarse where levels are to be far apart, for what is too long to be computed at near ones;
    /// [`RATIO_OF_TWO`] goes with it.
    #[must_use]
    pub fn spaced(self, far_apart: bool) -> Self {
        Self(if far_apart && self.0 > 0 { 2 * self.0 } else { self.0 })
    }

    /// Makes a setup as coarse.
    pub fn apply<L: Lane>(self, setup: &mut Setup<L>) {
        if self == Self::STATED {
            return;
        }
        setup.tolerance = setup.tolerance.map(|t| t.loosened(self.of_bounds()));
        setup.steps.hold_off = match self.0 {
            n @ ..=0 => setup.steps.hold_off << n.unsigned_abs(),
            // In whole halvings, as steps double at every second level; one is the least: a step no longer than what
            // has passed.
            n => (setup.steps.hold_off >> (n / 2)).max(1),
        };
        // The floor and the share of the largest value alike, and the tolerance that fits them.
        setup.bounds.coarser *= self.of_bounds();
        setup.steps.base *= self.of_steps();
        // The coupling of heat states its own error: coarser runs keep its bound, so that it does not count twice.
        if self.0 < 0 {
            setup.coupling *= self.of_coupling();
            setup.heat_error *= self.of_coupling();
        }
    }
}

/// A number by name.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Number {
    /// Its name; the same at every level.
    pub name: String,
    /// Its value.
    pub value: f64,
    /// What an extreme is estimated to miss between the ends of steps, signed; 0 for other numbers.
    pub missed: f64,
    /// Errors that are known otherwise (mesh, coupling of heat, leaps), ±; they add.
    pub further: f64,
    /// What the computation knows of its error by itself.
    pub own: Uncertainty,
    /// Whether it is a count: exact where all levels count alike.
    pub counted: bool,
    /// Whether other levels tell nothing of it: it is an error itself, say.
    pub exact: bool,
}

impl Number {
    /// A number without anything beside it.
    pub fn plain(name: impl Into<String>, value: f64) -> Self {
        Self { name: name.into(), value, ..Self::default() }
    }
}

/// What a computation gives at one level.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Computed {
    /// Its numbers, in the same order at every level.
    pub numbers: Vec<Number>,
    /// What protection did (trips, retries, lock-outs, what a judged event limit speaks of), in order, without
    /// instants.
    pub course: Vec<String>,
    /// Steps and Newton iterations, as the measure of its cost.
    pub steps: u64,
    /// See `steps`.
    pub iterations: u64,
    /// The largest ratio of two differences that is believed; `None`: that of runs.
    pub ratio: Option<f64>,
}

/// The values of one number at three levels: whether their differences shrink as they should.
pub fn converging([fine, coarse, coarsest]: [f64; 3]) -> bool {
    (coarsest - coarse).abs() >= CONVERGES * (coarse - fine).abs()
}

/// The same for a method whose differences shrink by a ratio at the most, from one computation to the next: 2ᵖ for
/// order p at half the step.
pub fn grid_convergence_up_to(ratio: f64, values: [f64; 3]) -> Uncertainty {
    let [fine, coarse, coarsest] = values;
    let (near, far) = ((coarse - fine).abs(), (coarsest - coarse).abs());
    if !(near.is_finite() && far.is_finite()) {
        return Uncertainty::not_estimated("a coarser run gives no number");
    }
    let floor = ROUNDING * fine.abs().max(coarse.abs()).max(coarsest.abs());
    let larger = near.max(far);
    if larger <= floor {
        return Uncertainty::within(floor);
    }
    if !converging(values) {
        return Uncertainty::NotConverging { plus_minus: CAUTION * larger + floor };
    }
    let near = near.max(far / ratio);
    Uncertainty::within(SAFETY * near / (far / near - 1.0) + floor)
}

/// Computes at the two coarser levels, side by side on rayon's threads; what they give does not depend on how many.
pub fn coarser<E: Send>(at: impl Fn(Level) -> Result<Computed, E> + Sync) -> [Result<Computed, E>; 2] {
    let [coarse, coarsest] = Level::COARSER;
    let (coarse, coarsest) = rayon::join(|| at(coarse), || at(coarsest));
    [coarse, coarsest]
}

/// The error of every number of `fine`, in its order, from two coarser computations and what it knows by itself.
pub fn errors<E: ToString>(fine: &Computed, coarser: &[Result<Computed, E>; 2]) -> Vec<Uncertainty> {
    errors_up_to(RATIO, fine, coarser)
}

/// The same from the last three rounds of a proof, the last first.
pub fn errors_of_rounds(fine: &Computed, before: [&Computed; 2]) -> Vec<Uncertainty> {
    errors_up_to(RATIO_OF_TWO, fine, &before.map(|c| Ok::<_, String>(c.clone())))
}

fn errors_up_to<E: ToString>(
    ratio: f64,
    fine: &Computed,
    coarser: &[Result<Computed, E>; 2],
) -> Vec<Uncertainty> {
    let found = by_levels(fine.ratio.unwrap_or(ratio), fine, coarser);
    let each = fine.numbers.iter().zip(found).map(|(number, found)| match number {
        n if n.exact => n.own.clone(),
        // A time without end, or no number at all.
        n if !n.value.is_finite() => Uncertainty::Bare,
        n => n.own.beside(found),
    });
    each.collect()
}

fn by_levels<E: ToString>(
    ratio: f64,
    fine: &Computed,
    coarser: &[Result<Computed, E>; 2],
) -> Vec<Uncertainty> {
    let all = |why: String| vec![Uncertainty::NotEstimated { why }; fine.numbers.len()];
    let [coarse, coarsest] = match coarser {
        [Ok(coarse), Ok(coarsest)] => [coarse, coarsest],
        [Err(why), _] | [_, Err(why)] => {
            return all(format!("a coarser run ended early: {}", why.to_string()));
        }
    };
    for other in [coarse, coarsest] {
        if other.course != fine.course {
            return all(format!("coarser runs disagree: {}", differing(&fine.course, &other.course)));
        }
    }
    let of = |(k, number): (usize, &Number)| {
        let (Some(a), Some(b)) = (coarse.numbers.get(k), coarsest.numbers.get(k)) else {
            return Uncertainty::not_estimated("a coarser run has other numbers");
        };
        if a.name != number.name || b.name != number.name {
            return Uncertainty::not_estimated("a coarser run has other numbers");
        }
        let with = |n: &Number| n.value + n.missed;
        if number.counted && [a, b].iter().all(|n| n.value == number.value) {
            return Uncertainty::within(0.0);
        }
        let values = [with(number), with(a), with(b)];
        grid_convergence_up_to(ratio, values).plus(number.missed.abs() + number.further)
    };
    fine.numbers.iter().enumerate().map(of).collect()
}

/// Where two courses part, in words.
fn differing(fine: &[String], other: &[String]) -> String {
    let at = fine.iter().zip(other).position(|(a, b)| a != b).unwrap_or(fine.len().min(other.len()));
    let describe = |course: &[String]| course.get(at).map_or("nothing more".to_string(), Clone::clone);
    format!(
        "event {} of protection is `{}` in this run, `{}` in a coarser one",
        at + 1,
        describe(fine),
        describe(other)
    )
}

/// Computes as stated and at the two coarser levels, side by side, and gives what was stated with the error of each of
/// its numbers.
///
/// # Errors
/// When the computation as stated fails. A coarser one that fails leaves the errors "not estimated".
pub fn estimated<E: ToString + Send>(
    at: impl Fn(Level) -> Result<Computed, E> + Sync,
) -> Result<(Computed, Vec<Uncertainty>), E> {
    let (fine, coarser) = rayon::join(|| at(Level::STATED), || coarser(&at));
    let fine = fine?;
    let errors = errors(&fine, &coarser);
    Ok((fine, errors))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plus_minus(values: [f64; 3]) -> f64 {
        grid_convergence_up_to(RATIO, values).plus_minus().expect("an estimate")
    }

    /// Runs of order p at steps h, √2h, 2h err by ε, √2ᵖε, 2ᵖε: the index is 1.25 ε, and what rounding leaves adds.
    #[test]
    fn the_order_of_runs_is_measured() {
        for order in [1, 2, 3] {
            let r = SQRT_2.powi(order);
            let values = [1.0, r, r * r].map(|k| 5.0 - 1e-4 * k);
            let expected = 1.25e-4 + ROUNDING * 5.0;
            assert!((plus_minus(values) / expected - 1.0).abs() < 1e-6, "order {order}");
        }
    }

    /// Order 4, a ratio of 4, is not relied on: with ε, 4ε and 16ε the smaller difference counts as 12ε/√8.
    #[test]
    fn a_method_of_order_four_is_given_three_times_its_error() {
        let values = [1.0, 4.0, 16.0].map(|k| 3.0 + 1e-3 * k);
        let expected = 1.25 * 12e-3 / (RATIO * (RATIO - 1.0));
        assert!((plus_minus(values) / expected - 1.0).abs() < 1e-6 && expected < 3e-3);
        let computed = |n: f64| Computed { numbers: vec![Number::plain("x", n)], ..Computed::default() };
        let [fine, coarse, coarsest] = [1.0, 16.0, 256.0].map(|k| computed(3.0 + 1e-3 * k));
        // Of rounds, 16 by a ratio of 8: 1.25·(240/8)/7 ε.
        let report = errors_of_rounds(&fine, [&coarse, &coarsest])[0].plus_minus().unwrap();
        assert!((report / (1.25 * 240e-3 / 56.0) - 1.0).abs() < 1e-6, "{report}");
    }

    #[test]
    fn a_small_difference_by_chance_does_not_make_an_error_small() {
        // Errors ε, ε, 16ε: the first difference is nothing, and counts as the other over √8.
        let values = [1.0, 1.0, 16.0].map(|k| 7.0 + 1e-5 * k);
        assert!((plus_minus(values) / (1.25 * 15e-5 / (RATIO * (RATIO - 1.0))) - 1.0).abs() < 1e-6);
        // Of tables of order two at half the step 4 is the most that is no chance.
        let report = grid_convergence_up_to(4.0, values).plus_minus().expect("an estimate");
        assert!((report / (1.25 * 15e-5 / 12.0) - 1.0).abs() < 1e-6, "{report}");
    }

    #[test]
    fn what_does_not_converge_says_so() {
        let report = grid_convergence_up_to(RATIO, [1.0, 1.2, 1.3]);
        assert_eq!(report.word(), "not converging");
        assert!((report.plus_minus().unwrap() - 0.6).abs() < 1e-9);
        assert_eq!(grid_convergence_up_to(RATIO, [1.0, f64::NAN, 1.0]).word(), "not estimated");
        assert_eq!(grid_convergence_up_to(RATIO, [2.0, 2.0, 2.0]), Uncertainty::within(2.0 * ROUNDING));
        assert_eq!(grid_convergence_up_to(RATIO, [0.0; 3]), Uncertainty::within(0.0));
    }

    #[test]
    fn what_is_missed_and_known_otherwise_adds() {
        let number = |value, missed, further| Number { missed, further, ..Number::plain("x", value) };
        let computed = |n| Computed { numbers: vec![n], ..Computed::default() };
        let fine = computed(number(10.0, 0.5, 0.25));
        let others: [Result<_, String>; 2] =
            [Ok(computed(number(9.0, 1.5, 0.0))), Ok(computed(number(8.0, 2.5, 0.0)))];
        let report = errors(&fine, &others);
        assert!((report[0].plus_minus().unwrap() - 0.75).abs() < 1e-9, "{report:?}");
    }

    #[test]
    fn runs_that_disagree_about_protection_estimate_nothing() {
        let computed = |course: &[&str]| Computed {
            numbers: vec![Number::plain("x", 1.0)],
            course: course.iter().map(ToString::to_string).collect(),
            ..Computed::default()
        };
        let fine = computed(&["trip oc"]);
        let same = || Ok::<_, String>(computed(&["trip oc"]));
        assert_eq!(errors(&fine, &[same(), same()])[0].word(), "within");
        for other in [computed(&[]), computed(&["trip oc", "retry oc"]), computed(&["lock-out oc"])] {
            let report = errors(&fine, &[same(), Ok(other)]);
            assert_eq!(report[0].word(), "not estimated", "{report:?}");
        }
        let failed = errors(&fine, &[Err("no solution"), Ok(computed(&["trip oc"]))]);
        assert!(matches!(&failed[0], Uncertainty::NotEstimated { why } if why.contains("no solution")));
    }
}
