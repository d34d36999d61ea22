//! A loop without a circuit, for the tests of controllers: lands on every ordered instant and every instant at
//! which a controller wants to be woken, and on a grid of steps between them.

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{Circuit, LineId, WaveId};
use crate::circuit::probe::Probe;
use crate::control::board::Board;
use crate::control::{Controller, Seen};
use crate::error::SolverError;
use crate::recorder::{Event, EventKind};

/// Course of the synthetic quantities: values at `t`, given the previous boundary and the board as it held in
/// between. `Probe::Wave(WaveId(k))` reads entry k.
pub type Quantities<'a, L> = Box<dyn FnMut(f64, f64, &Board<L>) -> Vec<L> + 'a>;

pub struct Trial<'a, L: Lane> {
    pub board: Board<L>,
    pub controllers: Vec<Box<dyn Controller<L>>>,
    pub step: f64,
    pub quantities: Quantities<'a, L>,
    pub events: Vec<Event>,
    /// Changes of lines: instant, line, state.
    pub changes: Vec<(f64, LineId, bool)>,
    /// Boundaries passed.
    pub boundaries: Vec<f64>,
}

/// The probe of synthetic quantity `k`.
pub fn quantity(k: u32) -> Probe {
    Probe::Wave(WaveId(k))
}

impl<'a, L: Lane> Trial<'a, L> {
    pub fn new(
        circuit: &Circuit<L>,
        step: f64,
        quantities: impl FnMut(f64, f64, &Board<L>) -> Vec<L> + 'a,
    ) -> Self {
        Self {
            board: Board::new(circuit),
            controllers: Vec::new(),
            step,
            quantities: Box::new(quantities),
            events: Vec::new(),
            changes: Vec::new(),
            boundaries: Vec::new(),
        }
    }

    pub fn add(&mut self, controller: impl Controller<L> + 'static) {
        self.controllers.push(Box::new(controller));
    }

    /// Runs from 0 to `end`.
    pub fn run(&mut self, end: f64) -> Result<(), SolverError> {
        let (mut before, mut t) = (0.0, 0.0);
        let mut then = (self.quantities)(0.0, 0.0, &self.board);
        let mut now = then.clone();
        let mut lines: Vec<bool> = Vec::new();
        let mut grid = 0_u64;
        loop {
            self.board.apply_orders(t);
            self.note(t, &mut lines);
            for c in &mut self.controllers {
                let pick = |values: &[L]| -> Vec<L> {
                    let read = |p| match p {
                        Probe::Wave(k) => values[k.0 as usize],
                        other => panic!("a trial has no {other:?}"),
                    };
                    c.probes().into_iter().map(read).collect()
                };
                let (then, now) = (pick(&then), pick(&now));
                c.look(&Seen { before, t, then: &then, now: &now }, &mut self.board)?;
            }
            self.note(t, &mut lines);
            self.events.extend(self.board.take_events());
            self.boundaries.push(t);
            if t >= end {
                return Ok(());
            }
            while (grid as f64) * self.step <= t {
                grid += 1;
            }
            let wakes = self.controllers.iter().filter_map(|c| c.wakes(t));
            let next = wakes.chain(self.board.next(t)).chain([grid as f64 * self.step, end]);
            (before, t) = (t, next.fold(f64::INFINITY, f64::min));
            assert!(t > before, "time must go on, woken at {t} after {before}");
            then = std::mem::replace(&mut now, (self.quantities)(before, t, &self.board));
        }
    }

    fn note(&mut self, t: f64, lines: &mut Vec<bool>) {
        for k in 0..self.board.lines() {
            let line = LineId(k as u32);
            let is = self.board.line(line);
            if lines.len() <= k {
                lines.push(false);
            }
            if lines[k] != is {
                lines[k] = is;
                self.changes.push((t, line, is));
            }
        }
    }

    /// Changes of one line.
    pub fn of(&self, line: LineId) -> Vec<(f64, bool)> {
        self.changes.iter().filter(|c| c.1 == line).map(|c| (c.0, c.2)).collect()
    }

    /// Events of one kind.
    pub fn kind(&self, kind: EventKind) -> Vec<&Event> {
        self.events.iter().filter(|e| e.kind == kind).collect()
    }
}

/// Asserts that two sequences of changes agree to 1e-12 s.
pub fn same(found: &[(f64, bool)], expected: &[(f64, bool)]) {
    let near = |(a, b): (&(f64, bool), &(f64, bool))| (a.0 - b.0).abs() <= 1e-12 && a.1 == b.1;
    let all = found.len() == expected.len() && found.iter().zip(expected).all(near);
    assert!(all, "found {found:?}, expected {expected:?}");
}
