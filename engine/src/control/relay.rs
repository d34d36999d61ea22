//! An ideal switch that follows a line.

use super::board::Board;
use super::{Controller, Seen};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{ChoiceId, LineId};
use crate::error::SolverError;

/// Closes a switch (option 1 of its choice) while a line is true, and opens it (option 0) while it is false, both at
/// once.
#[derive(Clone, Debug, PartialEq)]
pub struct Relay {
    name: String,
    line: LineId,
    choice: ChoiceId,
}

impl Relay {
    /// A switch that follows from the start.
    pub fn new(name: &str, line: LineId, choice: ChoiceId) -> Self {
        Self { name: name.to_string(), line, choice }
    }
}

impl<L: Lane> Controller<L> for Relay {
    fn name(&self) -> &str {
        &self.name
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, L>, board: &mut Board<L>) -> Result<(), SolverError> {
        let option = usize::from(board.line(self.line));
        if board.chosen(self.choice) != option {
            board.choose_at(self.choice, option, seen.t);
        }
        Ok(())
    }

    fn boxed(&self) -> Box<dyn Controller<L>> {
        Box::new(self.clone())
    }
}
