//! Stepping by pieces: circuits of linear components, ideal switches and valves (devices that are straight on both
//! sides of a threshold) follow linear equations between two changes of switches and valves.
//!
//! Every switch state met is reduced once to z' = F·z (courses of sources included) and its propagators over base/2ᵏ
//! are kept, so that a step is one product of a small matrix and a vector, exact for any step length. Energies are
//! exact too: ∫ z·zᵀ dt is summed along the way and every account is a quadratic form in it. Valves are looked at at
//! the ends of steps; the step in which one leaves its side is halved down to base/2³⁰ (bisection), there the valve
//! changes. What rounding leaves in the energies of a step is of the order of 1e-16 of the energy stored, times the
//! step over the shortest time constant: 1e-9 a step for two capacitors of 10 uF joined by 1 uohm. The side of each
//! valve is then found by the least-index rule (Murty 1974, Opsearch 11, 23), which ends where the circuit has one
//! solution. A valve that leaves its side and comes back within a step is not seen.

mod frame;
mod ladder;
mod piece;

use self::frame::Frame;
use self::ladder::FINEST;
use self::piece::{Block, Piece};
use super::stage::StageError;
use super::state::State;
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::WaveId;
use crate::control::board::Board;
use crate::equations::system::System;
use crate::readout::Readout;

/// A valve may be this far on the wrong side of its threshold, V: far more than rounding leaves at some hundred volts.
/// A conducting one is watched more closely, because its resistance makes a current of it.
const TOLERANCE: [f64; 2] = [1e-10, 1e-11];
/// Most changes of valves at one instant, and without a whole step between them.
const CHANGES: u32 = 2000;
/// Most states of a circuit and its sources.
pub const STATES: usize = 32;

/// How far a walk came.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Walked {
    /// Steps, a rest before the end and a step with a change of valves counted as one each.
    pub steps: u64,
    /// Changes of valves.
    pub changes: u64,
}

/// A circuit stepped by pieces. What is kept can be thrown away at any time but for its cost.
#[derive(Debug)]
pub struct Pieces<L: Lane> {
    frame: Frame,
    integrals: Vec<(Readout<L>, Readout<L>)>,
    base: f64,
    pieces: Vec<Piece>,
    current: usize,
    /// Version of the board for which `current` has the right choices.
    version: Option<u64>,
}

impl<L: Lane> Pieces<L> {
    /// For a system and the board at the start.
    ///
    /// # Errors
    /// Why the circuit cannot be stepped so.
    pub fn new(
        system: &System<L>,
        integrals: &[(Readout<L>, Readout<L>)],
        base: f64,
        board: &Board<L>,
    ) -> Result<Self, String> {
        if L::WIDTH > 1 {
            return Err("variants side by side, whose valves would change at different instants".into());
        }
        let mut waves = Vec::new();
        integrals.iter().for_each(|(a, b)| courses(a, b, &mut waves));
        let frame = Frame::new(system, &waves)?;
        if frame.all > STATES {
            return Err(format!("{} states, expected at most {STATES}", frame.all));
        }
        let mut all = Self {
            frame,
            integrals: integrals.to_vec(),
            base,
            pieces: Vec::new(),
            current: 0,
            version: None,
        };
        all.current = all.piece(system, board.choices(), 0).map_err(undetermined)?;
        Ok(all)
    }

    /// Switch states met so far.
    pub fn met(&self) -> usize {
        self.pieces.len()
    }

    /// The board may be another one.
    pub fn look_up_again(&mut self) {
        self.version = None;
    }

    fn piece(&mut self, system: &System<L>, choices: &[usize], on: u64) -> Result<usize, String> {
        if let Some(k) = self.pieces.iter().position(|p| p.on == on && p.choices == choices) {
            return Ok(k);
        }
        self.pieces.push(Piece::new(system, &self.frame, &self.integrals, choices, on)?);
        Ok(self.pieces.len() - 1)
    }

    /// Finds the piece that holds at these states: valve by valve, the least number first.
    fn find(&mut self, system: &System<L>, z: &[f64], board: &Board<L>) -> Result<u64, StageError> {
        let mut changes = 0;
        if self.version != Some(board.version()) {
            let on = self.pieces[self.current].on;
            self.current = self.piece(system, board.choices(), on).map_err(|_| StageError::NotFinite(0))?;
            self.version = Some(board.version());
        }
        loop {
            let piece = &self.pieces[self.current];
            let dot = |row: &nalgebra::DVector<f64>| row.iter().zip(z).map(|(a, b)| a * b).sum::<f64>();
            let wrong = piece.inside.iter().enumerate().position(|(k, row)| {
                // The same bound as in a step.
                dot(row) < -TOLERANCE[(piece.on >> k & 1) as usize]
            });
            let Some(k) = wrong else { return Ok(changes) };
            changes += 1;
            if changes > u64::from(CHANGES) {
                return Err(StageError::Moving(self.frame.locations[k].ends[0], dot(&piece.inside[k])));
            }
            let on = piece.on ^ (1 << k);
            let node = self.frame.locations[k].ends[0];
            self.current =
                self.piece(system, board.choices(), on).map_err(|_| StageError::NotFinite(node))?;
        }
    }

    /// Makes a state consistent with the switches as they are now: states stay, everything else follows.
    ///
    /// # Errors
    /// When no side of the valves fits.
    pub fn settle(
        &mut self,
        system: &System<L>,
        state: &mut State<L>,
        board: &Board<L>,
        stamps: &mut [Vec<L>],
    ) -> Result<(), StageError> {
        let z = self.frame.load(system, &state.q, (state.t, state.t), board);
        self.find(system, z.as_slice(), board)?;
        self.commit(z.as_slice(), state, stamps)
    }

    /// Writes everything that is read off a state.
    fn commit(&mut self, z: &[f64], state: &mut State<L>, stamps: &mut [Vec<L>]) -> Result<(), StageError> {
        let piece = &self.pieces[self.current];
        let dot = |row: &nalgebra::DVector<f64>| row.iter().zip(z).map(|(a, b)| a * b).sum::<f64>();
        for k in 0..self.frame.n {
            let value: f64 = piece.x.row(k).iter().zip(z).map(|(a, b)| a * b).sum();
            if !value.is_finite() {
                return Err(StageError::NotFinite(k));
            }
            state.x[k] = L::splat(value);
        }
        for (power, products) in state.power.iter_mut().zip(&piece.powers) {
            *power = L::splat(products.iter().map(|(a, b)| dot(a) * dot(b)).sum());
        }
        for ((stamp, location), current) in stamps.iter_mut().zip(&self.frame.locations).zip(&piece.current) {
            let [a, b] = location.ends;
            stamp[0] = L::splat(dot(current));
            stamp[4] = state.x[a] - state.x[b];
        }
        Ok(())
    }

    /// Adds the energies of all steps since the last time.
    pub fn account(&mut self, energy: &mut [L]) {
        for steps in self.pieces.iter_mut().filter_map(|p| p.steps.as_mut()) {
            steps.settle(energy);
        }
    }

    /// Goes on from `state` until `stop`, to which no switch and no corner of a course may lie nearer; or until the end
    /// of the first step at or after `pause`, or `most` steps. Steps are no longer than `longest`. s. The energies
    /// wait for [`Pieces::account`].
    ///
    /// # Errors
    /// When no side of the valves fits, they do not come to rest, or a value is no number.
    pub fn walk(
        &mut self,
        system: &System<L>,
        state: &mut State<L>,
        (stop, pause, longest): (f64, f64, f64),
        most: u64,
        board: &Board<L>,
        stamps: &mut [Vec<L>],
    ) -> Result<Walked, StageError> {
        match self.frame.all.div_ceil(8) {
            1 => self.go::<1>(system, state, (stop, pause, longest), most, board, stamps),
            2 => self.go::<2>(system, state, (stop, pause, longest), most, board, stamps),
            3 => self.go::<3>(system, state, (stop, pause, longest), most, board, stamps),
            _ => self.go::<4>(system, state, (stop, pause, longest), most, board, stamps),
        }
    }

    fn go<const C: usize>(
        &mut self,
        system: &System<L>,
        state: &mut State<L>,
        (stop, pause, longest): (f64, f64, f64),
        most: u64,
        board: &Board<L>,
        stamps: &mut [Vec<L>],
    ) -> Result<Walked, StageError> {
        let began = state.t;
        let tick = self.base * 0.5f64.powi(FINEST as i32);
        let total = ((stop - began) / tick).round() as u64;
        let coarse = (0..FINEST).find(|&k| self.base * 0.5f64.powi(k as i32) <= longest).unwrap_or(FINEST);
        let stride = |k: u32| 1u64 << (FINEST - k);
        let rest = ((pause - began) / tick).ceil().max(0.0) as u64;
        let loaded = self.frame.load(system, &state.q, (began, stop), board);
        let mut z = [[0.0; 8]; C];
        loaded.iter().enumerate().for_each(|(k, x)| z[k / 8][k % 8] = *x);
        self.find(system, z.as_flattened(), board)?;
        let mut walked = Walked::default();
        let mut left = total;
        let mut restless = 0;
        while left > 0 && walked.steps < most && (total - left < rest || walked.steps == 0) {
            let piece = &mut self.pieces[self.current];
            piece.ladder(self.base);
            let mut broken = None;
            let whole = left / stride(coarse);
            if whole > 0 {
                let paused = (rest.saturating_sub(total - left)).div_ceil(stride(coarse)).max(1);
                let count = whole.min(most - walked.steps).min(paused);
                let done = take_steps::<C>(piece, &mut z, coarse, count);
                walked.steps += done;
                left -= done * stride(coarse);
                if done > 0 {
                    restless = 0;
                }
                if done < count {
                    broken = Some(coarse);
                }
            } else {
                walked.steps += 1;
                let mut k = coarse + 1;
                while k <= FINEST && left > 0 && broken.is_none() {
                    if left >= stride(k) {
                        match take_steps::<C>(piece, &mut z, k, 1) {
                            0 => broken = Some(k),
                            _ => left -= stride(k),
                        }
                    }
                    k += 1;
                }
            }
            let Some(mut k) = broken else { continue };
            // A valve leaves its side within the next step of this length: halved down to the last tick.
            while k < FINEST {
                k += 1;
                left -= stride(k) * take_steps::<C>(piece, &mut z, k, 1);
            }
            force::<C>(piece, &mut z, FINEST);
            left -= 1;
            walked.steps += 1;
            restless += 1;
            walked.changes += self.find(system, z.as_flattened(), board)?;
            if restless > CHANGES {
                return Err(StageError::Moving(self.frame.locations[0].ends[0], f64::NAN));
            }
        }
        state.t = if left == 0 { stop } else { began + (total - left) as f64 * tick };
        let z = z.as_flattened();
        self.frame.store(z, &mut state.q);
        self.commit(z, state, stamps)?;
        Ok(walked)
    }
}

/// Courses read by integrals.
fn courses<L: Lane>(a: &Readout<L>, b: &Readout<L>, waves: &mut Vec<WaveId>) {
    for readout in [a, b] {
        match readout {
            Readout::Wave(wave) => waves.push(*wave),
            Readout::Sum(terms) => terms.iter().for_each(|(_, r)| courses(r, r, waves)),
            _ => {}
        }
    }
}

fn undetermined(node: String) -> String {
    format!("nothing but a capacitance or an inductance of zero determines `{node}`")
}

#[inline(always)]
fn moved<const C: usize>(psi: &[Block], z: &[Block; C]) -> [Block; C] {
    let mut out = *z;
    for (j, column) in psi.chunks_exact(C).enumerate() {
        let x = z[j / 8][j % 8];
        for c in 0..C {
            for k in 0..8 {
                out[c][k] += column[c][k] * x;
            }
        }
    }
    out
}

/// Up to `count` steps of base/2^k, as long as all valves stay on their sides; gives how many.
fn take_steps<const C: usize>(piece: &mut Piece, z: &mut [Block; C], k: u32, count: u64) -> u64 {
    let Piece { steps: Some(steps), checks, on, .. } = piece else { return 0 };
    let (psi, moments) = (&steps.psi[k as usize], &mut steps.moments[k as usize]);
    let mut done = 0;
    while done < count {
        let next = moved::<C>(psi, z);
        let stays = checks.iter().enumerate().all(|(valve, row)| {
            let mut sum = [0.0; 8];
            for c in 0..C {
                for k in 0..8 {
                    sum[k] += row[c][k] * next[c][k];
                }
            }
            sum.iter().sum::<f64>() >= -TOLERANCE[(*on >> valve & 1) as usize]
        });
        if !stays {
            break;
        }
        note::<C>(moments, z);
        *z = next;
        done += 1;
    }
    steps.used[k as usize] |= done > 0;
    done
}

/// One step, wherever the valves go.
fn force<const C: usize>(piece: &mut Piece, z: &mut [Block; C], k: u32) {
    let Some(steps) = &mut piece.steps else { return };
    note::<C>(&mut steps.moments[k as usize], z);
    steps.used[k as usize] = true;
    *z = moved::<C>(&steps.psi[k as usize], z);
}

#[inline(always)]
fn note<const C: usize>(moments: &mut [Block], z: &[Block; C]) {
    for (j, column) in moments.chunks_exact_mut(C).enumerate() {
        let x = z[j / 8][j % 8];
        for c in 0..C {
            for k in 0..8 {
                column[c][k] += z[c][k] * x;
            }
        }
    }
}
