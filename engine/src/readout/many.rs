//! Many probes read at once: the raw values that come in are gathered first, each once, then weighed.

use super::{Raw, Readout, Sources};
use crate::circuit::probe::Probe;
use crate::equations::system::System;

/// Probes ready to be read together.
#[derive(Clone, Debug, Default)]
pub struct Readouts {
    raw: Vec<Raw>,
    /// Number of a raw value, weight.
    terms: Vec<(u32, f64)>,
    /// Of each probe where its terms end.
    ends: Vec<u32>,
    /// What is no weighted sum of raw values, with its number.
    others: Vec<(u32, Readout<f64>)>,
    gathered: Vec<f64>,
}

/// The terms of a readout that is a weighted sum of raw values.
fn terms(readout: &Readout<f64>, weight: f64, out: &mut Vec<(Raw, f64)>) -> bool {
    match readout {
        Readout::Unknowns(all) | Readout::Linear(all, None) => {
            out.extend(all.iter().map(|&(k, w)| (Raw::Unknown(k), weight * w)));
        }
        Readout::Stamps(device, all) => {
            out.extend(all.iter().map(|&(k, w)| (Raw::Stamp(*device, k), weight * w)));
        }
        Readout::Power(accounts) => out.extend(accounts.iter().map(|&k| (Raw::Power(k), weight))),
        Readout::Sum(all) => return all.iter().all(|(w, r)| terms(r, weight * w, out)),
        _ => return false,
    }
    true
}

impl Readouts {
    /// Compiles probes.
    pub fn new<'a>(probes: impl IntoIterator<Item = &'a Probe>, system: &System<f64>) -> Self {
        let (mut all, mut ends, mut others) = (Vec::new(), Vec::new(), Vec::new());
        for (k, probe) in probes.into_iter().enumerate() {
            let readout = Readout::new(probe, system);
            let before = all.len();
            if !terms(&readout, 1.0, &mut all) {
                all.truncate(before);
                others.push((k as u32, readout));
            }
            ends.push(all.len() as u32);
        }
        let mut raw: Vec<Raw> = all.iter().map(|term| term.0).collect();
        raw.sort_unstable();
        raw.dedup();
        let number = |one: Raw| raw.partition_point(|other| *other < one) as u32;
        Self {
            terms: all.iter().map(|&(one, w)| (number(one), w)).collect(),
            gathered: vec![0.0; raw.len()],
            raw,
            ends,
            others,
        }
    }

    /// Raw values that come in.
    pub fn raw(&self, accounts: usize, out: &mut Vec<Raw>) {
        out.extend(&self.raw);
        self.others.iter().for_each(|other| other.1.raw(accounts, out));
    }

    /// The values at the end of a step, into `values`.
    pub fn read(&mut self, system: &System<f64>, from: &Sources<'_, f64>, values: &mut [f64]) {
        for (value, raw) in self.gathered.iter_mut().zip(&self.raw) {
            *value = match *raw {
                Raw::Unknown(k) => from.x[k as usize],
                Raw::Power(k) => from.power[k as usize],
                Raw::Stamp(device, k) => from.stamps[device as usize][k as usize],
                // No weighted sum has one.
                Raw::Energy(k) => from.energy[k as usize],
            };
        }
        let mut begin = 0;
        for (value, &end) in values.iter_mut().zip(&self.ends) {
            let terms = &self.terms[begin..end as usize];
            *value = terms.iter().fold(0.0, |sum, &(k, w)| sum + w * self.gathered[k as usize]);
            begin = end as usize;
        }
        for (k, readout) in &self.others {
            values[*k as usize] = readout.read(system, from);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::graph::{Circuit, GROUND};
    use crate::control::board::Board;
    use crate::readout::Seat;

    /// Ohm's law on a divider: what is read together is what is read one by one.
    #[test]
    fn probes_read_together_are_those_read_alone() {
        let mut circuit = Circuit::<f64>::new();
        let (top, middle) = (circuit.node("top"), circuit.node("middle"));
        circuit.resistor("upper", top, middle, 2.0).unwrap();
        let lower = circuit.resistor("lower", middle, GROUND, 4.0).unwrap();
        let board = Board::new(&circuit);
        let system = System::new(circuit);
        let ohms = [
            Probe::Voltage(top, middle),
            Probe::Conduction(lower, 0),
            Probe::Integral(0),
            Probe::Power(lower),
        ];
        let probes =
            [vec![Probe::Sum(vec![(0.5, ohms[0].clone()), (-2.0, ohms[1].clone())])], ohms.to_vec()].concat();
        let mut x = vec![0.0; system.n + 1];
        (x[system.unknown_of_node(top)], x[system.unknown_of_node(middle)]) = (10.0, 6.0);
        let seats = [Seat { t: 0.0, board: &board, waves: &[], choices: &[] }];
        let (power, integrals) = ([8.0, 12.0], [7.0]);
        let from = Sources {
            seats: &seats,
            x: &x,
            power: &power,
            stamps: &[],
            celsius: &[],
            energy: &[],
            integrals: &integrals,
        };
        let mut together = vec![f64::NAN; probes.len()];
        Readouts::new(&probes, &system).read(&system, &from, &mut together);
        let alone: Vec<f64> = probes.iter().map(|p| Readout::new(p, &system).read(&system, &from)).collect();
        assert_eq!(together, alone);
        assert_eq!(together, [-1.0, 4.0, 1.5, 7.0, 12.0]);
    }
}
