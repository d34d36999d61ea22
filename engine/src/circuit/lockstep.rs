//! Circuits of several variants side by side.

use wide::{f64x4, f64x8};

use super::graph::{Body, Choice, Circuit, Component, Linear};
use super::law::Device;
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

impl Circuit<f64> {
    /// The values of one variant for each lane of `K`; `None` where their form or a law differs. Names, courses and
    /// stated values stay with each variant.
    #[inline(never)]
    pub fn lockstep<K: DeviceLanes>(each: &[&Self]) -> Option<Circuit<K>> {
        let first = each.first()?;
        let form = |c: &Self| (c.nodes.len(), c.components.len(), c.choices.len());
        if each.iter().any(|c| form(c) != form(first)) {
            return None;
        }
        let component = |k: usize| -> Option<Component<K>> {
            let all: Vec<&Component<f64>> = each.iter().map(|c| &c.components[k]).collect();
            Some(Component {
                name: String::new(),
                kind: all[0].kind,
                pins: shared(&all, |c| &c.pins)?,
                body: body(&all.iter().map(|c| &c.body).collect::<Vec<_>>())?,
                heat: shared(&all, |c| &c.heat)?,
                stated: None,
            })
        };
        let choice = |k: usize| -> Option<Choice<K>> {
            let all: Vec<&Choice<f64>> = each.iter().map(|c| &c.choices[k]).collect();
            Some(Choice { options: lanes::<_, _, K>(&all, |c| &c.options)?, initial: all[0].initial })
        };
        Some(Circuit {
            nodes: vec![String::new(); first.nodes.len()],
            components: (0..first.components.len()).map(component).collect::<Option<_>>()?,
            waves: Vec::new(),
            choices: (0..first.choices.len()).map(choice).collect::<Option<_>>()?,
            ..Circuit::new()
        })
    }
}
