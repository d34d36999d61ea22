//! Temperatures over a period of many intervals that repeats.

use super::super::modal::approach;
use super::Thermal;

/// Entries of a matrix that are not zero, row by row: of chains that heat one input each, most are.
struct Sparse {
    ends: Vec<usize>,
    entries: Vec<(usize, f64)>,
}

impl Sparse {
    fn new(rows: usize, columns: usize, at: impl Fn(usize, usize) -> f64) -> Self {
        let (mut ends, mut entries) = (Vec::new(), Vec::new());
        for row in 0..rows {
            let all = (0..columns).map(|column| (column, at(row, column)));
            entries.extend(all.filter(|entry| entry.1 != 0.0));
            ends.push(entries.len());
        }
        Self { ends, entries }
    }

    /// Σ of a row's entries times those of `x`, row by row, onto what `first` gives.
    fn times(&self, x: &[f64], first: &[f64], out: &mut [f64]) {
        let mut begin = 0;
        for ((out, first), &end) in out.iter_mut().zip(first).zip(&self.ends) {
            let row = &self.entries[begin..end];
            *out = row.iter().fold(*first, |sum, &(column, entry)| sum + entry * x[column]);
            begin = end;
        }
    }
}

impl Thermal<f64> {
    /// Temperatures of the inputs, °C, in the periodic steady state of a power that repeats: of each input at the start,
    /// then at the end of each interval. The same as [`Thermal::start_periodic`] with [`Thermal::advance`] over every
    /// interval, at once; the network stays as it is, dies whose properties follow the temperature are as the network has
    /// them. `lengths`, s; `power` of each input over each interval, W. Panics on a list of another length.
    #[inline(never)]
    pub fn course(&self, lengths: &[f64], power: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let modal = &*self.modal;
        let (n, m, b) = (modal.rates.len(), modal.inputs.len(), modal.boundaries.len());
        assert!(
            power.len() == m && power.iter().all(|p| p.len() == lengths.len()),
            "powers of other intervals"
        );
        let settled = Sparse::new(n, m, |mode, input| modal.settled[input * n + mode]);
        let ports = Sparse::new(m, n, |input, mode| modal.ports[input * n + mode]);
        let direct = Sparse::new(m, m, |input, other| modal.direct[input * m + other]);
        let boundaries = &self.state.boundaries;
        let moved = |mode: usize| (0..b).map(|j| modal.settled_boundary[j * n + mode] * boundaries[j]).sum();
        let base: Vec<f64> = (0..n).map(moved).collect();
        let follows = |input: usize| (0..b).map(|j| modal.follow[input * b + j] * boundaries[j]).sum::<f64>();
        let still: Vec<f64> = (0..m).map(|input| modal.reference + follows(input)).collect();
        // Equal chains have equal rates: each different one has its decays once.
        let mut rates: Vec<f64> = Vec::new();
        let mut class = Vec::new();
        for rate in &modal.rates {
            class.push(rates.iter().position(|known| known == rate).unwrap_or(rates.len()));
            if class.last() == Some(&rates.len()) {
                rates.push(*rate);
            }
        }
        let gone: Vec<f64> =
            lengths.iter().flat_map(|dt| rates.iter().map(move |rate| approach(rate * dt))).collect();
        let period: f64 = lengths.iter().sum();
        let mean = |p: &Vec<f64>| p.iter().zip(lengths).map(|(p, dt)| p * dt).sum::<f64>() / period;
        let (mut now, mut target) = (power.iter().map(mean).collect::<Vec<f64>>(), vec![0.0; n]);
        let mut modes = vec![0.0; n];
        settled.times(&now, &base, &mut modes);
        let begin = modes.clone();
        let mut on = |k: usize, modes: &mut [f64], now: &mut [f64]| {
            now.iter_mut().zip(power).for_each(|(now, p)| *now = p[k]);
            settled.times(now, &base, &mut target);
            let gone = &gone[k * rates.len()..(k + 1) * rates.len()];
            for ((y, target), class) in modes.iter_mut().zip(&target).zip(&class) {
                *y += gone[*class] * (target - *y);
            }
        };
        for k in 0..lengths.len() {
            on(k, &mut modes, &mut now);
        }
        // A mode that goes the share 1 − e^(−λT) of its way in a period began where it returns to.
        for ((y, began), rate) in modes.iter_mut().zip(&begin).zip(&modal.rates) {
            *y = *began + (*y - *began) / approach(rate * period);
        }
        let mut out = vec![Vec::with_capacity(lengths.len() + 1); m];
        let (mut at_once, mut celsius) = (vec![0.0; m], vec![0.0; m]);
        let mut tell = |modes: &[f64], now: &[f64]| {
            direct.times(now, &still, &mut at_once);
            ports.times(modes, &at_once, &mut celsius);
            out.iter_mut().zip(&celsius).for_each(|(course, t)| course.push(*t));
        };
        tell(&modes, &now);
        for k in 0..lengths.len() {
            on(k, &mut modes, &mut now);
            tell(&modes, &now);
        }
        out
    }
}
