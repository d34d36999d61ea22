//! The reference solution of REF-1: SUNDIALS IDAS 6.4.1, relative tolerance 3e-11, 97 386 steps; an independent
//! Dormand–Prince code agrees within 1.3e-6 V. Time and the ten unknowns at 2000 instants, dense after the edges.

/// Instants (s) and columns v1‥v7, iL, iLoop, iLs.
pub struct Reference {
    /// Instants, s.
    pub time: Vec<f64>,
    /// Ten columns.
    pub columns: Vec<Vec<f64>>,
}

impl Reference {
    /// Reads the table shipped with the tests.
    pub fn load() -> Self {
        let text = include_str!("../data/ref1_solution.csv");
        let mut time = Vec::new();
        let mut columns = vec![Vec::new(); 10];
        for line in text.lines().skip(1).filter(|l| !l.is_empty()) {
            let mut numbers = line.split(',').map(|x| x.parse::<f64>().expect("a number"));
            time.push(numbers.next().expect("a time"));
            for (column, x) in columns.iter_mut().zip(numbers) {
                column.push(x);
            }
        }
        Self { time, columns }
    }

    /// A column at t by a polynomial through the six nearest instants; `None` where the table is coarser than 2.2 ns
    /// (there the last ringing is not resolved and nothing can be said).
    pub fn at(&self, column: usize, t: f64) -> Option<f64> {
        let k = self.time.partition_point(|&x| x <= t);
        if k == 0 || k >= self.time.len() || self.time[k] - self.time[k - 1] > 2.2e-9 {
            return None;
        }
        let from = k.saturating_sub(3).min(self.time.len() - 6);
        let (ts, ys) = (&self.time[from..from + 6], &self.columns[column][from..from + 6]);
        let weight =
            |j: usize| (0..6).filter(|&i| i != j).map(|i| (t - ts[i]) / (ts[j] - ts[i])).product::<f64>();
        Some((0..6).map(|j| weight(j) * ys[j]).sum())
    }
}

/// Largest and root-mean-square difference of a sampled column from the reference, at the samples' own instants.
/// The mean is over time, so that dense samples do not weigh more.
pub fn difference(reference: &Reference, column: usize, time: &[f64], values: &[f64]) -> (f64, f64) {
    let (mut worst, mut square, mut span) = (0.0f64, 0.0, 0.0);
    for k in 1..time.len() {
        let Some(expected) = reference.at(column, time[k]) else { continue };
        let e = values[k] - expected;
        worst = worst.max(e.abs());
        square += e * e * (time[k] - time[k - 1]);
        span += time[k] - time[k - 1];
    }
    (worst, (square / span).sqrt())
}
