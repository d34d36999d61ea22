//! How far a number may be wrong, and what follows for a verdict: the one place for both. Plain data and pure
//! functions.
//!
//! A study judges in four steps and has no rule of its own:
//!
//! 1. It computes at [`Level::STATED`] and gives its numbers by name: [`Computed`].
//! 2. It computes the same at [`Level::COARSER`] ([`coarser`] does both, side by side); [`errors`] then gives the
//!    [`Uncertainty`] of each number. A function level → numbers is all that is needed: [`estimated`] does 1 and 2.
//!    [`Level::of_steps`] says what a level means for a run of the engine. Without an estimate every number is
//!    [`Uncertainty::Bare`].
//! 3. Errors that are known otherwise (of a mesh, of the coupling of heat, of a leap) go into [`Number::further`], in the
//!    number's unit; they add.
//! 4. [`rule`] holds a value with its error against its [`Bounds`]; [`overall`] makes the verdict of all of them, and
//!    [`exit_code`] the code of the program.

mod bounded;
mod error;
mod estimate;
mod limit;
mod prove;
mod rule;
mod spread;

pub use bounded::Bounded;
pub use error::Uncertainty;
pub use estimate::{
    Computed, Level, Number, RATIO_OF_TWO, coarser, converging, errors, errors_of_rounds, estimated,
    grid_convergence_up_to,
};
pub use limit::{End, Limit, Limited, Occurrence, SetBy, spelled_difference, unit_of_difference};
pub use prove::{Proof, prove};
pub use rule::{Bounds, Ruling, Verdict, exit_code, over_all, overall, rule, worst};
pub use spread::{FACTOR, Far, LINEAR, Moved, Spread, differences, propagate, variance};
