//! Measurements on sampled waveforms by published definitions.
//!
//! Each function takes plain samples (an oscilloscope's or a run's) as [`signal::Signal`]s that share their instants,
//! and levels in SI units; results carry the instants between which they were taken. A definition that cannot be met
//! (the current never reaches its 90 %) is an error that says which one.

pub mod recovery;
pub mod signal;
pub mod switching;

/// Why a number cannot be taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeasureError {
    /// The samples themselves are wrong.
    #[error("{0}")]
    Samples(String),
    /// A level of a definition is not reached.
    #[error("{what} does not reach {level:.4} {unit} between {from:.4e} s and {to:.4e} s")]
    NotReached {
        /// The quantity.
        what: &'static str,
        /// The level.
        level: f64,
        /// Its unit symbol.
        unit: &'static str,
        /// Start of the search, s.
        from: f64,
        /// End of the search, s.
        to: f64,
    },
}
