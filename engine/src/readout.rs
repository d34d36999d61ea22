//! Probes compiled to what a state and its workspace hold.

mod many;

pub use many::Readouts;

use crate::arithmetic::lane::Lane;
use crate::arithmetic::lockstep::Lockstep;
use crate::circuit::graph::{Body, ChoiceId, ComponentId, LineId, WaveId};
use crate::circuit::probe::Probe;
use crate::circuit::wave::Wave;
use crate::control::board::Board;
use crate::equations::system::System;

/// What a lane has of its own: its instant, its courses, and what was ordered.
#[derive(Clone, Copy, Debug)]
pub struct Seat<'a> {
    /// The instant, s.
    pub t: f64,
    /// Lines and driven courses.
    pub board: &'a Board<f64>,
    /// Courses of the circuit.
    pub waves: &'a [Wave<f64>],
    /// The option of each choice with which x was found.
    pub choices: &'a [usize],
}

/// Where the values of a probe come from, at the end of a step.
#[derive(Debug)]
pub struct Sources<'a, L: Lane> {
    /// One for each lane.
    pub seats: &'a [Seat<'a>],
    /// Unknowns.
    pub x: &'a [L],
    /// Power of each account, W.
    pub power: &'a [L],
    /// Devices' stamps at x.
    pub stamps: &'a [Vec<L>],
    /// Temperatures of the heat inputs, °C.
    pub celsius: &'a [L],
    /// Energy of each account so far, J; empty where none is told.
    pub energy: &'a [L],
    /// Integrals of the setup so far.
    pub integrals: &'a [L],
}

/// A raw value of a state.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Raw {
    /// An unknown.
    Unknown(u32),
    /// The power of an account.
    Power(u32),
    /// The energy of an account, or behind them an integral of the setup.
    Energy(u32),
    /// An entry of a device's stamp: device and index.
    Stamp(u32, u32),
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

/// Accounts of what a component dissipates.
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
            Probe::Power(component) => Self::Power(heating(system, *component)),
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

    /// Raw values that come in, of a system with so many accounts.
    pub fn raw(&self, accounts: usize, out: &mut Vec<Raw>) {
        match self {
            Self::Unknowns(terms) => out.extend(terms.iter().map(|term| Raw::Unknown(term.0))),
            Self::Stamps(device, terms) => out.extend(terms.iter().map(|term| Raw::Stamp(*device, term.0))),
            Self::Linear(terms, choice) => {
                let across = choice.iter().flat_map(|&(_, a, b, _)| [a, b]);
                out.extend(terms.iter().map(|term| term.0).chain(across).map(Raw::Unknown));
            }
            Self::Power(all) => out.extend(all.iter().copied().map(Raw::Power)),
            Self::Energy(all) => out.extend(all.iter().copied().map(Raw::Energy)),
            Self::Integral(k) => out.push(Raw::Energy(accounts as u32 + k)),
            Self::Sum(terms) => terms.iter().for_each(|term| term.1.raw(accounts, out)),
            Self::Wave(_) | Self::Line(_) | Self::Temperature(_) => {}
        }
    }

    /// The value at the end of a step.
    pub fn read(&self, system: &System<L>, from: &Sources<'_, L>) -> L {
        let zero = L::splat(0.0);
        let each = |of: &dyn Fn(usize, &Seat<'_>) -> f64| L::from_fn(|lane| of(lane, &from.seats[lane]));
        let weigh = |terms: &[(u32, L)], values: &[L]| {
            terms.iter().fold(zero, |s, &(k, w)| s + w * values[k as usize])
        };
        match self {
            Self::Unknowns(terms) => weigh(terms, from.x),
            Self::Stamps(device, terms) => weigh(terms, &from.stamps[*device as usize]),
            Self::Linear(terms, choice) => {
                let chosen = choice.map_or(zero, |(id, a, b, sign)| {
                    let k = id.0 as usize;
                    let options = &system.circuit.choices[k].options;
                    let g = each(&|lane, seat| options[seat.choices[k]].lane(lane));
                    sign * g * (from.x[a as usize] - from.x[b as usize])
                });
                weigh(terms, from.x) + chosen
            }
            Self::Energy(accounts) => {
                let energy = |k: &u32| from.energy.get(*k as usize).copied().unwrap_or(zero);
                accounts.iter().fold(zero, |s, k| s + energy(k))
            }
            Self::Power(accounts) => accounts.iter().fold(zero, |s, &k| s + from.power[k as usize]),
            Self::Wave(wave) => {
                each(&|_, seat| seat.board.course(&seat.waves[wave.0 as usize], *wave, seat.t))
            }
            Self::Line(line) => each(&|_, seat| f64::from(u8::from(seat.board.line(*line)))),
            Self::Integral(k) => from.integrals.get(*k as usize).copied().unwrap_or(zero),
            Self::Temperature(k) => from.celsius.get(*k as usize).copied().unwrap_or(zero),
            Self::Sum(terms) => terms.iter().fold(zero, |s, (w, r)| s + *w * r.read(system, from)),
        }
    }
}

/// Readouts of one quantity of several variants.
impl Lockstep for Readout<f64> {
    type Of<K: Lane> = Readout<K>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Readout<K>> {
        /// What `of` takes out of each, side by side.
        fn taken<T: Lockstep, K: Lane>(
            each: &[&Readout<f64>],
            of: impl Fn(&Readout<f64>) -> Option<T>,
        ) -> Option<T::Of<K>> {
            let all: Vec<T> = each.iter().map(|one| of(one)).collect::<Option<_>>()?;
            T::lockstep::<K>(&all.iter().collect::<Vec<_>>())
        }
        macro_rules! same {
            ($kind:ident($x:ident)) => {{
                let first = $x.clone();
                let alike = |one: &&Self| matches!(one, Self::$kind(x) if *x == first);
                each.iter().all(|one| alike(&one)).then_some(Readout::$kind(first))
            }};
        }
        match each.first()? {
            Self::Unknowns(_) => {
                let of = |one: &Self| if let Self::Unknowns(x) = one { Some(x.clone()) } else { None };
                taken::<Vec<(u32, f64)>, K>(each, of).map(Readout::Unknowns)
            }
            Self::Stamps(..) => {
                let of = |one: &Self| if let Self::Stamps(k, x) = one { Some((*k, x.clone())) } else { None };
                taken::<(u32, Vec<(u32, f64)>), K>(each, of).map(|(k, x)| Readout::Stamps(k, x))
            }
            Self::Linear(..) => {
                let terms = |one: &Self| if let Self::Linear(x, _) = one { Some(x.clone()) } else { None };
                let choice = |one: &Self| match one {
                    Self::Linear(_, choice) => Some(choice.map(|(id, a, b, sign)| ((id, a, b), sign))),
                    _ => None,
                };
                let x = taken::<Vec<(u32, f64)>, K>(each, terms)?;
                let choice = taken::<Option<((ChoiceId, u32, u32), f64)>, K>(each, choice)?;
                Some(Readout::Linear(x, choice.map(|((id, a, b), sign)| (id, a, b, sign))))
            }
            Self::Sum(_) => {
                let of = |one: &Self| if let Self::Sum(x) = one { Some(x.clone()) } else { None };
                let all: Vec<Vec<(f64, Self)>> = each.iter().map(|one| of(one)).collect::<Option<_>>()?;
                let count = all.first()?.len();
                let term = |k: usize| {
                    let weights = all.iter().map(|x| x.get(k).map(|t| &t.0)).collect::<Option<Vec<_>>>()?;
                    let readouts = all.iter().map(|x| x.get(k).map(|t| &t.1)).collect::<Option<Vec<_>>>()?;
                    Some((f64::lockstep::<K>(&weights)?, Self::lockstep::<K>(&readouts)?))
                };
                (0..count).map(term).collect::<Option<_>>().map(Readout::Sum)
            }
            Self::Power(x) => same!(Power(x)),
            Self::Energy(x) => same!(Energy(x)),
            Self::Wave(x) => same!(Wave(x)),
            Self::Line(x) => same!(Line(x)),
            Self::Temperature(x) => same!(Temperature(x)),
            Self::Integral(x) => same!(Integral(x)),
        }
    }
}
