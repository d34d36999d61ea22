//! What all switch states of a piecewise-linear circuit share: its states, and its sources as states of their own.
//!
//! The states are w with q = C·x = D⁻¹·V·Λ·w: the eigenvectors of the scaled D·C·D that carry charge or flux. Capacitor
//! voltages and winding currents are continuous in them whatever the switches do. Courses of sources follow linear
//! equations too: a constant 1, a straight line by value and slope, a sine by a rotating pair about its offset.

use nalgebra::{DMatrix, DVector};

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::WaveId;
use crate::circuit::law::Valve;
use crate::circuit::wave::Wave;
use crate::control::board::Board;
use crate::equations::system::System;

/// Eigenvalues of the scaled C below this carry nothing.
const EMPTY: f64 = 1e-10;

/// A device that is straight on both sides of a threshold, in its place.
#[derive(Clone, Copy, Debug)]
pub(super) struct ValveLocation {
    /// Unknowns of its two ends.
    pub ends: [usize; 2],
    pub valve: Valve,
}

/// A course of a source, and where its own states begin.
#[derive(Clone, Debug)]
struct Course {
    wave: WaveId,
    first: usize,
}

#[derive(Debug)]
pub(super) struct Frame {
    /// Number of unknowns, and of the circuit's states.
    pub n: usize,
    pub states: usize,
    /// All states: the circuit's, the constant 1, the courses'.
    pub all: usize,
    /// Scale of each unknown.
    pub scale: DVector<f64>,
    /// Scaled unknowns that carry charge or flux, with what each carries, and those that carry none.
    pub carrying: DMatrix<f64>,
    pub carried: DVector<f64>,
    pub empty: DMatrix<f64>,
    pub locations: Vec<ValveLocation>,
    courses: Vec<Course>,
}

impl Frame {
    /// Of a system whose devices are all valves.
    pub fn new<L: Lane>(system: &System<L>, more: &[WaveId]) -> Result<Self, String> {
        let n = system.n;
        let mut locations = Vec::new();
        for (device, placed) in system.devices().iter().zip(&system.devices) {
            let name = &system.circuit.components[placed.component.0 as usize].name;
            let valve = device.valve().filter(|_| placed.locals.len() == 1);
            let valve = valve.ok_or_else(|| format!("`{name}` is not piecewise linear"))?;
            locations
                .push(ValveLocation { ends: [placed.locals[0] as usize, placed.reference as usize], valve });
        }
        if locations.len() > 64 {
            return Err(format!("{} ideal diodes, expected at most 64", locations.len()));
        }
        let mut c = DMatrix::<f64>::zeros(n, n);
        for &(row, column, x) in system.c.iter().filter(|e| (e.0 as usize) < n && (e.1 as usize) < n) {
            c[(row as usize, column as usize)] += x.lane(0);
        }
        let scale = DVector::from_fn(n, |k, _| match c[(k, k)] {
            x if x > 0.0 => 1.0 / x.sqrt(),
            _ => 1.0,
        });
        let scaled = DMatrix::from_fn(n, n, |i, j| scale[i] * c[(i, j)] * scale[j]);
        if (&scaled - scaled.transpose()).amax() > 1e-12 {
            return Err("capacitances or inductances that are not reciprocal".into());
        }
        let eigen = scaled.symmetric_eigen();
        let pick = |full: bool| -> Vec<usize> {
            (0..n).filter(|&k| (eigen.eigenvalues[k] > EMPTY) == full).collect()
        };
        let (full, none) = (pick(true), pick(false));
        let mut courses: Vec<Course> = Vec::new();
        let mut all = full.len() + 1;
        for &wave in system.sources.iter().map(|s| &s.1).chain(more) {
            if courses.iter().any(|c| c.wave == wave) {
                continue;
            }
            courses.push(Course { wave, first: all });
            all += match &system.circuit.waves[wave.0 as usize] {
                Wave::Constant(_) => 0,
                Wave::Sine { .. } => 3,
                _ => 2,
            };
        }
        Ok(Self {
            n,
            states: full.len(),
            all,
            scale,
            carrying: eigen.eigenvectors.select_columns(&full),
            carried: DVector::from_iterator(full.len(), full.iter().map(|&k| eigen.eigenvalues[k])),
            empty: eigen.eigenvectors.select_columns(&none),
            locations,
            courses,
        })
    }

    /// Number of the constant 1.
    pub fn one(&self) -> usize {
        self.states
    }

    /// A course's value as a form in the states.
    pub fn value<L: Lane>(&self, system: &System<L>, wave: WaveId) -> Option<DVector<f64>> {
        let course = self.courses.iter().find(|c| c.wave == wave)?;
        let mut form = DVector::zeros(self.all);
        match &system.circuit.waves[wave.0 as usize] {
            Wave::Constant(x) => form[self.one()] = x.lane(0),
            _ => form[course.first] = 1.0,
        }
        Some(form)
    }

    /// The courses' own equations, in the rows of F.
    pub fn turn<L: Lane>(&self, system: &System<L>, f: &mut DMatrix<f64>) {
        for course in &self.courses {
            let k = course.first;
            match &system.circuit.waves[course.wave.0 as usize] {
                Wave::Constant(_) => {}
                Wave::Sine { frequency, .. } => {
                    let w = std::f64::consts::TAU * frequency;
                    f[(k, k + 1)] = w;
                    f[(k + 1, k)] = -w;
                    f[(k + 1, k + 2)] = w;
                }
                _ => f[(k, k + 1)] = 1.0,
            }
        }
    }

    /// All states from what stands under d/dt, and the courses' from the instant t on, straight until `stop`, s.
    pub fn load<L: Lane>(
        &self,
        system: &System<L>,
        q: &[L],
        (t, stop): (f64, f64),
        board: &Board<L>,
    ) -> DVector<f64> {
        let mut z = DVector::zeros(self.all);
        let charge = DVector::from_fn(self.n, |k, _| q[k].lane(0) * self.scale[k]);
        let w = self.carrying.tr_mul(&charge).component_div(&self.carried);
        z.rows_mut(0, self.states).copy_from(&w);
        z[self.one()] = 1.0;
        for course in &self.courses {
            let wave = &system.circuit.waves[course.wave.0 as usize];
            let value = board.course_after(wave, course.wave, t).lane(0);
            match wave {
                Wave::Constant(_) => {}
                Wave::Sine { offset, amplitude, frequency, phase, delay } => {
                    let turn = (t - delay) * frequency;
                    let angle = std::f64::consts::TAU * (turn - turn.floor()) + phase;
                    let runs = if t < *delay { 0.0 } else { amplitude.lane(0) };
                    z[course.first] = value;
                    z[course.first + 1] = runs * angle.cos();
                    z[course.first + 2] = offset.lane(0);
                }
                _ => {
                    let end = board.course(wave, course.wave, stop).lane(0);
                    z[course.first] = value;
                    z[course.first + 1] = if stop > t { (end - value) / (stop - t) } else { 0.0 };
                }
            }
        }
        z
    }

    /// What stands under d/dt at these states.
    pub fn store<L: Lane>(&self, z: &[f64], q: &mut [L]) {
        for (k, q) in q.iter_mut().enumerate().take(self.n) {
            let row = self.carrying.row(k);
            let sum: f64 = (0..self.states).map(|j| row[j] * self.carried[j] * z[j]).sum();
            *q = L::splat(sum / self.scale[k]);
        }
    }
}
