//! What a change of temperature does to the power of devices, as the circuit takes it.

use super::stage::StageSolver;
use super::stepper::Stepper;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::zeros;

impl<L: Lane> StageSolver<L> {
    /// Change of each device's power, W, from the temperature of its stamp to that which it has been moved to since. To
    /// first order: with ∂i the change of its currents at the same voltages, the circuit moves by
    /// −(G + αC)⁻¹·∂i, in the step and as it was linearised last. `None` where the last factors are not at hand.
    fn warmed(&mut self) -> Option<Vec<L>> {
        if self.remembering() == 0 || self.full.is_some() {
            return None;
        }
        let zero = L::splat(0.0);
        self.stage_b.fill(zero);
        let mut changes: Vec<Vec<L>> = Vec::with_capacity(self.devices.len());
        for ((device, placed), stamp) in self.devices.iter().zip(&self.system.devices).zip(&self.stamps) {
            let p = placed.locals.len();
            let mut change = vec![zero; 2 * p];
            if self.system.heat_of(placed).is_some() {
                device.values(&stamp[2 * p + 2 * p * p..], &mut change);
                change.iter_mut().zip(stamp).for_each(|(new, old)| *new -= *old);
                for (k, &row) in placed.locals.iter().enumerate() {
                    self.stage_b[row as usize] -= change[k];
                    if k < placed.ports {
                        self.stage_b[placed.reference as usize] += change[k];
                    }
                }
            }
            changes.push(change);
        }
        let ground = self.system.n;
        self.stage_b[ground] = zero;
        let mut moves = zeros(ground + 1);
        self.resolve(&mut moves);
        moves[ground] = zero;
        let power = |((placed, stamp), change): ((&crate::equations::system::Placed, &Vec<L>), &Vec<L>)| {
            let p = placed.locals.len();
            let (slopes, u) = (&stamp[2 * p..], &stamp[2 * p + 2 * p * p..]);
            let base = moves[placed.reference as usize];
            let moved = |j: usize| {
                let x = moves[placed.locals[j] as usize];
                if j < placed.ports { x - base } else { x }
            };
            (0..placed.ports).fold(zero, |sum, k| {
                let current = (0..p).fold(change[k], |i, j| i + slopes[k * p + j] * moved(j));
                sum + current * u[k] + stamp[k] * moved(k)
            })
        };
        Some(self.system.devices.iter().zip(&self.stamps).zip(&changes).map(power).collect())
    }
}

impl<L: Lane> Stepper<L> {
    /// Mean power of an account over the attempted step, W.
    pub fn mean_power(&self, account: usize) -> L {
        if let Some(stages) = &self.rosenbrock {
            return stages.gain[account] / self.h;
        }
        let stages = self.method.b().iter().zip(&self.power);
        stages.fold(L::splat(0.0), |sum, (w, p)| sum + L::splat(*w) * p[account])
    }

    /// After devices were moved to other temperatures: the change of each one's power that this brings, W, to first
    /// order and as the circuit takes it over a step as long as the last. `None` where that cannot be reported.
    pub fn warmed(&mut self) -> Option<Vec<L>> {
        if self.pieces.is_some() { None } else { self.solver.warmed() }
    }
}
