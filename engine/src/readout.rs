//! Probes compiled to what a state and its workspace hold.

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{Body, ChoiceId, ComponentId, LineId, WaveId};
use crate::circuit::probe::Probe;
use crate::control::board::Board;
use crate::equations::system::System;

/// Where the values of a probe come from, at the end of a step.
#[derive(Debug)]
pub struct Sources<'a, L: Lane> {
    /// The instant, s.
    pub t: f64,
    /// Unknowns.
    pub x: &'a [L],
    /// Power of each account, W.
    pub power: &'a [L],
    /// Devices' stamps at x.
    pub stamps: &'a [Vec<L>],
    /// Lines and courses.
    pub board: &'a Board<L>,
    /// The option of each choice with which x was found.
    pub choices: &'a [usize],
    /// Temperatures of the heat inputs, °C.
    pub celsius: &'a [L],
    /// Energy of each account so far, J; empty where none is told.
    pub energy: &'a [L],
    /// Integrals of the setup so far.
    pub integrals: &'a [L],
}

/// A probe ready to be read.
#[derive(Clone, Debug)]
pub enum Readout<L> {
    /// Σ weight·x\[unknown\].
    Unknowns(Vec<(u32, L)>),
    /// Σ weight·stamp\[index\] of a device (its conduction currents).
    Stamps(u32, Vec<(u32, L)>),
    /// Conduction of a linear component: unknowns, and a chosen conductance between two of them with a sign.
    Linear(Vec<(u32, L)>, Option<(ChoiceId, u32, u32, L)>),
    /// Σ power of accounts.
    Power(Vec<u32>),
    /// Σ energy of accounts.
    Energy(Vec<u32>),
    /// A course.
    Wave(WaveId),
    /// A line.
    Line(LineId),
    /// A heat input's temperature.
    Temperature(u32),
    /// An integral of the setup.
    Integral(u32),
    /// Weighted sum.
    Sum(Vec<(L, Readout<L>)>),
}

/// The charge of a component's pin.
fn charge<L: Lane>(system: &System<L>, component: ComponentId, pin: usize) -> Readout<L> {
    let one = L::splat(1.0);
    if let Some(device) = system.devices.iter().position(|d| d.component == component) {
        let placed = &system.devices[device];
        // Currents of all local unknowns come first in a stamp, then their charges.
        let first = placed.locals.len() as u32;
        let terms = match pin < placed.ports {
            true => vec![(first + pin as u32, one)],
            false => (0..placed.ports).map(|k| (first + k as u32, -one)).collect(),
        };
        return Readout::Stamps(device as u32, terms);
    }
    let part = &system.circuit.components[component.0 as usize];
    let Body::Linear(linear) = &part.body else { return Readout::Unknowns(Vec::new()) };
    let unknown = |local: usize| match part.pins.get(local) {
        Some(node) => system.unknown_of_node(*node) as u32,
        None => system.own_unknown(component, local - part.pins.len()) as u32,
    };
    let mine = linear.c.iter().filter(|e| e.0 == pin).map(|&(_, c, x)| (unknown(c), x));
    Readout::Unknowns(mine.collect())
}

/// Accounts of what a component turns into heat.
fn heating<L: Lane>(system: &System<L>, component: ComponentId) -> Vec<u32> {
    let heating = system.devices.len() + system.dissipators.len();
    let owners = system.account_owners();
    (0..heating).filter(|&k| owners[k] == component).map(|k| k as u32).collect()
}

impl<L: Lane> Readout<L> {
    /// Compiles a probe.
    pub fn new(probe: &Probe, system: &System<L>) -> Self {
        let one = L::splat(1.0);
        match probe {
            Probe::Voltage(a, b) => {
                let (a, b) = (system.unknown_of_node(*a) as u32, system.unknown_of_node(*b) as u32);
                Self::Unknowns(vec![(a, one), (b, -one)])
            }
            Probe::Branch(component, k) => {
                Self::Unknowns(vec![(system.own_unknown(*component, *k) as u32, one)])
            }
            Probe::Charge(component, pin) => charge(system, *component, *pin),
            Probe::Heat(component) => Self::Power(heating(system, *component)),
            Probe::Energy(component) => Self::Energy(heating(system, *component)),
            Probe::Wave(wave) => Self::Wave(*wave),
            Probe::Line(line) => Self::Line(*line),
            Probe::Temperature(input) => Self::Temperature(input.0),
            Probe::Integral(k) => Self::Integral(*k as u32),
            Probe::Sum(terms) => {
                Self::Sum(terms.iter().map(|(w, p)| (L::splat(*w), Self::new(p, system))).collect())
            }
            Probe::Conduction(component, pin) => {
                if let Some(device) = system.devices.iter().position(|d| d.component == *component) {
                    let placed = &system.devices[device];
                    let terms = match *pin < placed.ports {
                        true => vec![(*pin as u32, one)],
                        false => (0..placed.ports).map(|k| (k as u32, -one)).collect(),
                    };
                    return Self::Stamps(device as u32, terms);
                }
                let part = &system.circuit.components[component.0 as usize];
                let unknown = |local: usize| match part.pins.get(local) {
                    Some(node) => system.unknown_of_node(*node) as u32,
                    None => system.own_unknown(*component, local - part.pins.len()) as u32,
                };
                let Body::Linear(linear) = &part.body else { return Self::Unknowns(Vec::new()) };
                let mine =
                    linear.g.iter().filter(|e| e.0 == *pin).map(|&(_, c, x)| (unknown(c), x)).collect();
                let sign = if *pin == 0 { one } else { -one };
                Self::Linear(mine, linear.choice.map(|c| (c, unknown(0), unknown(1), sign)))
            }
        }
    }

    /// Whether integrals come in.
    pub fn is_integral(&self) -> bool {
        match self {
            Self::Integral(_) | Self::Energy(_) => true,
            Self::Sum(terms) => terms.iter().any(|t| t.1.is_integral()),
            _ => false,
        }
    }

    /// The value at the end of a step.
    pub fn read(&self, system: &System<L>, from: &Sources<'_, L>) -> L {
        let zero = L::splat(0.0);
        let weigh = |terms: &[(u32, L)], values: &[L]| {
            terms.iter().fold(zero, |s, &(k, w)| s + w * values[k as usize])
        };
        match self {
            Self::Unknowns(terms) => weigh(terms, from.x),
            Self::Stamps(device, terms) => weigh(terms, &from.stamps[*device as usize]),
            Self::Linear(terms, choice) => {
                let chosen = choice.map_or(zero, |(id, a, b, sign)| {
                    let k = id.0 as usize;
                    let g = system.circuit.choices[k].options[from.choices[k]];
                    sign * g * (from.x[a as usize] - from.x[b as usize])
                });
                weigh(terms, from.x) + chosen
            }
            Self::Energy(accounts) => {
                let energy = |k: &u32| from.energy.get(*k as usize).copied().unwrap_or(zero);
                accounts.iter().fold(zero, |s, k| s + energy(k))
            }
            Self::Power(accounts) => accounts.iter().fold(zero, |s, &k| s + from.power[k as usize]),
            Self::Wave(wave) => from.board.course(&system.circuit.waves[wave.0 as usize], *wave, from.t),
            Self::Line(line) => L::splat(f64::from(u8::from(from.board.line(*line)))),
            Self::Integral(k) => from.integrals.get(*k as usize).copied().unwrap_or(zero),
            Self::Temperature(k) => from.celsius.get(*k as usize).copied().unwrap_or(zero),
            Self::Sum(terms) => terms.iter().fold(zero, |s, (w, r)| s + *w * r.read(system, from)),
        }
    }
}
