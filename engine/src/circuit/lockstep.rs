//! Circuits of several variants in lockstep.

use wide::{f64x4, f64x8};

use super::graph::{Body, Choice, Circuit, Component, Linear, Stated};
use super::law::Device;
use super::wave::Wave;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::lockstep::{Lockstep, lanes, shared};

/// Lanes that devices of single variants can be put into.
pub trait DeviceLanes: Lane {
    /// A device of each variant in lockstep.
    fn device(each: &[&dyn Device<f64>]) -> Option<Box<dyn Device<Self>>>;
}

/// One lane: a copy.
impl DeviceLanes for f64 {
    fn device(each: &[&dyn Device<f64>]) -> Option<Box<dyn Device<Self>>> {
        each.first().map(|one| one.boxed())
    }
}

impl DeviceLanes for f64x4 {
    fn device(each: &[&dyn Device<f64>]) -> Option<Box<dyn Device<Self>>> {
        each.first()?.in_four_lanes(each)
    }
}

impl DeviceLanes for f64x8 {
    fn device(each: &[&dyn Device<f64>]) -> Option<Box<dyn Device<Self>>> {
        each.first()?.in_eight_lanes(each)
    }
}

crate::lockstep!(Linear: g, c, s; shared branches, choice);

fn body<K: DeviceLanes>(each: &[&Body<f64>]) -> Option<Body<K>> {
    match each.first()? {
        Body::Linear(_) => {
            let all = each.iter().map(|b| match b {
                Body::Linear(l) => Some(l),
                Body::Device(_) => None,
            });
            Linear::lockstep::<K>(&all.collect::<Option<Vec<_>>>()?).map(Body::Linear)
        }
        Body::Device(_) => {
            let all = each.iter().map(|b| match b {
                Body::Device(d) => Some(d.as_ref()),
                Body::Linear(_) => None,
            });
            K::device(&all.collect::<Option<Vec<_>>>()?).map(Body::Device)
        }
    }
}

impl Lockstep for Stated<f64> {
    type Of<K: Lane> = Stated<K>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Stated<K>> {
        let split = each.iter().map(|one| match one {
            Self::Voltage(x) => (None, *x),
            Self::Current(k, x) => (Some(*k), *x),
        });
        let split: Vec<(Option<usize>, f64)> = split.collect();
        let (branch, x) = <(Option<usize>, f64)>::lockstep::<K>(&split.iter().collect::<Vec<_>>())?;
        Some(branch.map_or(Stated::Voltage(x), |k| Stated::Current(k, x)))
    }
}

/// What `of` takes out of each, in lockstep.
fn taken<T: Lockstep, K: Lane>(
    each: &[&Wave<f64>],
    of: impl Fn(&Wave<f64>) -> Option<T>,
) -> Option<T::Of<K>> {
    let all: Vec<T> = each.iter().map(|w| of(w)).collect::<Option<_>>()?;
    T::lockstep::<K>(&all.iter().collect::<Vec<_>>())
}

impl Lockstep for Wave<f64> {
    type Of<K: Lane> = Wave<K>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Wave<K>> {
        match each.first()? {
            Self::Constant(_) => {
                taken::<f64, K>(each, |w| if let Self::Constant(x) = w { Some(*x) } else { None })
                    .map(Wave::Constant)
            }
            Self::Driven(_) => {
                taken::<f64, K>(each, |w| if let Self::Driven(x) = w { Some(*x) } else { None })
                    .map(Wave::Driven)
            }
            Self::Points(_) => {
                let of = |w: &Self| if let Self::Points(list) = w { Some(list.clone()) } else { None };
                taken::<Vec<(f64, f64)>, K>(each, of).map(Wave::Points)
            }
            Self::Sine { .. } => {
                let of = |w: &Self| match w {
                    Self::Sine { offset, amplitude, frequency, phase, delay } => {
                        Some(([*frequency, *phase, *delay], [*offset, *amplitude]))
                    }
                    _ => None,
                };
                let ([frequency, phase, delay], [offset, amplitude]) =
                    taken::<([f64; 3], [f64; 2]), K>(each, of)?;
                Some(Wave::Sine { offset, amplitude, frequency, phase, delay })
            }
            Self::Periodic { .. } => {
                let of = |w: &Self| match w {
                    Self::Periodic { period, points } => Some((*period, points.clone())),
                    _ => None,
                };
                let (period, points) = taken::<(f64, Vec<(f64, f64)>), K>(each, of)?;
                Some(Wave::Periodic { period, points })
            }
        }
    }
}

crate::lockstep!(Choice: options; shared initial);

impl Circuit<f64> {
    /// The circuits of one variant for each lane of `K` in lockstep; `None` where their topology, a law or an instant
    /// differs.
    #[inline(never)]
    pub fn lockstep<K: DeviceLanes>(each: &[&Self]) -> Option<Circuit<K>> {
        let (first, nodes) = (each.first()?, shared(each, |c| &c.nodes)?);
        if each.iter().any(|c| c.components.len() != first.components.len()) {
            return None;
        }
        let component = |k: usize| -> Option<Component<K>> {
            let all: Vec<&Component<f64>> = each.iter().map(|c| &c.components[k]).collect();
            Some(Component {
                name: shared(&all, |c| &c.name)?,
                kind: shared(&all, |c| &c.kind)?,
                pins: shared(&all, |c| &c.pins)?,
                body: body(&all.iter().map(|c| &c.body).collect::<Vec<_>>())?,
                heat: shared(&all, |c| &c.heat)?,
                stated: lanes::<_, _, K>(&all, |c| &c.stated)?,
            })
        };
        Some(Circuit {
            nodes,
            components: (0..first.components.len()).map(component).collect::<Option<_>>()?,
            waves: lanes::<_, _, K>(each, |c| &c.waves)?,
            choices: lanes::<_, _, K>(each, |c| &c.choices)?,
            by_name: first.by_name.clone(),
        })
    }
}
