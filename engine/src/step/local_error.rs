//! The estimate of the local error over its bound, and what rounding makes of it.
//!
//! The estimate is a difference of derivatives α(q − q̂), and α grows as steps become short: the last digits of charges
//! and fluxes, times α, pass for currents and voltages. A node that hangs on large charges by almost nothing (two
//! capacitors of millifarads in series, femtofarads to ground) then has an estimate that no shorter step improves: it
//! doubles with every halving. So it is held against what the last digits do.

use super::stage::StageSolver;
use super::stepper::{MOST, Stepper, block};
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::{copy, weighted, zeros};

/// Signs of the last digits, two patterns (odd constants of multiplicative hashing; Knuth, TAOCP 3, section 6.4).
const PATTERNS: [u32; 2] = [0x9e37_79b9, 0x85eb_ca6b];

/// What elimination left of one stage's equations stands for that of all of them.
const SEVERAL: f64 = 4.0;

/// The stages of a linearly implicit method build on each other: the root of the sum of squares of what the last one
/// takes of the others' charges, a₆ⱼ + γ·c₆ⱼ of RODAS.
const LINKED: f64 = 8.0;

impl<L: Lane> Stepper<L> {
    /// Local error over its bound: (G + αC)⁻¹·α·h·Σ(b − b̂)K, damped where the circuit is stiff.
    #[inline(always)]
    pub(super) fn error_ratio(&mut self, alpha_h: L) -> L {
        let scaled: [L; MOST] =
            std::array::from_fn(|j| alpha_h * L::splat(self.method.error.get(j).copied().unwrap_or(0.0)));
        if L::WIDTH > 1 {
            let b = &mut self.solver.stage_b[..self.expected.len()];
            weighted(&self.k, &scaled, |_| L::splat(0.0), |m, sum| b[m] = sum);
        } else {
            for n in 0..self.expected.as_chunks::<8>().0.len() {
                let mut sum = [L::splat(0.0); 8];
                for (w, k) in scaled.iter().zip(&self.k) {
                    let k = block(k, n);
                    sum = std::array::from_fn(|m| sum[m] + *w * k[m]);
                }
                self.solver.stage_b.as_chunks_mut::<8>().0[n] = sum;
            }
        }
        self.solver.resolve(&mut self.error);
        self.worst_error()
    }

    /// The largest estimated local error over its bound.
    #[inline(always)]
    pub(super) fn worst_error(&self) -> L {
        // The largest one; where one is not a number the sum shows it, which no comparison loses.
        let larger = |worst: L, size: L| L::select(size.le(worst), worst, size);
        let told = |worst: L, sum: L| worst + sum * L::splat(0.0);
        if L::WIDTH > 1 {
            let (mut worst, mut sum) = (L::splat(0.0), L::splat(0.0));
            for size in self.error.iter().zip(&self.gauge.scale).map(|(e, s)| e.abs() * *s) {
                (worst, sum) = (larger(worst, size), sum + size);
            }
            return told(worst, sum);
        }
        let (mut worst, mut sum) = ([L::splat(0.0); 8], [L::splat(0.0); 8]);
        let (errors, scale) = (self.error.as_chunks::<8>().0, self.gauge.scale.as_chunks::<8>().0);
        for (e, s) in errors.iter().zip(scale) {
            let sizes: [L; 8] = std::array::from_fn(|k| e[k].abs() * s[k]);
            worst = std::array::from_fn(|k| larger(worst[k], sizes[k]));
            sum = std::array::from_fn(|k| sum[k] + sizes[k]);
        }
        let zero = L::splat(0.0);
        told(worst.into_iter().fold(zero, larger), sum.into_iter().fold(zero, |sum, s| sum + s))
    }

    /// The estimated local error of the step just tried over its bound: the largest among the unknowns whose estimate
    /// is above rounding. The bound follows the largest value so far, the end of this step included. And what rounding
    /// makes of the voltages, over the largest of them.
    pub(crate) fn beyond_rounding(&mut self) -> [L; 2] {
        let n = self.system().n;
        let rounding = self.rounding();
        let zero = L::splat(0.0);
        let (mut most, mut noise, mut widest) = (zero, zero, zero);
        for (k, rounding) in rounding.into_iter().enumerate().take(n) {
            let (error, x) = (self.error[k].abs(), self.solver.x[k]);
            let ratio = error / self.gauge.bound(k, x);
            // Written so that what is not a number counts.
            let larger = L::select(ratio.le(most), most, ratio);
            most = L::select(error.le(rounding), most, larger);
            if self.solver.system.is_voltage[k] {
                (noise, widest) = (L::select(rounding.le(noise), noise, rounding), widest.max(x.abs()));
            }
        }
        [most, noise / widest.max(L::splat(f64::MIN_POSITIVE))]
    }

    /// What a last digit, more or less, in every term of charges, fluxes and currents makes of the estimate.
    fn rounding(&mut self) -> Vec<L> {
        let system = std::sync::Arc::clone(self.system());
        let n = system.n;
        let x = &self.solver.x;
        let prepared = &self.solver.prepared[self.solver.current];
        let alpha = prepared.alpha;
        let mut size: Vec<L> = self.q.iter().map(|q| q.abs() * alpha).collect();
        for &(r, c, g) in &system.g {
            size[r as usize] += (g * x[c as usize]).abs();
        }
        for &(r, c, e) in &system.c {
            size[r as usize] += (e * x[c as usize]).abs() * alpha;
        }
        for &(choice, a, b) in &system.chosen {
            let g = prepared.chosen[choice.0 as usize];
            for row in [a, b] {
                size[row as usize] += g * (x[a as usize].abs() + x[b as usize].abs());
            }
        }
        for (placed, stamp) in system.devices.iter().zip(&self.solver.stamps) {
            let p = placed.locals.len();
            let base = placed.reference as usize;
            for k in 0..p {
                let mut sum = L::splat(0.0);
                for (j, &local) in placed.locals.iter().enumerate() {
                    let port = j < placed.ports;
                    let term = x[local as usize].abs() + if port { x[base].abs() } else { L::splat(0.0) };
                    let (g, c) = (stamp[2 * p + k * p + j].abs(), stamp[2 * p + p * p + k * p + j].abs());
                    sum += (g + c * alpha) * term;
                }
                size[placed.locals[k] as usize] += sum;
                if k < placed.ports {
                    size[base] += sum;
                }
            }
        }
        let mut largest = vec![L::splat(0.0); n];
        let mut found = zeros(n + 1);
        for pattern in PATTERNS {
            for (k, size) in size.iter().enumerate().take(n) {
                let sign = if (k as u32 + 1).wrapping_mul(pattern) >> 31 == 0 { 1.0 } else { -1.0 };
                self.solver.stage_b[k] = *size * L::splat(sign * f64::EPSILON);
            }
            self.solver.stage_b[n] = L::splat(0.0);
            self.solver.resolve(&mut found);
            largest.iter_mut().zip(&found).for_each(|(most, x)| *most = most.max(x.abs()));
        }
        if self.method.rosenbrock.is_some() {
            largest.iter_mut().for_each(|most| *most *= L::splat(LINKED));
            return largest;
        }
        // What elimination left of the equations at the last stage, dq/dt + f(x, t).
        let last = self.k.len() - 1;
        let mut rest = std::mem::take(&mut self.solver.stage_b);
        copy(&mut rest, &self.k[last]);
        self.solver.add_flow(&self.solver.x, &mut rest);
        self.solver.stage_b = rest;
        self.solver.resolve(&mut found);
        largest.iter_mut().zip(&found).for_each(|(most, x)| *most = most.max(x.abs() * L::splat(SEVERAL)));
        largest
    }
}

impl<L: Lane> StageSolver<L> {
    /// Adds f(x, t): conduction and sources, of devices as their stamps have it.
    pub(super) fn add_flow(&self, x: &[L], rest: &mut [L]) {
        let Self { system, stamps, source_values, prepared, current, .. } = self;
        for &(r, c, g) in &system.g {
            rest[r as usize] += g * x[c as usize];
        }
        for &(choice, a, b) in &system.chosen {
            let i = prepared[*current].chosen[choice.0 as usize] * (x[a as usize] - x[b as usize]);
            rest[a as usize] += i;
            rest[b as usize] -= i;
        }
        for (&(row, _, _), value) in system.sources.iter().zip(source_values.iter()) {
            rest[row as usize] += *value;
        }
        for (placed, stamp) in system.devices.iter().zip(stamps.iter()) {
            for (k, &local) in placed.locals.iter().enumerate() {
                rest[local as usize] += stamp[k];
                if k < placed.ports {
                    rest[placed.reference as usize] -= stamp[k];
                }
            }
        }
        rest[system.n] = L::splat(0.0);
    }
}
