//! What a run says at the instants at which it was measured.

use joulestep_engine::recorder::Recorder;

use crate::input::scenario::build::Measured;
use crate::output::answer::overlay::Overlay;

/// Follows a run from sample to sample and reads the signals at the instants of the records, on the straight lines that
/// join the samples.
#[derive(Clone, Debug, Default)]
pub(crate) struct Followers {
    all: Vec<(Measured, Vec<f64>, usize)>,
    /// Instant and values of the sample before.
    last: Option<(f64, Vec<f64>)>,
}

impl Followers {
    /// Of what was measured.
    pub fn new(measured: Vec<Measured>) -> Self {
        let all = measured.into_iter().map(|m| {
            let count = m.times.len();
            (m, Vec::with_capacity(count), 0)
        });
        Self { all: all.collect(), last: None }
    }

    /// What was measured beside what was simulated, where the run came.
    pub fn overlays(self) -> Vec<Overlay> {
        let of = |(m, simulated, first): (Measured, Vec<f64>, usize)| {
            let reached = first..first + simulated.len();
            Overlay {
                times: m.times[reached.clone()].to_vec(),
                measured: m.values[reached].to_vec(),
                simulated,
                record: m.record,
                signal: m.signal,
                unit: m.unit.into(),
            }
        };
        self.all.into_iter().map(of).collect()
    }

    /// The same for every instant of the records: before the first sample and after the last the signal is held.
    pub fn held(self) -> Vec<Overlay> {
        let last = self.last.map_or(Vec::new(), |last| last.1);
        let of = |(m, simulated, first): (Measured, Vec<f64>, usize)| {
            let end = last.get(m.channel).copied().unwrap_or(f64::NAN);
            let begin = simulated.first().copied().unwrap_or(end);
            let mut all = vec![begin; first];
            all.extend(simulated);
            all.resize(m.times.len(), end);
            let (record, signal, unit) = (m.record, m.signal, m.unit.into());
            Overlay { times: m.times, measured: m.values, simulated: all, record, signal, unit }
        };
        self.all.into_iter().map(of).collect()
    }
}

impl Recorder<f64> for Followers {
    fn sample(&mut self, t: f64, values: &[f64]) {
        for (m, simulated, first) in &mut self.all {
            let here = values[m.channel];
            let Some((before, old)) = &self.last else {
                // What was measured before the run began has nothing beside it.
                *first = m.times.partition_point(|at| *at < t);
                if m.times.get(*first) == Some(&t) {
                    simulated.push(here);
                }
                continue;
            };
            let old = old[m.channel];
            while let Some(&at) = m.times.get(*first + simulated.len()).filter(|at| **at <= t) {
                let share = (at - before) / (t - before);
                simulated.push(if share == 1.0 { here } else { old + (here - old) * share });
            }
        }
        if !self.all.is_empty() {
            match &mut self.last {
                Some((before, old)) => {
                    *before = t;
                    old.copy_from_slice(values);
                }
                None => self.last = Some((t, values.to_vec())),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signals_are_read_on_the_lines_between_samples() {
        let measured = Measured {
            record: "scope".into(),
            signal: "x".into(),
            unit: "V",
            channel: 1,
            times: vec![-1.0, 0.0, 0.5, 0.75, 2.0, 2.5, 9.0],
            values: vec![1.0; 7],
            noise: None,
        };
        let mut all = Followers::new(vec![measured]);
        // A jump at 2: its second sample comes at the next number.
        for (t, x) in [(0.0, 0.0), (1.0, 4.0), (2.0, 4.0), (2.0f64.next_up(), 8.0), (3.0, 6.0)] {
            all.sample(t, &[7.0, x]);
        }
        let o = &all.overlays()[0];
        assert_eq!(o.times, [0.0, 0.5, 0.75, 2.0, 2.5]);
        assert_eq!(o.simulated, [0.0, 2.0, 3.0, 4.0, 7.0]);
    }
}
