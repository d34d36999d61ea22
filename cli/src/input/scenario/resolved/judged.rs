//! What the verdict judges, and what it does not.

use super::{Signal, Typed};
use crate::diagnostic::Span;
use crate::input::keys::fields::Named;
use crate::judge::Bounded;

/// A limit as it is typed.
#[derive(Clone, Debug)]
pub struct LimitSpec {
    /// Name in the verdict; empty where none is given.
    pub name: String,
    /// Where it stands.
    pub span: Span,
    /// What is bounded.
    pub of: Bounded,
    /// The protection or component, where it speaks of one.
    pub subject: Option<Named>,
    /// The signal, where it speaks of one.
    pub signal: Option<Signal>,
    /// The level of a time above it.
    pub level: Option<Typed>,
    /// Interval, s; infinite where the run ends it.
    pub interval: (f64, f64),
    /// Lower bound.
    pub min: Option<Stated>,
    /// Upper bound.
    pub max: Option<Stated>,
}

/// A bound.
#[derive(Clone, Debug)]
pub enum Stated {
    /// In the unit of the signal.
    OfSignal(Typed),
    /// In the unit of what is bounded.
    Number(f64),
}

/// A waiver: a rating of a part, or a note, that the user knows of and does not let count.
#[derive(Clone, Debug)]
pub struct WaiverSpec {
    /// Name of the rating or note.
    pub of: Named,
    /// Why it does not count.
    pub reason: String,
}
