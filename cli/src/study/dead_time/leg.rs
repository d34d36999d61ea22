//! The leg that is studied: of parts in the shipped half-bridge, or of a scenario's own circuit.

use std::collections::BTreeMap;
use std::sync::atomic::Ordering;

use joulestep_engine::cycle::steady::{CycleError, Effort};
use joulestep_engine::units::people;
use joulestep_models::arrangement::cycle::{Cycle, Guess, Search, Why};
use joulestep_models::arrangement::dead_time::{
    DeadTimeError, How, LegUnderTest, Load, PARAMS, PLACES, Point, estimate, solved,
};
use joulestep_models::arrangement::find;
use joulestep_models::model::{Param, Value, Values};
use joulestep_models::part::Part;

use super::Asked;
use super::own::Own;
use crate::input::keys::shape::Key;
use crate::input::scenario::resolved::Scenario;
use crate::study::{Context, Question, StudyError};

/// Periods in which a first search must come to its end, and one from near by.
const FIRST: u32 = 120;
const NEAR_BY: u32 = 24;
/// Closing error up to which a state that does not close better is one.
const CLOSES: f64 = 1e-3;

/// What is studied.
pub(super) struct Leg<'a> {
    /// In a word or two.
    pub what: String,
    /// Supply voltage, V, and switching frequency, Hz.
    pub voltage: f64,
    pub frequency: f64,
    pub of: Of<'a>,
}

/// Where the leg stands.
pub(super) enum Of<'a> {
    /// In the half-bridge.
    Shipped(Box<Shipped>),
    /// In a circuit of the user's own.
    Own(Box<Own<'a>>),
}

pub(super) struct Shipped {
    leg: LegUnderTest,
    pub celsius: f64,
    /// Output charges of lower and upper switch at the supply's voltage, C; ideal switches have none.
    pub charges: Option<(f64, f64)>,
    /// Capacitance of a snubber over each switch, F.
    pub snubber: f64,
    duty: f64,
}

/// What an arrangement gives a leg.
fn from_values(values: &Values) -> Vec<(&'static str, f64)> {
    let given = PARAMS.iter().filter(|p| !matches!(p.key, "dead-time" | "load-current" | "load-voltage"));
    let number = |p: &Param| match values.0.get(p.key) {
        Some(Value::Number(x)) => Some((p.key, *x)),
        _ => None,
    };
    given.filter_map(number).collect()
}

pub(super) fn failed(error: &DeadTimeError) -> StudyError {
    match error {
        DeadTimeError::Circuit(_) => StudyError::Refused(error.to_string()),
        DeadTimeError::Cycle(Why::Cycle(CycleError::Stopped)) => StudyError::Interrupted,
        DeadTimeError::Cycle(Why::NotPeriodic) => StudyError::Refused(error.to_string()),
        DeadTimeError::Cycle(_) | DeadTimeError::Operating(_) => StudyError::Numerical(error.to_string()),
    }
}

impl<'a> Leg<'a> {
    /// The leg that a question asks for.
    pub fn of(q: &'a Question, asked: &Asked, context: &Context<'_>) -> Result<Self, StudyError> {
        let scenario = q.scenario().ok();
        match scenario.filter(|s| s.arrangement.is_none()) {
            Some(scenario) => {
                let own = Own::of(q, asked, context, scenario)?;
                let what = match scenario.title.as_str() {
                    "" => format!("leg `{}`", own.midpoint),
                    title => format!("leg `{}` of {title}", own.midpoint),
                };
                let frequency = own.frequency;
                Ok(Self { what, voltage: f64::NAN, frequency, of: Of::Own(Box::new(own)) })
            }
            None => Self::shipped(q, asked, scenario),
        }
    }

    fn shipped(q: &Question, asked: &Asked, scenario: Option<&Scenario>) -> Result<Self, StudyError> {
        let (mut leg, mut what) = (LegUnderTest { parts: BTreeMap::new(), given: Vec::new() }, String::new());
        let places = find("half-bridge").map_or(&[][..], |h| h.places);
        if let Some(a) = scenario.and_then(|s| s.arrangement.as_ref()) {
            if a.arrangement.places != places {
                let expected = "one with the places `upper` and `lower`, or a circuit with a [cycle]";
                return Err(q.wrong(Asked::scenario, "no such arrangement", expected));
            }
            leg = LegUnderTest { given: from_values(&a.values), parts: a.parts.clone() };
            let file = q.files(Asked::scenario).into_iter().next().unwrap_or_default();
            what = format!("{} ({file})", a.kind.name);
        }
        for (key, place) in [(Asked::part, ""), (Asked::upper, "upper"), (Asked::lower, "lower")] {
            let Some(part): Option<&Part> = q.parts(key).first() else { continue };
            if what.is_empty() {
                what.clone_from(&part.name);
            }
            leg.parts.insert(place.to_string(), part.clone());
        }
        if leg.parts.is_empty() && scenario.is_none() {
            return Err(q.wrong(Asked::part, "nothing to study", "a part, or `scenario`"));
        }
        if let Some(node) = asked.midpoint.first() {
            let found = format!("`{}` of the shipped half-bridge", node.name);
            return Err(q.wrong(Asked::midpoint, found, "with a scenario's own circuit only"));
        }
        let typed = asked.leg.as_ref().map(|leg| crate::input::parts::given(leg, PARAMS)).unwrap_or_default();
        let typed = typed.into_iter().filter_map(|(key, value)| match value {
            Value::Number(x) => Some((key, x)),
            _ => None,
        });
        let named = asked.named().into_iter().filter_map(|(_, of, value)| Some((of, value?)));
        for (key, x) in typed.chain(named) {
            if let Some(own) = ["dead-time", "load-current"].into_iter().find(|own| *own == key) {
                let found = format!("`leg.{own}`: it is the study's own");
                return Err(q.wrong(Asked::leg, found, "`dead-time` and `current` of the study"));
            }
            leg.given.retain(|g| g.0 != key);
            leg.given.push((key, x));
        }
        let refused = |e: &dyn ToString| StudyError::Refused(e.to_string());
        let Some(bridge) = find("half-bridge") else { return Err(refused(&"there is no half-bridge")) };
        let values = bridge.values(&leg.given).map_err(|e| refused(&e))?;
        let of = |key: &str| values.number(key);
        let (voltage, celsius) = (of("supply-voltage"), of("junction-temperature"));
        let charges = estimate(&leg, voltage, celsius).map_err(|e| failed(&e))?;
        let snubber = of("snubber-capacitance");
        let shipped = Shipped { leg, celsius, charges, snubber, duty: of("duty") };
        Ok(Self { what, voltage, frequency: of("frequency"), of: Of::Shipped(Box::new(shipped)) })
    }

    /// Places of the lower and the upper switch.
    pub fn places(&self) -> [&str; 2] {
        match &self.of {
            Of::Shipped(_) => PLACES,
            Of::Own(own) => own.places.each_ref().map(|p| p.name.as_str()),
        }
    }

    /// The periodic steady state at a dead time, s: where the search begins, and whether it only compares.
    pub fn point(
        &self,
        (dead_time, load): (f64, Option<Load>),
        (from, compares): (Option<&Guess>, bool),
        context: &Context<'_>,
    ) -> Result<(Point, Guess), StudyError> {
        context.go_on()?;
        let tell = |_: f64| !context.stop.load(Ordering::Relaxed);
        let run = |effort: Effort| -> Result<Cycle, DeadTimeError> {
            let search = Search { from, compares, tell: &tell, ..Search::plain(effort) };
            match (&self.of, load) {
                (Of::Shipped(s), Some(load)) => {
                    let how = How { search, tune: &|setup| context.level.apply(setup) };
                    solved(&s.leg, (dead_time, load), &how)
                }
                (Of::Shipped(_), None) => Err(Why::NotPeriodic.into()),
                (Of::Own(own), _) => own.solved(dead_time, &search, context),
            }
        };
        let plain = Effort::default();
        let quick = Effort { most: if from.is_some() { NEAR_BY } else { FIRST }, ..plain };
        let cycle = match run(quick) {
            // What a period closes by is as rough as its steps: a state that does not close better is reported by the
            // difference that this makes.
            Err(DeadTimeError::Cycle(Why::Cycle(CycleError::NotClosed { closing, .. })))
                if from.is_none() =>
            {
                let closing = if closing <= CLOSES { 3.0 * closing } else { plain.closing };
                run(Effort { closing, ..plain })
            }
            found => found,
        };
        let cycle = cycle.map_err(|e| failed(&e))?;
        let places = self.places();
        let found = Point::of(&cycle, dead_time, places, None, load);
        if let Some(k) = found.turn_ons.iter().position(Option::is_none) {
            return Err(StudyError::Numerical(format!("`{}` never turns on", places[k])));
        }
        let (charges, current) = match (&self.of, load) {
            (Of::Shipped(s), Some(load)) => (s.charges, s.leg.current(load).map_err(|e| failed(&e))?),
            (Of::Shipped(s), None) => (s.charges, found.current),
            (Of::Own(own), _) => (own.charges(found.leg_voltage()).map_err(|e| failed(&e))?, found.current),
        };
        let point = Point::of(&cycle, dead_time, places, charges, load);
        Ok((Point { current, ..point }, cycle.guess()))
    }

    /// (Q_oss of both + C·V of both snubbers)/|I|, s; not a number where there is neither charge nor current.
    pub fn balance(&self, at: &Point) -> f64 {
        let (both, snubbers) = match &self.of {
            Of::Shipped(s) => (s.charges, 2.0 * s.snubber * self.voltage),
            Of::Own(own) => {
                let volts = at.leg_voltage();
                let farads: f64 = own.snubber.iter().sum();
                (own.charges(volts).ok().flatten(), farads * volts)
            }
        };
        let (lower, upper) = both.unwrap_or_default();
        let charge = lower + upper + snubbers;
        if charge > 0.0 && at.current != 0.0 { charge / at.current.abs() } else { f64::NAN }
    }

    /// The load current of the shipped leg, A.
    pub fn current(&self, load: Load) -> Option<f64> {
        match &self.of {
            Of::Shipped(s) => s.leg.current(load).ok(),
            Of::Own(_) => None,
        }
    }

    /// The dead time after which the triangle of a shipped leg's current reverses, s.
    pub fn reverses(&self, load: Option<Load>) -> Option<f64> {
        match (&self.of, load) {
            (Of::Shipped(s), Some(Load::Reversing(_))) => {
                Some(s.duty.min(1.0 - s.duty) / (2.0 * self.frequency))
            }
            _ => None,
        }
    }

    /// What is asked beside a circuit of its own that belongs to the shipped one.
    pub fn load_key(asked: &Asked) -> Option<Key> {
        let given = [(Asked::current, &asked.current), (Asked::inductance, &asked.inductance)];
        given.into_iter().find(|g| !g.1.is_empty()).map(|g| g.0)
    }
}

/// The words of a point.
pub(super) fn at(dead_time: f64, current: Option<f64>) -> String {
    let of = current.map_or(String::new(), |i| format!(", {}", people(i, "A")));
    format!("dead time {}{of}", people(dead_time, "s"))
}
