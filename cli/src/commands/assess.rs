//! What studies share: numbers with their errors, judged by an account, as stated, with coarser computations beside it,
//! or proven by finer ones.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::fmt;

use crate::account::{Account, Cost};
use crate::args::AssessArgs;
use crate::commands::asked::Refused;
use crate::judge::{Bounds, Computed, Level, Number, Uncertainty, coarser, errors, prove};

/// What a study computed at one level.
pub(crate) struct Round<M> {
    /// Limits and ratings, and what casts doubt on them.
    pub account: Account,
    /// Whatever else was found.
    pub more: M,
    /// The numbers of that, in the same order at every level.
    pub numbers: Vec<Number>,
}

/// What was computed, judged.
pub(crate) struct Assessed<M> {
    /// With the errors of its numbers.
    pub account: Account,
    /// As the round had it.
    pub more: M,
    /// Errors of the round's numbers, in their order.
    pub errors: Vec<Uncertainty>,
}

/// Why a round was not computed.
struct Why(Refused);

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.0)
    }
}

impl<M> Round<M> {
    fn computed(&self) -> Computed {
        let mut computed = self.account.computed(Vec::new());
        computed.numbers.extend_from_slice(&self.numbers);
        computed
    }

    /// With the errors of all its numbers, the account's first; `None`: nobody asked.
    fn with(self, errors: Option<Vec<Uncertainty>>) -> Assessed<M> {
        let Self { mut account, more, numbers } = self;
        let Some(mut errors) = errors else {
            return Assessed { account, more, errors: vec![Uncertainty::Bare; numbers.len()] };
        };
        let own = errors.split_off(errors.len() - numbers.len());
        account.adopt(errors);
        Assessed { account, more, errors: own }
    }
}

/// Computes and judges as options ask. `bounds`: of the account's numbers ([`crate::account::numbers::bounds`]).
/// `held`: what a proof leaves of its last round. Levels are computed side by side; what they give does not depend on
/// how many threads there are.
///
/// # Errors
/// When the computation as stated fails, or a finer one.
pub(crate) fn assess<M: Send>(
    how: &AssessArgs,
    bounds: &BTreeMap<String, Bounds>,
    held: &str,
    stop: &(dyn Fn() -> bool + Sync),
    at: &(dyn Fn(Level) -> Result<Round<M>, Refused> + Sync),
) -> Result<Assessed<M>, Refused> {
    if how.prove {
        return proven(bounds, held, stop, at);
    }
    if how.no_estimate {
        return Ok(at(Level::STATED)?.with(None));
    }
    let numbers = |level| at(level).map(|round| round.computed()).map_err(|(why, _)| why);
    let (fine, coarser) = rayon::join(|| at(Level::STATED), || coarser(numbers));
    let fine = fine?;
    let found = errors(&fine.computed(), &coarser);
    let cost = |of: fn(&Computed) -> u64| -> u64 { coarser.iter().flatten().map(of).sum() };
    let cost = Cost { steps: cost(|c| c.steps), iterations: cost(|c| c.iterations) };
    let mut assessed = fine.with(Some(found));
    assessed.account.estimate = Some(cost);
    Ok(assessed)
}

fn proven<M: Send>(
    bounds: &BTreeMap<String, Bounds>,
    held: &str,
    stop: &(dyn Fn() -> bool + Sync),
    at: &(dyn Fn(Level) -> Result<Round<M>, Refused> + Sync),
) -> Result<Assessed<M>, Refused> {
    let last: RefCell<Option<Round<M>>> = RefCell::new(None);
    let steady = Cell::new(false);
    let refine = |level| {
        let round = at(level).map_err(Why)?;
        steady.set(round.account.counters.stalled == 0);
        let computed = round.computed();
        last.replace(Some(round));
        Ok(computed)
    };
    let proof = prove(refine, |name| bounds.get(name).copied(), || steady.get(), stop);
    let proof = proof.map_err(|Why(refused)| refused)?;
    let round = match last.into_inner() {
        Some(round) => round,
        None => at(Level::STATED)?,
    };
    // Stopped before a second round: there is nothing to compare.
    let none = || vec![Uncertainty::not_estimated("the proof was stopped"); round.computed().numbers.len()];
    let found = if proof.errors.is_empty() { none() } else { proof.errors.clone() };
    let mut assessed = round.with(Some(found.clone()));
    assessed.account.proven(&crate::judge::Proof { errors: found, ..proof }, held);
    Ok(assessed)
}
