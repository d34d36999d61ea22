//! The scenario as resolved: names distinguished, quantities in SI units (temperatures in °C), every default filled in.

use std::collections::BTreeMap;

use joulestep_engine::cycle::lifetime::Scatter;
use joulestep_engine::cycle::rainflow::UserLaw;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::thermal::column::Plate;
use joulestep_models::arrangement::Arrangement;
use joulestep_models::model::{Entry, Values};
use joulestep_models::package::Package;
use joulestep_models::part::{Die, Part, Ratings, Spread};

use crate::diagnostic::{Sources, Span};
use crate::input::keys::fields::{Named, Signal, Typed};
use crate::judge::Bounded;

pub use super::sections::heat::{Boundary, Cells, Chain, HeatNode, Input, Link};
pub use super::sections::{Controller, Criterion, Drive, Event, Protection, Record, Task, Waiver, What};

/// A scenario.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// The files it was read from; their texts go into the result.
    pub sources: Sources,
    /// One line that names the case.
    pub title: String,
    /// A shipped arrangement.
    pub arrangement: Option<ArrangementSpec>,
    /// What is connected.
    pub components: Vec<ComponentSpec>,
    /// Gate drives.
    pub drives: Vec<Drive>,
    /// Protection.
    pub protections: Vec<Protection>,
    /// Controllers.
    pub controllers: Vec<Controller>,
    /// What happens when.
    pub events: Vec<Event>,
    /// The thermal network.
    pub thermal: ThermalSpec,
    /// Duration and steps.
    pub steps: StepsSpec,
    /// What is recorded.
    pub record: Record,
    /// What is judged.
    pub limits: Vec<LimitSpec>,
    /// Ratings and notes that do not count.
    pub waivers: Vec<Waiver>,
    /// What repeats in a circuit without an arrangement.
    pub cycle: Option<CycleSpec>,
    /// A mission.
    pub mission: Option<MissionSpec>,
}

impl Scenario {
    /// What repeats, in words, and its switching frequency, Hz; `None`: nothing does.
    pub fn repeating(&self) -> Option<(String, f64)> {
        let arranged = self
            .arrangement
            .as_ref()
            .map(|a| (format!("arrangement: {}", a.arrangement.kind), a.values.number("frequency")));
        arranged.or_else(|| Some(("circuit of the scenario".into(), self.cycle.as_ref()?.frequency)))
    }
}

/// A shipped arrangement with its values.
#[derive(Clone, Debug)]
pub struct ArrangementSpec {
    /// Its kind, and where it stands.
    pub kind: Named,
    /// Its line of the list.
    pub arrangement: &'static Arrangement,
    /// Parameters, SI units.
    pub values: Values,
    /// Parts by place; the one under "" serves where none is named.
    pub parts: BTreeMap<String, Part>,
    /// Where parameters stand, for what only shows when it is built.
    pub places: BTreeMap<String, Span>,
}

/// A component.
#[derive(Clone, Debug)]
pub struct ComponentSpec {
    /// Its name, and where it stands.
    pub name: Named,
    /// Its line of the catalogue.
    pub entry: &'static Entry,
    /// Nodes in the order of the pins.
    pub nodes: Vec<Named>,
    /// Parameters, SI units.
    pub values: Values,
    /// Heat inputs: die (`None`: the only one) and thermal input.
    pub heat: Vec<(Option<Named>, Named)>,
    /// Largest current that its part's curves cover, A; infinite where there are none.
    pub known_current: f64,
    /// Ratings of its part.
    pub ratings: Ratings,
    /// Dies as its part describes them.
    pub dies: Vec<Die>,
    /// How the parameters spread that its part gives.
    pub spread: Spread,
}

/// The thermal network.
#[derive(Clone, Debug, Default)]
pub struct ThermalSpec {
    /// Packages.
    pub packages: Vec<HeatPackageSpec>,
    /// Fixed temperatures.
    pub boundaries: Vec<Boundary>,
    /// Chains.
    pub chains: Vec<Chain>,
    /// Nodes.
    pub nodes: Vec<HeatNode>,
    /// Resistances between two nodes.
    pub links: Vec<Link>,
    /// Heat inputs.
    pub inputs: Vec<Input>,
    /// Dies whose properties follow their temperature, by the name of their chain.
    pub plates: Vec<(String, Plate)>,
}

/// A package.
#[derive(Clone, Debug)]
pub struct HeatPackageSpec {
    /// Its name.
    pub name: Named,
    /// What it is.
    pub package: Package,
    /// Names of its heat inputs, in the order of the package's dies.
    pub inputs: Vec<String>,
    /// Temperature of all its boundaries, °C.
    pub temperature: Option<f64>,
}

/// Duration and steps.
#[derive(Clone, Debug)]
pub struct StepsSpec {
    /// Simulated time, s.
    pub end: f64,
    /// Step lengths.
    pub lengths: Steps,
    /// Local errors above which steps become finer.
    pub bounds: Bounds,
    /// Name of the method; without it the circuit decides.
    pub method: Option<String>,
    /// How far the temperature of a device may lag behind that of the thermal network, K.
    pub heat_error: f64,
    /// Longest time between exchanges of heat and temperature, s.
    pub coupling: f64,
    /// Whether the initial state is the operating point; else what components state, zero elsewhere.
    pub operating_point: bool,
}

/// What repeats in a circuit without an arrangement.
#[derive(Clone, Debug)]
pub struct CycleSpec {
    /// Components whose energy goes in.
    pub source: Vec<String>,
    /// Components that take the useful energy.
    pub load: Vec<String>,
    /// Time after which the control repeats, s.
    pub period: f64,
    /// The highest switching frequency in it, Hz.
    pub frequency: f64,
}

/// A mission.
#[derive(Clone, Debug)]
pub struct MissionSpec {
    /// Length of a round, s.
    pub length: f64,
    /// Rounds.
    pub rounds: u32,
    /// Whether temperatures begin steady under the first load, else without heat.
    pub steady: bool,
    /// What changes.
    pub segments: Vec<SegmentSpec>,
    /// The user's law of cycles to failure.
    pub damage: Option<UserLaw>,
    /// What makes a lifetime of damage.
    pub lifetime: Option<LifetimeSpec>,
}

/// How often a mission takes place, how lifetimes scatter, and what is required.
#[derive(Clone, Copy, Debug)]
pub struct LifetimeSpec {
    /// Missions a second.
    pub rate: f64,
    /// How lifetimes scatter about the law; `None`: they do not.
    pub scatter: Option<Scatter>,
    /// Share that may have failed at the end of the lifetime.
    pub allowed: f64,
    /// The lifetime that is required, s.
    pub required: Option<f64>,
}

/// What a segment is of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SegmentOf {
    /// A parameter of the arrangement.
    Parameter(&'static str),
    /// A parameter of a component, by the component's number in the scenario; `COMPONENT.PARAMETER`.
    OfComponent(usize, &'static str, String),
    /// A boundary of the thermal network.
    Boundary(String),
}

impl SegmentOf {
    /// Its name.
    pub fn name(&self) -> &str {
        match self {
            Self::Parameter(key) => key,
            Self::OfComponent(_, _, name) | Self::Boundary(name) => name,
        }
    }
}

/// A segment.
#[derive(Clone, Debug)]
pub struct SegmentSpec {
    /// What it is of.
    pub of: SegmentOf,
    /// Unit symbol.
    pub unit: &'static str,
    /// Time (s) and value, straight lines between; a step is two points of one time.
    pub points: Vec<(f64, f64)>,
}

/// A limit as it is typed.
#[derive(Clone, Debug)]
pub struct LimitSpec {
    /// Name in the verdict; empty where none is given.
    pub name: String,
    /// Where it stands.
    pub span: Span,
    /// What is bounded.
    pub of: Bounded,
    /// The protection or component, where it speaks of one.
    pub subject: Option<Named>,
    /// The signal, where it speaks of one.
    pub signal: Option<Signal>,
    /// The level of a time above it.
    pub level: Option<Typed>,
    /// Interval, s; infinite where the run ends it.
    pub interval: (f64, f64),
    /// Lower bound.
    pub min: Option<Stated>,
    /// Upper bound.
    pub max: Option<Stated>,
}

/// A bound.
#[derive(Clone, Debug)]
pub enum Stated {
    /// In the unit of the signal.
    OfSignal(Typed),
    /// In the unit of what is bounded.
    Number(f64),
}
