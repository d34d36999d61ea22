//! Dies that may go into avalanche: watched always, judged where their part rates it. Surges of what absorbs them.

use joulestep_engine::circuit::graph::ComponentId;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::EventKind;
use joulestep_engine::run::burst::{Burst, Referred, Taken};
use joulestep_engine::run::gauge::{Gauge, Measured};
use joulestep_engine::run::watch::Watch;
use joulestep_models::lookup::find;
use joulestep_models::model::Avalanche;
use joulestep_models::part::OfAvalanche;

use super::judge::{Judged, Judging, Origin, watch};
use super::parts::Placed;
use crate::judge::{Bounded, Bounds, Limit, SetBy};

/// The temperature for which avalanche energies are stated unless the part says otherwise, °C (JESD24-5, from memory).
const STATED_AT: f64 = 25.0;

/// A die that may go into avalanche.
#[derive(Clone, Debug, PartialEq)]
pub struct Avalanched {
    /// Name in the verdict: `Q1.jfet.avalanche`.
    pub name: String,
    /// Number of the watch on its voltage, and the level from which it is in avalanche, V.
    pub watch: (usize, f64),
    /// What its part states.
    pub rated: OfAvalanche,
    /// The gauge that counts its avalanches, where energies are judged.
    pub gauge: Option<usize>,
    /// Why the user waived it.
    pub waived: Option<String>,
}

/// What absorbs surges with a rated mean power, which a periodic state is held against.
#[derive(Clone, Debug, PartialEq)]
pub struct Absorber {
    /// Name in the verdict: `clamp.mean-power`.
    pub name: String,
    /// What it is made of.
    pub components: Vec<ComponentId>,
    /// Mean power that it takes, W.
    pub rated: f64,
    /// Why the user waived it.
    pub waived: Option<String>,
}

/// Watches and, where a part rates them, gauges and ratings of all dies. An avalanche lasts while the junction's voltage is
/// above its breakdown voltage at its temperature.
pub(super) fn avalanches(
    all: &[Placed],
    watches: &mut Vec<Watch>,
    judging: &mut Judging,
    gauges: &mut Vec<Gauge>,
) {
    for placed in all {
        for one in &placed.built.avalanches {
            avalanche(placed, one, watches, judging, gauges);
        }
    }
}

/// Surges against the energy that a part takes, less what its mean power carries off meanwhile.
pub(super) fn surges(all: &[Placed], judging: &mut Judging, gauges: &mut Vec<Gauge>) {
    for placed in all {
        let surge = placed.built.surge;
        let each = placed.built.components.iter();
        if let Some(most) = surge.energy {
            let of = Bounded::SurgeEnergy;
            let limit = rating(format!("{}.surge-energy", placed.name), of, most);
            judging.judged.push(Judged { limit, origin: Origin::Gauge(gauges.len()), input: None });
            gauges.push(Gauge {
                measured: Measured::Left,
                subject: String::new(),
                probe: Some(Probe::Sum(each.clone().map(|&id| (1.0, Probe::Energy(id))).collect())),
                level: surge.power.unwrap_or(0.0),
                burst: None,
                from: f64::NEG_INFINITY,
                to: f64::INFINITY,
            });
        }
        if let Some(rated) = surge.power {
            let name = format!("{}.mean-power", placed.name);
            let components = each.copied().collect();
            judging.absorbers.push(Absorber { name, components, rated, waived: None });
        }
    }
}

/// The rating of a part on a gauge.
fn rating(name: String, of: Bounded, most: f64) -> Limit {
    let unit = of.unit().unwrap_or("1").into();
    Limit { name, set_by: SetBy::Part, of, unit, bounds: Bounds::at_most(most), waived: None }
}

fn avalanche(
    placed: &Placed,
    one: &Avalanche,
    watches: &mut Vec<Watch>,
    judging: &mut Judging,
    gauges: &mut Vec<Gauge>,
) {
    let name = format!("{}.{}.avalanche", placed.name, one.die);
    let at = placed.built.dies.iter().position(|d| d.0 == one.die);
    let temperature = at.and_then(|k| placed.heat[k]).map(Probe::Temperature);
    let per_kelvin = one.breakdown * one.drift;
    let (over, level) = match &temperature {
        Some(t) => {
            let terms = vec![(1.0, one.voltage.clone()), (-per_kelvin, t.clone())];
            (Probe::Sum(terms), one.breakdown - 25.0 * per_kelvin)
        }
        None => (one.voltage.clone(), one.breakdown + per_kelvin * (one.celsius - 25.0)),
    };
    let words = format!("the {} die goes into avalanche", one.die);
    let mut watched = watch(name.clone(), words, over.clone(), placed.name.clone());
    (watched.event, watched.upper) = (Some(EventKind::Avalanche), level);
    let entry = find(placed.kind).ok().and_then(|entry| entry.die(one.die));
    let rated = placed.ratings.of_avalanche(entry.is_none_or(|die| die.blocks));
    let heats = at.map_or(&[][..], |k| &placed.built.dies[k].1);
    let energy = Probe::Sum(heats.iter().map(|&id| (1.0, Probe::Energy(id))).collect());
    let referred = Referred {
        temperature,
        else_at: one.celsius,
        stated_at: placed.ratings.avalanche_temperature.unwrap_or(STATED_AT),
        hottest: one.hottest,
    };
    let first = gauges.len();
    let mut rate = |what: &str, of: Bounded, taken: Taken, most: f64| {
        let (probe, referred) = match taken {
            Taken::Peak => (one.current.clone(), None),
            Taken::Rise | Taken::RepeatedRise => (energy.clone(), Some(referred.clone())),
        };
        let limit = rating(format!("{}.{}.{what}", placed.name, one.die), of, most);
        judging.judged.push(Judged { limit, origin: Origin::Gauge(gauges.len()), input: None });
        gauges.push(Gauge {
            measured: Measured::Bursts(taken),
            subject: String::new(),
            probe: Some(probe),
            level: 0.0,
            burst: Some(Burst { over: over.clone(), level, referred }),
            from: f64::NEG_INFINITY,
            to: f64::INFINITY,
        });
    };
    // Who states the energy of each of many pulses allows one of it.
    if let Some(most) = rated.single.or(rated.repetitive) {
        rate("avalanche-energy", Bounded::AvalancheEnergy, Taken::Rise, most);
    }
    if let Some(most) = rated.repetitive {
        let taken = Taken::RepeatedRise;
        rate("repetitive-avalanche-energy", Bounded::AvalancheEnergy, taken, most);
    }
    if let Some(most) = rated.current {
        rate("avalanche-current", Bounded::AvalancheCurrent, Taken::Peak, most);
    }
    let gauge = (gauges.len() > first && rated.single.or(rated.repetitive).is_some()).then_some(first);
    let watch = (watches.len(), level);
    judging.avalanches.push(Avalanched { name, watch, rated, gauge, waived: None });
    watches.push(watched);
}

/// Leaves of a scenario's gauges those that a period without events has, the bursts: each comes again with every period, so
/// one within it is repeated. Their numbers among all gauges, and themselves.
pub fn repeating(gauges: &mut Vec<Gauge>) -> Vec<(usize, Gauge)> {
    let bursts = gauges.drain(..).enumerate().filter_map(|(k, gauge)| match gauge.measured {
        Measured::Bursts(Taken::RepeatedRise) => {
            Some((k, Gauge { measured: Measured::Bursts(Taken::Rise), ..gauge }))
        }
        Measured::Bursts(_) => Some((k, gauge)),
        _ => None,
    });
    let kept: Vec<(usize, Gauge)> = bursts.collect();
    gauges.extend(kept.iter().map(|g| g.1.clone()));
    kept
}

impl Avalanched {
    /// Why the verdict cannot be "passes" where the die goes into avalanche; `count`: how often it does, where that is
    /// measured; `repeats`: what is measured comes again and again. `None` where ratings judge it.
    pub fn doubt(&self, count: Option<u32>, repeats: bool) -> Option<String> {
        let name = &self.name;
        match (self.gauge, count) {
            (None, _) => Some(format!(
                "`{name}` is not judged: the die goes into avalanche, and its part states no energy that it takes"
            )),
            (Some(_), None) => Some(format!(
                "`{name}` is not judged: the die goes into avalanche; this study does not measure what each comes to"
            )),
            (Some(_), Some(n)) if (n > 1 || repeats && n > 0) && self.rated.repetitive.is_none() => {
                let often = if repeats { "again and again".to_string() } else { format!("{n} times") };
                Some(format!(
                    "`{name}` is judged for single pulses only: the die goes into avalanche {often}, and its part states no \
                     energy for repetition"
                ))
            }
            _ => None,
        }
    }
}
