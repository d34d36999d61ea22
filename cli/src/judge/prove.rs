//! Proof by refinement: rounds that are finer and finer, until every judged number stands still within its margin.

use super::error::Uncertainty;
use super::estimate::{Computed, Level, errors_of_rounds};
use super::rule::{Bounds, Ruling, rule};

/// Rounds beside the run as stated.
pub const ROUNDS: std::ops::RangeInclusive<i32> = 2..=5;

/// How a proof ended.
#[derive(Clone, Debug)]
pub struct Proof {
    /// Rounds made.
    pub rounds: i32,
    /// Whether every judged number stood still within its margin, and is judged one way or the other.
    pub proven: bool,
    /// Error of each number of the last round, in its order.
    pub errors: Vec<Uncertainty>,
}

/// Computes at finer and finer levels. After the second round and each further one, the last three computations tell
/// the error of the last; it is enough when every number that has bounds moved by less than its distance to them since
/// the round before, and passes or fails by more than its error. `trusted` says whether a computation's own numbers are
/// to be relied on where they do not converge: two that stall at the finest step prove nothing. `stop`: no further
/// round.
///
/// # Errors
/// What a computation says.
pub fn prove<E>(
    mut at: impl FnMut(Level) -> Result<Computed, E>,
    bounds: impl Fn(&str) -> Option<Bounds>,
    trusted: impl Fn() -> bool,
    stop: impl Fn() -> bool,
) -> Result<Proof, E> {
    let mut last = vec![at(Level::STATED)?];
    let mut level = Level::STATED;
    let mut proof = Proof { rounds: 0, proven: false, errors: Vec::new() };
    while proof.rounds < *ROUNDS.end() && !stop() {
        level = level.finer();
        last.insert(0, at(level)?);
        last.truncate(3);
        proof.rounds += 1;
        let [fine, coarse, coarsest] = last.as_slice() else { continue };
        proof.errors = errors_of_rounds(fine, [coarse, coarsest]);
        let settled =
            fine.numbers.iter().zip(&coarse.numbers).zip(&proof.errors).all(|((now, then), error)| {
                let Some(bounds) = bounds(&now.name) else { return true };
                let margin = (now.value - bounds.upper).abs().min((now.value - bounds.lower).abs());
                let still = (now.value - then.value).abs() < margin;
                let relied = trusted() || matches!(error, Uncertainty::Within { .. });
                still
                    && relied
                    && matches!(rule(now.value, error, bounds, true), Ruling::Passes | Ruling::Fails)
            });
        if settled {
            proof.proven = true;
            break;
        }
    }
    Ok(proof)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A number that errs by `error`(level).
    fn proof_of(error: impl Fn(Level) -> f64, limit: f64, trusted: bool) -> (Proof, i32) {
        let mut finest = 0;
        let at = |level: Level| {
            finest = level.0;
            let numbers = vec![super::super::Number::plain("x", 1.0 + error(level))];
            Ok::<_, String>(Computed { numbers, ..Computed::default() })
        };
        let bounds = |_: &str| Some(Bounds::at_most(limit));
        let proof = prove(at, bounds, || trusted, || false).expect("computed");
        (proof, finest)
    }

    #[test]
    fn two_to_five_rounds() {
        let fourth = |level: Level| 0.1 * 16f64.powi(level.0);
        let (proof, finest) = proof_of(fourth, 1.05, true);
        assert_eq!((proof.proven, proof.rounds, finest), (true, 2, -2));
        // Nearer to the limit than two rounds can tell.
        let (proof, _) = proof_of(fourth, 1.0 + 1e-5, true);
        assert!(proof.proven && proof.rounds > 2 && proof.rounds <= 5, "{proof:?}");
        // At the limit itself nothing is ever proven.
        let (proof, finest) = proof_of(fourth, 1.0, true);
        assert_eq!((proof.proven, proof.rounds, finest), (false, 5, -5));
    }

    #[test]
    fn runs_that_stall_prove_nothing() {
        // Every round gives the same wrong number, but for a trifle that does not shrink.
        let stalled = |level: Level| 0.5 + 1e-6 * f64::from(level.0 % 2);
        assert!(!proof_of(stalled, 2.0, false).0.proven);
    }
}
