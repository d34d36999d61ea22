//! What can be wrong with a body or its solution, as data.

use thiserror::Error;

/// Errors of a body, found before any temperature is computed unless it says otherwise.
#[derive(Debug, Error, Clone, PartialEq)]
pub enum FieldError {
    /// A length, coefficient or property that is not a positive number.
    #[error("{what} of {place} is {value}; expected a positive number")]
    NotPositive {
        /// Which quantity.
        what: &'static str,
        /// Where.
        place: String,
        /// What was found, SI units.
        value: f64,
    },
    /// A number of something that does not exist.
    #[error("{place} names {what} number {number}, of which there are {count}")]
    Missing {
        /// Who names it.
        place: String,
        /// What.
        what: &'static str,
        /// Its number, from 0.
        number: usize,
        /// How many there are.
        count: usize,
    },
    /// Two blocks in one place.
    #[error("`{one}` and `{other}` fill the same space")]
    Overlap {
        /// One block.
        one: String,
        /// The other.
        other: String,
    },
    /// A heat input or a place of measurement outside every block.
    #[error("`{port}` lies outside every block")]
    PortOutside {
        /// Its name.
        port: String,
    },
    /// A cooled face that another block covers.
    #[error("the {face} face of `{block}` is covered: nothing of it can be cooled")]
    CoveredFilm {
        /// The block.
        block: String,
        /// `top` or `bottom`.
        face: &'static str,
    },
    /// A block whose heat can go nowhere.
    #[error("no path leads from `{block}` to a cooled face: it touches nothing that is cooled")]
    NoPath {
        /// The block.
        block: String,
    },
    /// Nothing to heat, cool or fill.
    #[error("the body has no {what}")]
    Empty {
        /// What is missing.
        what: &'static str,
    },
    /// The caller asked to stop.
    #[error("stopped")]
    Stopped,
    /// More cells than were allowed.
    #[error("the mesh would have {cells} cells; at most {limit} are allowed")]
    TooManyCells {
        /// Cells that it would have.
        cells: usize,
        /// Cells allowed.
        limit: usize,
    },
    /// The iteration of a linear system did not reach its tolerance.
    #[error("the linear system of {cells} cells did not converge in {iterations} iterations")]
    NotConverged {
        /// Unknowns.
        cells: usize,
        /// Iterations made.
        iterations: usize,
    },
    /// The nonlinear iteration of a step did not settle.
    #[error("the temperatures of a step of {step} s did not settle in {iterations} iterations")]
    NotSettled {
        /// Length of the step, s.
        step: f64,
        /// Iterations made.
        iterations: usize,
    },
}
