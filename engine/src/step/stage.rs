//! One implicit stage: α(q(x) − q̂) + f(x, t) = 0 with α = 1/(γh), each lane with an α of its own.
//!
//! The matrix, the courses of the sources, charges and powers; Newton's iteration is in `newton`.

use std::sync::Arc;

use super::fallback::Full;
pub use super::tolerance::{StageError, Tolerance};
use crate::arithmetic::lane::{Lane, MOST_LANES, lanes_in};
use crate::arithmetic::vector::{padded, zeros};
use crate::circuit::law::{Device, stamp_len};
use crate::control::board::Board;
use crate::equations::order::GROWTH_LIMIT;
use crate::equations::program::Program;
use crate::equations::system::{Dissipator, System};
use crate::readout::Seat;

/// The constant part of the matrix for one α and one set of choices in each lane.
#[derive(Debug)]
pub(super) struct Prepared<L> {
    pub(super) alpha: L,
    /// Where there is one lane, its options.
    choices: Vec<usize>,
    /// Conductance of each choice.
    pub(super) chosen: Vec<L>,
    pub(super) a: Vec<L>,
    growth: L,
}

/// What a matrix was prepared for in a lane: α, and the board's version.
pub(super) type Key = (f64, u64);

/// How many prepared matrices are kept: the step lengths of a schedule times the states of the switches in use.
const KEPT: usize = 96;

/// Whether an elimination with this growth of its entries is not to be trusted.
pub(crate) fn is_bad(growth: f64) -> bool {
    growth.is_nan() || growth > GROWTH_LIMIT
}

/// Unknowns from number `inner` on that an order's inner pivots give.
fn beside(program: &Program, inner: usize) -> Vec<u32> {
    program.replay.order().inner_columns().filter(|&k| k as usize >= inner).collect()
}

/// Largest change at convergence of each inner unknown: the tolerance's, or a device's own; none for the padding.
fn limits<L: Lane>(system: &System<L>, voltage: f64) -> Vec<L> {
    let mut limits = vec![L::splat(f64::INFINITY); padded::<L>(system.inner)];
    limits[..system.inner].fill(L::splat(voltage));
    for (device, placed) in system.devices().iter().zip(&system.devices) {
        let least = L::splat(device.absolute_tolerance());
        placed.locals[placed.ports..].iter().for_each(|&k| limits[k as usize] = least);
    }
    limits
}

/// Scratch for solving stages; may be thrown away at any time.
#[derive(Debug)]
pub struct StageSolver<L: Lane> {
    pub(super) system: Arc<System<L>>,
    pub(super) program: Program,
    pub(super) devices: Vec<Box<dyn Device<L>>>,
    /// How many entries of a vector the inner unknowns take, padded.
    pub(super) inner: usize,
    /// Unknowns beyond them that the iteration solves for, too.
    pub(super) beside: Vec<u32>,
    /// Largest change at convergence of each inner unknown, absolute; without bound in the padding.
    pub(super) limits: Vec<L>,
    pub(super) relative: L,
    pub(super) iterations: u32,
    /// Those of one lane are kept and found again; of more, there is the present one only.
    pub(super) prepared: Vec<Prepared<L>>,
    pub(super) current: usize,
    /// What the current one was prepared for.
    pub(super) keys: [Key; MOST_LANES],
    next_victim: usize,
    pub(super) a: Vec<L>,
    pub(super) b: Vec<L>,
    pub(super) stage_b: Vec<L>,
    pub(super) fresh: Vec<L>,
    /// One stamp per device.
    pub(super) stamps: Vec<Vec<L>>,
    /// Whether the stamps are those of the state, at its temperatures.
    pub(super) stamped: bool,
    /// Value of each source term at the start of the step, and its change over it.
    pub(super) courses: Vec<(L, L)>,
    /// Points of each course passed at the start of the step, in each lane.
    passed: Vec<[usize; MOST_LANES]>,
    /// Lanes in which some course is not straight.
    pub(super) bent: u32,
    /// Value of each source term at the stage.
    pub(super) source_values: Vec<L>,
    /// The dense inner block, where the fixed order was given up (one lane only).
    pub(super) full: Option<Full<L>>,
    /// How often another elimination order was taken.
    pub(crate) reordered: u64,
    /// How often the laws were evaluated in an iteration, for all lanes at once.
    pub(crate) iterated: u64,
    /// What `a` holds the factors of the last iteration for, whose stamps are still kept.
    pub(super) factored: [Option<Key>; MOST_LANES],
    /// Newton iterations of the last stage.
    pub(super) took: [u32; MOST_LANES],
    /// Why the last stage that failed did.
    pub(super) failures: [StageError; MOST_LANES],
    /// The solution; before it, the prediction.
    pub x: Vec<L>,
}

/// A key that fits nothing.
pub(super) const NO_KEY: Key = (f64::NAN, u64::MAX);

impl<L: Lane> StageSolver<L> {
    /// For a system under a compiled order; devices at their circuit's temperature.
    pub fn new(system: Arc<System<L>>, program: Program, tolerance: Tolerance) -> Self {
        let n = system.n;
        let zero = L::splat(0.0);
        let limits = limits(&system, tolerance.voltage);
        Self {
            beside: beside(&program, padded::<L>(system.inner)),
            devices: system.devices(),
            inner: padded::<L>(system.inner),
            limits,
            relative: L::splat(tolerance.relative),
            iterations: tolerance.iterations,
            prepared: Vec::new(),
            current: 0,
            keys: [NO_KEY; MOST_LANES],
            reordered: 0,
            iterated: 0,
            factored: [None; MOST_LANES],
            took: [0; MOST_LANES],
            failures: [StageError::NotFinite(0); MOST_LANES],
            stamped: false,
            full: None,
            courses: vec![(zero, zero); system.sources.len()],
            passed: vec![[0; MOST_LANES]; system.sources.len()],
            bent: 0,
            source_values: vec![zero; system.sources.len()],
            next_victim: 0,
            a: zeros(program.replay.order().inner_slots + 1),
            b: zeros(n + 1),
            stage_b: zeros(n + 1),
            fresh: zeros(n + 1),
            stamps: system.devices.iter().map(|d| vec![zero; stamp_len(d.locals.len())]).collect(),
            x: zeros(n + 1),
            program,
            system,
        }
    }

    /// Newton's iteration ends by this from now on.
    pub(crate) fn tolerate(&mut self, tolerance: Tolerance) {
        self.limits = limits(&self.system, tolerance.voltage);
        (self.relative, self.iterations) = (L::splat(tolerance.relative), tolerance.iterations);
    }

    /// The elimination order in use.
    pub fn order(&self) -> &crate::equations::order::Order {
        self.program.replay.order()
    }

    pub(crate) fn program(&self) -> &Program {
        &self.program
    }

    /// Iterations before a step is refused.
    pub(crate) fn iterations(&self) -> u32 {
        self.iterations
    }

    /// Takes another elimination order.
    pub(super) fn take_program(&mut self, program: Program) {
        self.a = zeros(program.replay.order().inner_slots + 1);
        self.beside = beside(&program, self.inner);
        self.program = program;
        self.reordered += 1;
        self.prepared.clear();
        self.look_up_again();
        self.forget_factors();
        if self.is_dense() {
            self.go_dense(true);
        }
    }

    /// The factors and stamps kept serve for no prediction.
    pub(super) fn forget_factors(&mut self) {
        self.factored = [None; MOST_LANES];
    }

    /// Makes the matrix for each lane's key and conductances (of its choices) the current one; returns the element
    /// growth of each lane.
    pub(crate) fn prepare_lanes(&mut self, keys: &[Key], chosen: &[L]) -> L {
        match self.prepared.first() {
            Some(p) if self.keys[..L::WIDTH] == keys[..L::WIDTH] => return p.growth,
            _ => {}
        }
        let alpha = L::from_fn(|lane| keys[lane].0);
        let (mut a, mut own) = self.prepared.pop().map(|p| (p.a, p.chosen)).unwrap_or_default();
        own.clear();
        own.extend_from_slice(chosen);
        let growth = self.program.prepare(&self.system, alpha, chosen, &mut a);
        self.keys[..L::WIDTH].copy_from_slice(&keys[..L::WIDTH]);
        self.current = 0;
        self.prepared.push(Prepared { alpha, choices: Vec::new(), chosen: own, a, growth });
        growth
    }

    /// Looks the prepared matrix up anew before the next step: the board may be another one.
    pub(super) fn look_up_again(&mut self) {
        self.keys = [NO_KEY; MOST_LANES];
    }

    /// Takes the courses of the sources of a lane over a step from `begin` to `end`, s. Steps end at corners, so that a
    /// course is straight within, or a sine.
    pub(super) fn span(&mut self, lane: usize, (begin, end): (f64, f64), seat: &Seat<'_>) {
        let mut bent = false;
        let known = self.courses.iter_mut().zip(&mut self.passed);
        for ((ends, passed), &(_, wave, gain)) in known.zip(&self.system.sources) {
            let course = &seat.waves[wave.0 as usize];
            bent |= !course.is_straight();
            let gain = gain.lane(lane);
            let (first, last) = seat.board.course_ends(course, wave, (begin, end), &mut passed[lane]);
            let first = gain * first;
            ends.0.set_lane(lane, first);
            ends.1.set_lane(lane, gain * last - first);
        }
        self.bent = self.bent & !(1 << lane) | u32::from(bent) << lane;
    }

    /// Value of each source term at the instants of the seats, the fraction `c` of the span.
    #[inline(always)]
    pub(super) fn take_sources(&mut self, c: f64, seats: &[Seat<'_>]) {
        for (value, (begin, change)) in self.source_values.iter_mut().zip(&self.courses) {
            *value = *begin + *change * L::splat(c);
        }
        for lane in lanes_in(self.bent) {
            let seat = &seats[lane];
            for (value, &(_, wave, gain)) in self.source_values.iter_mut().zip(&self.system.sources) {
                let course = &seat.waves[wave.0 as usize];
                if !course.is_straight() {
                    let now = if c == 0.0 { course.at(seat.t) } else { course.until(seat.t) };
                    value.set_lane(lane, gain.lane(lane) * now);
                }
            }
        }
    }

    /// Takes the sources off the right-hand side of the stage.
    pub(super) fn subtract_sources(&mut self) {
        for (value, &(row, _, _)) in self.source_values.iter().zip(&self.system.sources) {
            self.stage_b[row as usize] -= *value;
        }
        let ground = self.system.n;
        self.stage_b[ground] = L::splat(0.0);
    }

    /// Lanes in which factors and stamps of the last stage serve for predicting the next.
    #[inline(always)]
    pub(super) fn remembering(&self) -> u32 {
        let fits = |lane: usize| self.factored[lane] == Some(self.keys[lane]);
        (0..L::WIDTH).fold(0, |lanes, lane| lanes | u32::from(fits(lane)) << lane)
    }

    /// After [`StageSolver::solve_lanes`]: the charges of every row into `q`, and the power of every account into
    /// `power`, where it `counts`.
    pub(super) fn account(&mut self, q: &mut [L], power: &mut [L], counts: bool) {
        let system = &self.system;
        let zero = L::splat(0.0);
        q.fill(zero);
        for &(r, c, x) in &system.c {
            q[r as usize] += x * self.x[c as usize];
        }
        let (devices, rest) = power.split_at_mut(system.devices.len());
        let locations = self.program.locations(&system.devices);
        for (((device, location), stamp), power) in
            self.devices.iter().zip(locations).zip(&mut self.stamps).zip(devices)
        {
            *power = device.commit(&location, &self.x, stamp, q);
        }
        if counts {
            self.linear_powers(&self.x, rest);
        }
    }

    /// The power of every linear component and source where the solution is `x`, at the instant of the stage.
    #[inline(always)]
    pub(super) fn linear_powers(&self, x: &[L], power: &mut [L]) {
        let system = &self.system;
        let (heat, sources) = power.split_at_mut(system.dissipators.len());
        let chosen = &self.prepared[self.current].chosen;
        for (p, (_, dissipator)) in heat.iter_mut().zip(&system.dissipators) {
            *p = match *dissipator {
                Dissipator::Across(a, b, g) => {
                    let v = x[a as usize] - x[b as usize];
                    g * v * v
                }
                Dissipator::Chosen(a, b, choice) => {
                    let v = x[a as usize] - x[b as usize];
                    chosen[choice.0 as usize] * v * v
                }
                Dissipator::Product(a, b, w) => w * x[a as usize] * x[b as usize],
            };
        }
        for ((p, &(row, _, _)), value) in sources.iter_mut().zip(&system.sources).zip(&self.source_values) {
            *p = x[row as usize] * *value;
        }
    }

    /// Solves for a change of the unknowns with the last factored matrix: `stage_b` in, `x`-like vector out.
    pub(super) fn resolve(&mut self, out: &mut [L]) {
        let prepared = &self.prepared[self.current];
        self.program.replay.forward_outer(&prepared.a, &mut self.stage_b);
        if self.full.is_some() {
            self.resolve_full(out);
        } else {
            self.program.replay.forward_inner(&self.a, &mut self.stage_b);
            self.program.replay.back_inner(&self.a, &self.stage_b, out);
        }
        let prepared = &self.prepared[self.current];
        self.program.replay.back_outer(&prepared.a, &self.stage_b, out);
    }

    /// Moves the devices that have a heat input to their temperature, K (one per device).
    pub fn set_temperatures(&mut self, kelvin: &[L]) {
        self.stamped = false;
        for ((device, placed), t) in self.devices.iter_mut().zip(&self.system.devices).zip(kelvin) {
            if self.system.heat_of(placed).is_some() {
                device.set_temperature(*t);
            }
        }
    }

    /// Goes over to another system of the same form: other variants in the lanes.
    pub(crate) fn take_system(&mut self, system: Arc<System<L>>) {
        self.devices = system.devices();
        self.system = system;
        self.stamped = false;
        self.look_up_again();
    }
}

impl StageSolver<f64> {
    /// Makes the matrix for this α and these choices the current one.
    pub fn prepare(&mut self, alpha: f64, board: &Board<f64>) {
        let key = (alpha, board.version());
        if self.keys[0] == key {
            return;
        }
        self.keys[0] = key;
        let choices = board.choices();
        let fits = |p: &Prepared<f64>| p.alpha == alpha && p.choices == choices;
        if let Some(k) = self.prepared.iter().position(fits) {
            self.current = k;
            return;
        }
        let chosen: Vec<f64> = self.system.chosen(choices).collect();
        let mut a = Vec::new();
        let mut growth = self.program.prepare(&self.system, alpha, &chosen, &mut a);
        if is_bad(growth) && self.reorder(alpha, board) {
            // The order was chosen on other values; on these it loses digits.
            self.keys[0] = key;
            growth = self.program.prepare(&self.system, alpha, &chosen, &mut a);
        }
        let made = Prepared { alpha, choices: choices.to_vec(), chosen, a, growth };
        if self.prepared.len() < KEPT {
            self.prepared.push(made);
            self.current = self.prepared.len() - 1;
        } else {
            self.current = self.next_victim;
            self.prepared[self.current] = made;
            self.next_victim = (self.next_victim + 1) % KEPT;
        }
    }
}
