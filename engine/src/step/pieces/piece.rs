//! The circuit in one switch state: its linear equations, reduced to z' = F·z, what every unknown and power is in them.

use nalgebra::{DMatrix, DVector};

use super::frame::Frame;
use super::ladder::{FINEST, gramians, propagators};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::ChoiceId;
use crate::equations::system::{Dissipator, System};
use crate::readout::Readout;

/// Eight numbers side by side.
pub(super) type Block = [f64; 8];

/// A power: products of two forms in the states.
type Products = Vec<(DVector<f64>, DVector<f64>)>;

/// A quantity in the states.
enum Quantity {
    Form(DVector<f64>),
    Products(Products),
}

#[derive(Debug)]
pub(super) struct Piece {
    pub choices: Vec<usize>,
    /// Bit k: valve k conducts.
    pub on: u64,
    f: DMatrix<f64>,
    /// Every unknown in the states.
    pub x: DMatrix<f64>,
    /// Of each valve, how far it is inside its own side of the threshold, V: below zero it has to change.
    pub inside: Vec<DVector<f64>>,
    /// The same in blocks.
    pub checks: Vec<Vec<Block>>,
    /// Current of each valve.
    pub current: Vec<DVector<f64>>,
    pub powers: Vec<Products>,
    pub steps: Option<Steps>,
}

/// What steps need; made when the first is taken.
#[derive(Debug)]
pub(super) struct Steps {
    /// Ψ of each length, columns in blocks.
    pub psi: Vec<Vec<Block>>,
    /// Of each account, the finest step's and the longest step's integral.
    energy: Vec<[Vec<Block>; 2]>,
    /// Σ z·zᵀ before the steps of each length since the energies were last taken.
    pub moments: Vec<Vec<Block>>,
    pub used: Vec<bool>,
    scratch: [Vec<Block>; 4],
}

fn blocks(all: usize) -> usize {
    all.div_ceil(8)
}

fn packed(v: &[f64], c: usize) -> Vec<Block> {
    let mut out = vec![[0.0; 8]; c];
    v.iter().enumerate().for_each(|(k, x)| out[k / 8][k % 8] = *x);
    out
}

impl Piece {
    /// The unknown without a pivot where these switches leave something undetermined.
    pub fn new<L: Lane>(
        system: &System<L>,
        frame: &Frame,
        integrals: &[(Readout<L>, Readout<L>)],
        choices: &[usize],
        on: u64,
    ) -> Result<Self, String> {
        let (n, states, all) = (frame.n, frame.states, frame.all);
        // Conductances, and what sources and thresholds bring, scaled.
        let mut g = DMatrix::<f64>::zeros(n + 1, n + 1);
        let mut s = DMatrix::<f64>::zeros(n + 1, all);
        for &(r, c, x) in &system.g {
            g[(r as usize, c as usize)] += x.lane(0);
        }
        let mut join = |a: usize, b: usize, x: f64| {
            for (r, c, x) in [(a, a, x), (a, b, -x), (b, a, -x), (b, b, x)] {
                g[(r, c)] += x;
            }
        };
        for &(choice, a, b) in &system.chosen {
            join(a as usize, b as usize, conductance(system, choice, choices));
        }
        for (k, location) in frame.locations.iter().enumerate() {
            let [a, b] = location.ends;
            let runs = on >> k & 1 == 1;
            join(a, b, location.valve.off + if runs { location.valve.on } else { 0.0 });
            if runs {
                let lift = location.valve.on * location.valve.threshold;
                s[(a, frame.one())] -= lift;
                s[(b, frame.one())] += lift;
            }
        }
        for &(row, wave, gain) in &system.sources {
            let value = frame.value(system, wave).ok_or("a course that is not known")?;
            for k in 0..all {
                s[(row as usize, k)] += gain.lane(0) * value[k];
            }
        }
        let d = &frame.scale;
        let g = DMatrix::from_fn(n, n, |i, j| d[i] * g[(i, j)] * d[j]);
        let s = DMatrix::from_fn(n, all, |i, j| d[i] * s[(i, j)]);
        // What carries nothing follows from the rest.
        let mut k = frame.empty.tr_mul(&(&g * &frame.empty));
        let mut right = -frame.empty.tr_mul(&s);
        right.columns_mut(0, states).gemm(-1.0, &frame.empty.transpose(), &(&g * &frame.carrying), 1.0);
        let none = k.nrows();
        for row in 0..none {
            let largest = k.row(row).amax();
            if largest == 0.0 {
                return Err(name_of(system, frame, row));
            }
            k.row_mut(row).scale_mut(1.0 / largest);
            right.row_mut(row).scale_mut(1.0 / largest);
        }
        let mut unknown = DMatrix::<f64>::zeros(n, all);
        unknown.columns_mut(0, states).copy_from(&frame.carrying);
        if none > 0 {
            let lu = k.lu();
            let weak = (0..none).find(|&j| lu.u()[(j, j)].abs() < 1e-15);
            if let Some(row) = weak {
                return Err(name_of(system, frame, row));
            }
            let follows = lu.solve(&right).ok_or_else(|| name_of(system, frame, 0))?;
            unknown += &frame.empty * follows;
        }
        let mut f = DMatrix::<f64>::zeros(all, all);
        let rate = -frame.carrying.tr_mul(&(&g * &unknown + &s));
        for row in 0..states {
            for column in 0..all {
                f[(row, column)] = rate[(row, column)] / frame.carried[row];
            }
        }
        frame.turn(system, &mut f);
        let mut x = DMatrix::<f64>::zeros(n + 1, all);
        for row in 0..n {
            x.set_row(row, &(unknown.row(row) * d[row]));
        }
        let c = blocks(all);
        let mut piece = Self {
            choices: choices.to_vec(),
            on,
            f,
            x,
            inside: Vec::new(),
            checks: Vec::new(),
            current: Vec::new(),
            powers: Vec::new(),
            steps: None,
        };
        for (k, location) in frame.locations.iter().enumerate() {
            let v = piece.difference(location.ends);
            let mut over = v.clone();
            over[frame.one()] -= location.valve.threshold;
            let runs = on >> k & 1 == 1;
            piece.current.push(&v * location.valve.off + &over * if runs { location.valve.on } else { 0.0 });
            piece.inside.push(if runs { over } else { -over });
            piece.checks.push(packed(piece.inside[k].as_slice(), c));
        }
        piece.powers = piece.accounts(system, frame, choices);
        for (a, b) in integrals {
            let power = product(piece.read(system, frame, a)?, piece.read(system, frame, b)?, frame)?;
            piece.powers.push(power);
        }
        Ok(piece)
    }

    fn row(&self, unknown: usize) -> DVector<f64> {
        self.x.row(unknown).transpose()
    }

    fn difference(&self, [a, b]: [usize; 2]) -> DVector<f64> {
        self.row(a) - self.row(b)
    }

    fn accounts<L: Lane>(&self, system: &System<L>, frame: &Frame, choices: &[usize]) -> Vec<Products> {
        let devices = frame.locations.iter().zip(&self.current);
        let mut powers: Vec<Products> =
            devices.map(|(location, i)| vec![(self.difference(location.ends), i.clone())]).collect();
        for (_, dissipator) in &system.dissipators {
            let square = |a: u32, b: u32, g: f64| {
                let v = self.difference([a as usize, b as usize]);
                vec![(&v * g, v)]
            };
            powers.push(match *dissipator {
                Dissipator::Across(a, b, g) => square(a, b, g.lane(0)),
                Dissipator::Chosen(a, b, choice) => square(a, b, conductance(system, choice, choices)),
                Dissipator::Product(a, b, w) => {
                    vec![(self.row(a as usize) * w.lane(0), self.row(b as usize))]
                }
            });
        }
        for &(row, wave, gain) in &system.sources {
            let value = frame.value(system, wave).unwrap_or_else(|| DVector::zeros(frame.all));
            powers.push(vec![(self.row(row as usize), value * gain.lane(0))]);
        }
        powers
    }

    /// A readout as a form, or as products, in the states.
    fn read<L: Lane>(
        &self,
        system: &System<L>,
        frame: &Frame,
        readout: &Readout<L>,
    ) -> Result<Quantity, String> {
        let weigh = |terms: &[(u32, L)]| {
            terms.iter().fold(DVector::zeros(frame.all), |s, t| s + self.row(t.0 as usize) * t.1.lane(0))
        };
        Ok(match readout {
            Readout::Unknowns(terms) => Quantity::Form(weigh(terms)),
            Readout::Stamps(device, terms) => {
                let weight: f64 = terms.iter().map(|t| t.1.lane(0)).sum();
                Quantity::Form(&self.current[*device as usize] * weight)
            }
            Readout::Linear(terms, choice) => {
                let mut form = weigh(terms);
                if let Some((id, a, b, sign)) = *choice {
                    let g = sign.lane(0) * conductance(system, id, &self.choices);
                    form += self.difference([a as usize, b as usize]) * g;
                }
                Quantity::Form(form)
            }
            Readout::Wave(wave) => {
                Quantity::Form(frame.value(system, *wave).ok_or("a course that is not known")?)
            }
            Readout::Power(accounts) => {
                Quantity::Products(accounts.iter().flat_map(|&k| self.powers[k as usize].clone()).collect())
            }
            Readout::Sum(terms) => {
                let (mut form, mut products) = (DVector::zeros(frame.all), Vec::new());
                for (w, term) in terms {
                    let w = w.lane(0);
                    match self.read(system, frame, term)? {
                        Quantity::Form(f) => form += f * w,
                        Quantity::Products(p) => products.extend(p.into_iter().map(|(a, b)| (a * w, b))),
                    }
                }
                if products.is_empty() {
                    return Ok(Quantity::Form(form));
                }
                let mut one = DVector::zeros(frame.all);
                one[frame.one()] = 1.0;
                products.push((form, one));
                Quantity::Products(products)
            }
            _ => return Err("an integral of something that is not electrical".into()),
        })
    }

    /// Prepares the steps: once per switch state.
    pub fn ladder(&mut self, base: f64) {
        if self.steps.is_some() {
            return;
        }
        let all = self.f.nrows();
        let c = blocks(all);
        let plain = propagators(&self.f, base);
        let columns = |m: &DMatrix<f64>| {
            (0..all).flat_map(|j| packed(m.column(j).as_slice(), c)).collect::<Vec<Block>>()
        };
        let energy = self.powers.iter().map(|products| {
            let sum = products.iter().fold(DMatrix::zeros(all, all), |s, (a, b)| s + a * b.transpose());
            let even = (&sum + sum.transpose()) * 0.5;
            let both = if even.amax() == 0.0 { [even.clone(), even] } else { gramians(&self.f, base, &even) };
            both.map(|m| columns(&m))
        });
        self.steps = Some(Steps {
            psi: plain.iter().map(columns).collect(),
            energy: energy.collect(),
            moments: vec![vec![[0.0; 8]; all * c]; FINEST as usize + 1],
            used: vec![false; FINEST as usize + 1],
            scratch: std::array::from_fn(|_| vec![[0.0; 8]; all * c]),
        });
    }
}

impl Steps {
    /// Adds the energies of the steps since the last time, and forgets these.
    pub fn settle<L: Lane>(&mut self, energy: &mut [L]) {
        let mut add = |moments: &[Block], of: &dyn Fn(&[Vec<Block>; 2]) -> &Vec<Block>| {
            for (e, both) in energy.iter_mut().zip(&self.energy) {
                *e += L::splat(dot(of(both), moments));
            }
        };
        if std::mem::take(&mut self.used[0]) {
            add(&self.moments[0], &|both| &both[1]);
            self.moments[0].fill([0.0; 8]);
        }
        let Some(first) = self.used.iter().position(|u| *u) else { return };
        // Two half steps for every whole one, down to the finest.
        let [m, once, turned, twice] = &mut self.scratch;
        m.copy_from_slice(&self.moments[first]);
        for k in first..self.psi.len() {
            if k > first {
                let psi = &self.psi[k];
                times(psi, m, once);
                transpose(once, turned);
                times(psi, turned, twice);
                for (m, ((a, b), c)) in m.iter_mut().zip(once.iter().zip(turned.iter()).zip(twice.iter())) {
                    *m = std::array::from_fn(|n| 2.0 * m[n] + a[n] + b[n] + c[n]);
                }
            }
            if std::mem::take(&mut self.used[k]) {
                if k > first {
                    let both = m.iter_mut().zip(&self.moments[k]);
                    both.for_each(|(m, w)| *m = std::array::from_fn(|n| m[n] + w[n]));
                }
                self.moments[k].fill([0.0; 8]);
            }
        }
        add(m, &|both| &both[0]);
    }
}

fn dot(a: &[Block], b: &[Block]) -> f64 {
    let mut sum = [0.0; 8];
    for (a, b) in a.iter().zip(b) {
        sum = std::array::from_fn(|k| sum[k] + a[k] * b[k]);
    }
    sum.iter().sum()
}

/// out ← a·b, columns in blocks.
fn times(a: &[Block], b: &[Block], out: &mut [Block]) {
    let c = width(a);
    for (from, to) in b.chunks_exact(c).zip(out.chunks_exact_mut(c)) {
        to.fill([0.0; 8]);
        for (j, column) in a.chunks_exact(c).enumerate() {
            let x = from[j / 8][j % 8];
            for (to, column) in to.iter_mut().zip(column) {
                *to = std::array::from_fn(|k| to[k] + column[k] * x);
            }
        }
    }
}

fn transpose(a: &[Block], out: &mut [Block]) {
    let c = width(a);
    for (i, column) in out.chunks_exact_mut(c).enumerate() {
        for (j, from) in a.chunks_exact(c).enumerate() {
            column[j / 8][j % 8] = from[i / 8][i % 8];
        }
    }
}

/// Blocks of a column of a square matrix: n columns of ⌈n/8⌉ blocks.
fn width(a: &[Block]) -> usize {
    (1..).find(|c| a.len() <= 8 * c * c).unwrap_or(1)
}

fn conductance<L: Lane>(system: &System<L>, choice: ChoiceId, choices: &[usize]) -> f64 {
    let k = choice.0 as usize;
    system.circuit.choices[k].options[choices[k]].lane(0)
}

/// The unknown that has the largest part in a combination that carries nothing.
fn name_of<L: Lane>(system: &System<L>, frame: &Frame, row: usize) -> String {
    system.name(frame.empty.column(row).iamax()).to_string()
}

/// Product of two quantities: at most one of them a power, and then the other constant.
fn product(a: Quantity, b: Quantity, frame: &Frame) -> Result<Products, String> {
    match (a, b) {
        (Quantity::Form(a), Quantity::Form(b)) => Ok(vec![(a, b)]),
        (Quantity::Products(p), Quantity::Form(f)) | (Quantity::Form(f), Quantity::Products(p)) => {
            let weight = f[frame.one()];
            let rest = f.iter().enumerate().any(|(k, x)| k != frame.one() && *x != 0.0);
            if rest {
                return Err("an integral of a power times something that changes".into());
            }
            Ok(p.into_iter().map(|(a, b)| (a * weight, b)).collect())
        }
        _ => Err("an integral of a power times a power".into()),
    }
}
