//! What the verdict judges, and what it does not.

use super::{Signal, Typed};
use crate::input::keys::fields::Named;

/// A limit.
#[derive(Clone, Debug)]
pub struct LimitSpec {
    /// Name in the verdict; empty where none is given.
    pub name: String,
    /// What is bounded.
    pub signal: Signal,
    /// Upper bound.
    pub max: Option<Typed>,
    /// Lower bound.
    pub min: Option<Typed>,
}

/// A waiver: a rating of a part, or a note, that the user knows of and does not let count.
#[derive(Clone, Debug)]
pub struct WaiverSpec {
    /// Name of the rating or note.
    pub of: Named,
    /// Why it does not count.
    pub reason: String,
}
