//! Many probes read at once: the raw values that come in are gathered first, each once, then weighed. In lanes that is
//! done for all runs together; what a run tells by itself (lines, courses, temperatures) it reads itself.

use std::ops::Range;

use super::{Raw, Readout, Sources};
use crate::arithmetic::lane::Lane;
use crate::arithmetic::lockstep::{Lockstep, lanes, shared};
use crate::equations::system::System;

/// Probes ready to be read together.
#[derive(Clone, Debug, Default)]
pub struct Readouts<L> {
    raw: Vec<Raw>,
    /// Number of a raw value, weight.
    terms: Vec<(u32, L)>,
    /// Of each probe where its terms end; then of what is added to temperatures.
    ends: Vec<u32>,
    /// What is no such sum, not with temperatures either, with its number.
    others: Vec<(u32, Readout<f64>)>,
    warm: Vec<Warm>,
    gathered: Vec<L>,
}

/// A sum in which temperatures come.
#[derive(Clone, Debug)]
struct Warm {
    /// Its number, and that of its weighted sum of raw values.
    number: u32,
    rest: u32,
    /// Heat input, weight.
    terms: Vec<(u32, f64)>,
}

/// The terms of a readout that is a weighted sum of raw values and temperatures, of a system with so many accounts.
fn terms(
    readout: &Readout<f64>,
    weight: f64,
    accounts: usize,
    out: &mut Vec<(Raw, f64)>,
    warm: &mut Vec<(u32, f64)>,
) -> bool {
    match readout {
        Readout::Temperature(input) => warm.push((*input, weight)),
        Readout::Unknowns(all) | Readout::Linear(all, None) => {
            out.extend(all.iter().map(|&(k, w)| (Raw::Unknown(k), weight * w)));
        }
        Readout::Stamps(device, all) => {
            out.extend(all.iter().map(|&(k, w)| (Raw::Stamp(*device, k), weight * w)));
        }
        Readout::Power(all) => out.extend(all.iter().map(|&k| (Raw::Power(k), weight))),
        Readout::Energy(all) => out.extend(all.iter().map(|&k| (Raw::Energy(k), weight))),
        Readout::Integral(k) => out.push((Raw::Energy(accounts as u32 + k), weight)),
        Readout::Sum(all) => return all.iter().all(|(w, r)| terms(r, weight * w, accounts, out, warm)),
        _ => return false,
    }
    true
}

impl Readouts<f64> {
    /// Compiles readouts of a system with so many accounts.
    pub fn new(readouts: impl IntoIterator<Item = Readout<f64>>, accounts: usize) -> Self {
        let (mut all, mut ends, mut others) = (vec![], vec![], vec![]);
        let (mut warm, mut beside): (Vec<Warm>, Vec<Vec<(Raw, f64)>>) = (vec![], vec![]);
        for (k, readout) in readouts.into_iter().enumerate() {
            let (mut own, mut temperatures) = (vec![], vec![]);
            if !terms(&readout, 1.0, accounts, &mut own, &mut temperatures) {
                others.push((k as u32, readout));
            } else if temperatures.is_empty() {
                all.extend(own);
            } else {
                warm.push(Warm { number: k as u32, rest: 0, terms: temperatures });
                beside.push(own);
            }
            ends.push(all.len() as u32);
        }
        for (warm, own) in warm.iter_mut().zip(beside) {
            warm.rest = ends.len() as u32;
            all.extend(own);
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
            warm,
        }
    }

    /// Raw values that come into what a run reads itself ([`Readouts::read_others`]).
    pub fn raw_of_others(&self, accounts: usize, out: &mut Vec<Raw>) {
        self.others.iter().for_each(|other| other.1.raw(accounts, out));
    }

    /// Reads those of the probes in `range` that are no weighted sum of raw values alone.
    pub fn read_others(
        &self,
        range: &Range<usize>,
        system: &System<f64>,
        from: &Sources<'_, f64>,
        values: &mut [f64],
    ) {
        let own = |k: u32| range.contains(&(k as usize));
        for Warm { number, rest, terms } in self.warm.iter().filter(|warm| own(warm.number)) {
            let celsius = |input: u32| from.celsius.get(input as usize).copied().unwrap_or(0.0);
            let sum = terms.iter().fold(values[*rest as usize], |sum, &(input, w)| sum + w * celsius(input));
            values[*number as usize] = sum;
        }
        for (k, readout) in self.others.iter().filter(|other| own(other.0)) {
            values[*k as usize] = readout.read(system, from);
        }
    }
}

impl<L: Lane> Readouts<L> {
    /// How many values there are: of each probe, and of what is added to temperatures.
    pub fn count(&self) -> usize {
        self.ends.len()
    }

    /// The weighted sums at the end of a step, into `values`; what is none is left as it is.
    pub fn weigh(&mut self, from: &Sources<'_, L>, values: &mut [L]) {
        for (value, raw) in self.gathered.iter_mut().zip(&self.raw) {
            *value = match *raw {
                Raw::Unknown(k) => from.x[k as usize],
                Raw::Power(k) => from.power[k as usize],
                Raw::Stamp(device, k) => from.stamps[device as usize][k as usize],
                Raw::Energy(k) => from.energy[k as usize],
            };
        }
        let mut begin = 0;
        for (value, &end) in values.iter_mut().zip(&self.ends) {
            let terms = &self.terms[begin..end as usize];
            if let Some((first, rest)) = terms.split_first() {
                let weighed = |&(k, w): &(u32, L)| w * self.gathered[k as usize];
                *value = rest.iter().fold(L::splat(0.0) + weighed(first), |sum, term| sum + weighed(term));
            }
            begin = end as usize;
        }
    }
}

/// The readouts of several variants. What each reads itself stays with it.
impl Lockstep for Readouts<f64> {
    type Of<K: Lane> = Readouts<K>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Readouts<K>> {
        let raw = shared(each, |one| &one.raw)?;
        Some(Readouts {
            terms: lanes::<_, _, K>(each, |one| &one.terms)?,
            ends: shared(each, |one| &one.ends)?,
            others: Vec::new(),
            warm: Vec::new(),
            gathered: vec![K::splat(0.0); raw.len()],
            raw,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::graph::{Circuit, GROUND, HeatId};
    use crate::circuit::probe::Probe;
    use crate::control::board::Board;
    use crate::readout::Seat;

    /// Ohm's law on a divider: what is read together is what is read one by one.
    #[test]
    fn probes_read_together_are_those_read_alone() {
        let mut circuit = Circuit::<f64>::new();
        let (top, middle) = (circuit.node("top"), circuit.node("middle"));
        circuit.resistor("upper", top, middle, 2.0).unwrap();
        let lower = circuit.resistor("lower", middle, GROUND, 4.0).unwrap();
        let on = circuit.wave(crate::circuit::wave::Wave::Constant(3.0));
        let board = Board::new(&circuit);
        let system = System::new(circuit);
        let ohms = [
            Probe::Voltage(top, middle),
            Probe::Conduction(lower, 0),
            Probe::Integral(0),
            Probe::Power(lower),
            Probe::Wave(on),
            Probe::Sum(vec![(2.0, Probe::Temperature(HeatId(1))), (3.0, Probe::Voltage(middle, GROUND))]),
        ];
        let probes =
            [vec![Probe::Sum(vec![(0.5, ohms[0].clone()), (-2.0, ohms[1].clone())])], ohms.to_vec()].concat();
        let mut x = vec![0.0; system.n + 1];
        (x[system.unknown_of_node(top)], x[system.unknown_of_node(middle)]) = (10.0, 6.0);
        let seats = [Seat { t: 0.0, board: &board, waves: &system.circuit.waves, choices: &[] }];
        let (power, energy) = ([8.0, 12.0], [1.0, 2.0, 7.0]);
        assert_eq!(system.accounts(), 2);
        let from = Sources {
            seats: &seats,
            x: &x,
            power: &power,
            stamps: &[],
            celsius: &[25.0, 50.0],
            energy: &energy,
            integrals: &energy[2..],
        };
        let each = || probes.iter().map(|p| Readout::new(p, &system));
        let mut readouts = Readouts::new(each(), system.accounts());
        let mut together = vec![f64::NAN; readouts.count()];
        readouts.weigh(&from, &mut together);
        assert!(together[5].is_nan());
        readouts.read_others(&(0..3), &system, &from, &mut together);
        assert!(together[5].is_nan() && together[6].is_nan());
        readouts.read_others(&(0..7), &system, &from, &mut together);
        let alone: Vec<f64> = each().map(|r| r.read(&system, &from)).collect();
        assert_eq!(together[..7], alone);
        assert_eq!(alone, [-1.0, 4.0, 1.5, 7.0, 12.0, 3.0, 118.0]);
    }
}
