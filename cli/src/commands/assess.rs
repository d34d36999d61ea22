//! What studies share: numbers with their errors, judged by an account, as stated, with coarser computations beside it,
//! or proven by finer ones.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::fmt;

use crate::account::{Account, Cost};
use crate::args::AssessArgs;
use crate::commands::options::Refused;
use crate::exit::NUMERICAL;
use crate::judge::{Bounds, Computed, Level, Number, Proof, Uncertainty, coarser, errors, prove};

/// What a study computed at one level.
pub(crate) struct Round<M> {
    /// Limits and ratings, and what casts doubt on them.
    pub account: Account,
    /// Whatever else was found.
    pub more: M,
    /// The numbers of that, in the same order at every level.
    pub numbers: Vec<Number>,
}

/// Computes a level; a coarser one gets what was found as stated.
type At<'a, M> = dyn Fn(Level, Option<&M>) -> Result<Round<M>, Refused> + Sync + 'a;

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

/// Computes and judges as options ask. `held`: what a proof leaves of its last round. `at` computes a level; a coarser
/// one gets what was found as stated, to begin with. The two coarser ones are computed side by side; what they give
/// does not depend on how many threads there are.
///
/// # Errors
/// When the computation as stated fails, or a finer one.
pub(crate) fn assess<M: Send + Sync>(
    how: &AssessArgs,
    held: &str,
    stop: &(dyn Fn() -> bool + Sync),
    at: &At<'_, M>,
) -> Result<Assessed<M>, Refused> {
    if how.prove {
        return proven(held, stop, at);
    }
    if how.no_estimate {
        return Ok(at(Level::STATED, None)?.with(None));
    }
    let fine = at(Level::STATED, None)?;
    let numbers = |level| at(level, Some(&fine.more)).map(|round| round.computed()).map_err(|(why, _)| why);
    let coarser = coarser(numbers);
    let found = errors(&fine.computed(), &coarser);
    let cost = |of: fn(&Computed) -> u64| -> u64 { coarser.iter().flatten().map(of).sum() };
    let cost = Cost { steps: cost(|c| c.steps), iterations: cost(|c| c.iterations) };
    let mut assessed = fine.with(Some(found));
    assessed.account.estimate = Some(cost);
    Ok(assessed)
}

fn proven<M: Send>(
    held: &str,
    stop: &(dyn Fn() -> bool + Sync),
    at: &At<'_, M>,
) -> Result<Assessed<M>, Refused> {
    let last: RefCell<Option<Round<M>>> = RefCell::new(None);
    let bounds: RefCell<BTreeMap<String, Bounds>> = RefCell::default();
    // The last three computations, the finest first.
    let three: RefCell<Vec<Computed>> = RefCell::default();
    let steady = Cell::new(false);
    let made = Cell::new(0);
    let refine = |level: Level| {
        let round = at(level, None).map_err(Why)?;
        steady.set(round.account.counters.stalled == 0);
        bounds.replace(round.account.bounds());
        let computed = round.computed();
        three.borrow_mut().insert(0, computed.clone());
        three.borrow_mut().truncate(3);
        made.set(-level.0);
        last.replace(Some(round));
        Ok(computed)
    };
    let proof = prove(refine, |name| bounds.borrow().get(name).copied(), || steady.get(), stop);
    let Some(round) = last.into_inner() else {
        return Err(proof.err().map_or(("no round was made".into(), NUMERICAL), |Why(refused)| refused));
    };
    // A finer round that has no solution ends the proof: what was computed before it stands.
    let ended = proof.as_ref().err().map(|why| format!("a finer round ended early: {why}"));
    let found = match three.borrow().as_slice() {
        [fine, coarse, coarsest] => errors::<String>(fine, &[Ok(coarse.clone()), Ok(coarsest.clone())]),
        few => {
            let why = ended.clone().unwrap_or_else(|| "the proof was stopped".into());
            vec![Uncertainty::not_estimated(why); few.first().map_or(0, |c| c.numbers.len())]
        }
    };
    let mut assessed = round.with(Some(found.clone()));
    assessed.account.notes.extend(ended);
    let proven = proof.is_ok_and(|p| p.proven);
    assessed.account.proven(&Proof { rounds: made.get(), proven, errors: found }, held);
    Ok(assessed)
}
