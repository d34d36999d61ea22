//! What can go wrong, as data: the text is made once, here.

use thiserror::Error;

/// Errors of the circuit itself, found before any number is computed.
#[derive(Debug, Error, Clone, PartialEq)]
pub enum CircuitError {
    /// Two components share a name.
    #[error("two components are named `{name}`")]
    DuplicateName {
        /// The name used twice.
        name: String,
    },
    /// A node without a path for direct current to ground.
    #[error(
        "node `{node}` floats: no path for direct current leads from it to ground (reached only by {through})"
    )]
    FloatingNode {
        /// The node.
        node: String,
        /// The components that touch it.
        through: String,
    },
    /// Ideal voltage sources (or windings) in a loop.
    #[error("loop of ideal voltage sources: {members}")]
    SourceLoop {
        /// The components in the loop.
        members: String,
    },
    /// A loop of windings without resistance (and ideal voltage sources): fine over time, but without an operating
    /// point.
    #[error(
        "no operating point: the loop {members} has no resistance, so nothing fixes the direct current around it; give a winding a series resistance, or state the initial currents"
    )]
    ResistanceFreeLoop {
        /// The components in the loop.
        members: String,
    },
    /// A value outside what the component can be.
    #[error("`{component}`: {what}")]
    BadValue {
        /// The component.
        component: String,
        /// What is wrong.
        what: String,
    },
    /// A name that is not in the circuit.
    #[error("there is no {what} named `{name}`")]
    Unknown {
        /// Node, component, line …
        what: &'static str,
        /// The name asked for.
        name: String,
    },
}

/// How far an unknown is from rest. Where the matrix was singular there is no number.
fn moves(update: f64) -> String {
    match update.is_finite() {
        true => format!("still moves by {update:.3e}"),
        false => "has no finite next value".into(),
    }
}

/// Why Newton's iteration finds no end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// Rounding moved voltages in steps before.
    Rounding,
    /// What still moves is no more than rounding.
    Last,
    /// A current falls as its own voltage rises.
    FallingSlope,
    /// A device carries no more current, whatever its voltage.
    Saturated,
    /// None of them.
    Unknown,
}

impl std::fmt::Display for Cause {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Rounding => {
                ". In steps before, rounding alone moved voltages by more than a sixty-fourth of the largest: a part of the circuit hangs on the rest by a resistance or inductance so large, or has capacitances so large within, that double precision does not tell the voltage between them"
            }
            Self::Last => {
                ". That is the rounding of voltages which hang on the rest by less than a billionth of the conductances around them: a resistance across that device decides between them"
            }
            Self::FallingSlope => {
                ". The device's current falls there as its voltage rises, so that the solution may end: a capacitance between its pins decides what comes then"
            }
            Self::Saturated => {
                ". More current is forced through the device than its law carries at any voltage: a breakdown voltage or a leakage conductance says what it does then"
            }
            Self::Unknown => {
                ". No cause was found; a capacitance across the device, or a resistance in series with it, may let Newton's iteration converge"
            }
        })
    }
}

/// Numerical error during a run.
#[derive(Debug, Error, Clone, PartialEq)]
pub enum SolverError {
    /// Newton's iteration did not converge, however short the step.
    #[error(
        "no solution at t = {time:.9e} s: node `{node}` {} after {tries} halvings of the step; the device next to it is `{device}`{cause}", moves(*update)
    )]
    NotConverged {
        /// Simulated time, s.
        time: f64,
        /// The unknown that moves most.
        node: String,
        /// A nonlinear device that touches it.
        device: String,
        /// Its last change, V or A.
        update: f64,
        /// How often the step was halved.
        tries: u32,
        /// Why, where it can be told.
        cause: Cause,
    },
    /// A value became NaN or infinite.
    #[error("not a number at t = {time:.9e} s in `{node}`; the device next to it is `{device}`{cause}")]
    NotFinite {
        /// Simulated time, s.
        time: f64,
        /// The unknown.
        node: String,
        /// A nonlinear device that touches it.
        device: String,
        /// Why, where it can be told.
        cause: Cause,
    },
    /// The equations have no unique solution.
    #[error("singular equations at t = {time:.9e} s: nothing determines `{node}`")]
    Singular {
        /// Simulated time, s.
        time: f64,
        /// The unknown without a pivot.
        node: String,
    },
    /// No operating point was found.
    #[error(
        "no operating point: node `{node}` {}; the device next to it is `{device}`{cause}", moves(*update)
    )]
    NoOperatingPoint {
        /// The unknown that moves most.
        node: String,
        /// A nonlinear device that touches it.
        device: String,
        /// Its last change.
        update: f64,
        /// Why.
        cause: Cause,
    },
    /// Somebody asked to stop before anything was found.
    #[error("stopped while the initial state was searched")]
    Interrupted,
}
