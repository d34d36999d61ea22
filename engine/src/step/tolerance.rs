//! When Newton's iteration ends, and what is reported when it does not.

use crate::arithmetic::lane::Lane;
use crate::equations::system::System;
use crate::error::{Cause, SolverError};

/// When Newton's iteration ends, and how hard it tries.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// A voltage may still change by this much, V. The error left is of the order of its square.
    pub voltage: f64,
    /// A current may, A.
    pub current: f64,
    /// And both by this fraction of their value.
    pub relative: f64,
    /// Iterations before the step is refused.
    pub iterations: u32,
}

impl Default for Tolerance {
    fn default() -> Self {
        Self { voltage: 1e-3, current: 1e-3, relative: 1e-6, iterations: 12 }
    }
}

/// Newton's iteration is not asked for more than this, V, A and relative.
const TIGHTEST: f64 = 1e-9;

impl Tolerance {
    /// Looser by this factor, or tighter, as far as rounding allows.
    #[must_use]
    pub fn loosened(mut self, factor: f64) -> Self {
        for bound in [&mut self.voltage, &mut self.current, &mut self.relative] {
            *bound = (*bound * factor).max(TIGHTEST.min(*bound));
        }
        self
    }
}

/// Why a stage has no solution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StageError {
    /// This unknown still moves by this much.
    Moving(usize, f64),
    /// This unknown is not a finite number.
    NotFinite(usize),
}

impl StageError {
    /// In words a user can act on.
    pub fn located<L: Lane>(self, system: &System<L>, time: f64, tries: u32) -> SolverError {
        let (Self::Moving(k, _) | Self::NotFinite(k)) = self;
        let (node, device) = (system.name(k).to_string(), system.device_at(k));
        match self {
            Self::Moving(_, update) => {
                SolverError::NotConverged { time, node, device, update, tries, cause: Cause::Unknown }
            }
            Self::NotFinite(_) => SolverError::NotFinite { time, node, device, cause: Cause::Unknown },
        }
    }
}
