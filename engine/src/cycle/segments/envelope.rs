//! Where a search in segments begins: the course of what is kept from carrier period to carrier period.
//!
//! One carrier period is run before each border only. What it does to what is kept is taken as linear, z ↦ S·z + c, with one
//! S for all, fitted to what two rounds have shown, and with c between the borders by cubics through its values there,
//! because modulation is slow. Where that leads to around the period and closes is where the next round begins: envelope
//! following (Petzold 1981, SIAM J. Numer. Anal. 18, 455) with a linear problem between the borders. It tells where sweeps
//! begin, and nothing else.

use nalgebra::{DMatrix, DVector};

use super::sensitivity::fitted;
use super::{Borders, Point, Segments, Solve};
use crate::cycle::steady::CycleError;

/// Most rounds.
const ROUNDS: usize = 6;
/// A round that moves what is kept by less, relative to the largest, was the last: cubics are no better.
const NEAR: f64 = 5e-3;
/// If no round was, the last one must move it by less; else sweeps begin as the circuit stood at first.
const USABLE: f64 = 0.1;

impl Segments {
    /// Finds borders near those of the periodic state, where control has carriers, with the heat inputs held at these
    /// temperatures (°C).
    ///
    /// # Errors
    /// [`CycleError`]; nothing is left to go on with then.
    pub fn approach(
        &mut self,
        celsius: &[f64],
        tell: &(dyn Fn(f64) -> bool + Sync),
        solve: Solve<'_>,
    ) -> Result<(), CycleError> {
        if self.carriers.is_empty() {
            return Ok(());
        }
        let (n, count) = (self.keepers.len(), self.segments.len());
        let whole: f64 = self.segments.iter().map(|s| s.stops[2] - s.begin.t()).sum();
        let mut at: Option<Vec<Point>> = None;
        let mut before: Option<[Vec<DVector<f64>>; 2]> = None;
        let mut one: Option<DMatrix<f64>> = None;
        for round in 1..=ROUNDS {
            let (starts, met) = self.go(celsius, at.as_deref(), (1, false), (whole, tell), solve)?;
            let ends: Vec<_> = met.iter().map(|met| self.read(&met.first)).collect();
            let scale = self.scale(&starts, &ends);
            if let Some(before) = &before {
                one = fitted(before, &starts, &ends, &scale).or(one);
            }
            let mut moved = f64::INFINITY;
            let mut moves = vec![DVector::zeros(n); count];
            if let Some(one) = &one {
                let gains: Vec<_> = ends.iter().zip(&starts).map(|(end, start)| end - one * start).collect();
                let begins = self.around(one, &gains);
                // What is forgotten within a carrier period stays as it came.
                let lasts = |row: usize| one.row(row).iter().any(|x| *x != 0.0);
                let move_of = |k: usize, from: &DVector<f64>| {
                    DVector::from_fn(n, |row, _| if lasts(row) { begins[k][row] - from[row] } else { 0.0 })
                };
                moves = (0..count).map(|k| move_of(k, &ends[k])).collect();
                let size = |k: usize| move_of(k, &starts[k]).component_div(&scale).amax();
                // What is not a number has no size.
                if begins.iter().flatten().all(|x| x.is_finite()) {
                    moved = (0..count).map(size).fold(0.0, f64::max);
                }
            }
            let now = self.segments.iter().map(|s| (s.run.state().x.clone(), s.run.state().q.clone()));
            let next: Vec<_> = now.zip(&moves).map(|(point, by)| self.displaced(&point, by)).collect();
            before = Some([starts, ends]);
            let good = if round == ROUNDS { USABLE } else { NEAR };
            if let Some(one) = one.as_ref().filter(|_| moved <= good) {
                let (largest, steps) = (self.largest(), self.steps());
                let mut points = next;
                points.rotate_left(1);
                let carriers = (self.carriers[count] / count as f64).round() as u32;
                let map = (0..carriers).fold(DMatrix::identity(n, n), |power, _| one * power);
                let moves = vec![DVector::zeros(n); count];
                self.borders = Some(Borders { points, moves, map: Some(map), largest, steps });
                break;
            }
            at = Some(next);
        }
        self.before = None;
        Ok(())
    }

    /// What is kept where each segment begins to lead in, by z ↦ `one`·z + c for each carrier period; `gains` is c of those
    /// that lead in.
    fn around(&self, one: &DMatrix<f64>, gains: &[DVector<f64>]) -> Vec<DVector<f64>> {
        let (n, count) = (self.keepers.len(), gains.len());
        let all = self.carriers[count];
        // Of a segment before or after this period too.
        let known = |k: isize| {
            let (turns, k) = (k.div_euclid(count as isize), k.rem_euclid(count as isize) as usize);
            (self.carriers[k] + turns as f64 * all, &gains[k])
        };
        let gain = |k: usize, carrier: f64| {
            let near: Vec<_> = (-1..=2).map(|j| known(k as isize + j)).collect();
            near.iter().enumerate().fold(DVector::zeros(n), |sum, (i, (at, gain))| {
                let others = near.iter().enumerate().filter(|(j, _)| *j != i);
                sum + *gain * others.map(|(_, (other, _))| (carrier - other) / (at - other)).product::<f64>()
            })
        };
        // Through a segment: to where the next one begins to lead in, and to its border.
        let through = |k: usize, first: &DVector<f64>| {
            let carriers = (self.carriers[k + 1] - self.carriers[k]) as u32;
            let mut last = [first.clone(), first.clone()];
            for j in 1..=carriers {
                let next = one * &last[1] + gain(k, self.carriers[k] + f64::from(j));
                last = [std::mem::replace(&mut last[1], next.clone()), next];
            }
            last
        };
        let once = |first: DVector<f64>| (0..count).fold(first, |z, k| through(k, &z)[1].clone());
        let rest = once(DVector::zeros(n));
        let whole =
            DMatrix::identity(n, n) - (0..all as u32).fold(DMatrix::identity(n, n), |power, _| one * power);
        let mut border = whole.lu().solve(&rest).unwrap_or(rest);
        let mut begins = vec![DVector::zeros(n); count];
        for k in 0..count {
            let [lead, next] = through(k, &border);
            begins[(k + 1) % count] = lead;
            border = next;
        }
        begins
    }
}
