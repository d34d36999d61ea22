//! The scenario as resolved: names distinguished, quantities in SI units (temperatures in °C), every default filled in.

mod judged;
mod measured;
mod mission;

use std::collections::BTreeMap;

use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;
use joulestep_models::arrangement::Arrangement;
use joulestep_models::model::{Entry, Values};
use joulestep_models::package::Package;
use joulestep_models::part::{Die, Part, Spread};

use crate::diagnostic::{Sources, Span};
use crate::input::keys::fields::Named;

pub use judged::{LimitSpec, Stated, WaiverSpec};
pub use measured::{ChannelSpec, MeasuredSpec};
pub use mission::{LifetimeSpec, MissionSpec, SegmentOf, SegmentSpec};

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
    pub drives: Vec<DriveSpec>,
    /// Protection.
    pub protections: Vec<ProtectionSpec>,
    /// Controllers.
    pub controllers: Vec<ControllerSpec>,
    /// What happens when.
    pub events: Vec<EventSpec>,
    /// The thermal network.
    pub thermal: ThermalSpec,
    /// Duration and steps.
    pub steps: StepsSpec,
    /// What is recorded.
    pub record: RecordSpec,
    /// What was measured.
    pub measured: Vec<MeasuredSpec>,
    /// What is judged.
    pub limits: Vec<LimitSpec>,
    /// Ratings and notes that do not count.
    pub waivers: Vec<WaiverSpec>,
    /// A mission.
    pub mission: Option<MissionSpec>,
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
    /// Largest current that its part's leads carry, A; infinite where the part states none.
    pub lead_current: f64,
    /// Dies as its part describes them.
    pub dies: Vec<Die>,
    /// How the parameters spread that its part gives.
    pub spread: Spread,
}

/// A quantity whose unit is that of a signal, as typed.
#[derive(Clone, Debug)]
pub struct Typed {
    /// A string, or a bare number.
    pub text: Result<String, f64>,
    /// Where it stands.
    pub span: Span,
    /// The key as diagnostics call it.
    pub key: String,
}

/// A signal's name as typed.
#[derive(Clone, Debug)]
pub struct Signal {
    /// The text.
    pub text: String,
    /// Where it stands.
    pub span: Span,
    /// The key as diagnostics call it.
    pub key: String,
}

/// A gate drive.
#[derive(Clone, Debug)]
pub struct DriveSpec {
    /// Its name.
    pub name: Named,
    /// Node that it drives.
    pub gate: Named,
    /// Node against which it drives.
    pub reference: Named,
    /// Line that turns it on and off.
    pub command: Named,
    /// Lines, any of which turns off.
    pub inhibit: Vec<Named>,
    /// V.
    pub on: f64,
    /// V.
    pub off: f64,
    /// Ω.
    pub on_resistance: f64,
    /// Ω.
    pub off_resistance: f64,
    /// Ω.
    pub soft_resistance: f64,
    /// s.
    pub on_delay: f64,
    /// s.
    pub off_delay: f64,
    /// Gate and return of a second switch, on while the first is off.
    pub complement: Option<(Named, Named)>,
    /// What turn-on waits when there are two gates, s.
    pub dead_time: f64,
    /// Duration of an edge, s.
    pub edge: f64,
    /// Whether it is on at the start.
    pub starts_on: bool,
}

/// Protection.
#[derive(Clone, Debug)]
pub struct ProtectionSpec {
    /// Its name.
    pub name: Named,
    /// What it watches.
    pub watches: Signal,
    /// When it trips.
    pub criterion: CriterionSpec,
    /// Line that it sets.
    pub trip: Named,
    /// s.
    pub delay: f64,
    /// Tries after a trip.
    pub retries: u32,
    /// s.
    pub retry_after: f64,
    /// s; infinite for never.
    pub healthy_after: f64,
    /// Line that ends a latched trip.
    pub reset: Option<Named>,
}

/// When a protection trips.
#[derive(Clone, Debug)]
pub enum CriterionSpec {
    /// Beyond a threshold for a time.
    Level {
        /// The threshold.
        threshold: Typed,
        /// "above", "below" or "magnitude".
        sense: String,
        /// s.
        filter: f64,
        /// Time (s) after turn-on of a drive; looks only while that is on.
        blanking: Option<(Named, f64, bool)>,
    },
    /// ∫ (i² − rated²) dt above pick-up reaches a limit.
    InverseTime {
        /// A.
        pick_up: f64,
        /// A.
        rated: f64,
        /// A²s.
        limit: f64,
        /// Time constant below pick-up, s.
        cooling: f64,
    },
}

/// A controller.
#[derive(Clone, Debug)]
pub struct ControllerSpec {
    /// Its name.
    pub name: Named,
    /// Line that lets it work; `None`: works from the start.
    pub run: Option<Named>,
    /// Line that it switches.
    pub output: Named,
    /// Of its kind.
    pub task: Task,
}

/// What a controller does.
#[derive(Clone, Debug)]
#[expect(clippy::large_enum_variant, reason = "a scenario has a handful of controllers")]
pub enum Task {
    /// Keeps a signal between two bounds.
    Hysteretic {
        /// The signal.
        watches: Signal,
        /// Turns on below.
        lower: Typed,
        /// Turns off above.
        upper: Typed,
        /// s.
        shortest_on: f64,
        /// s.
        shortest_off: f64,
        /// s from a crossing to the change.
        delay: f64,
        /// The task ends when the signal has reached the value; the output then stays on.
        done: Option<(Signal, Typed)>,
    },
    /// Fixed frequency and duty.
    Pwm {
        /// Hz.
        frequency: f64,
        /// On time over period.
        duty: f64,
        /// s in which the duty rises.
        ramp: f64,
        /// Where its pulses begin, as a share of the period.
        phase: f64,
        /// Line that is on while the output is off, and how long both are off at each change, s.
        complement: Option<(Named, f64)>,
    },
}

/// An event.
#[derive(Clone, Debug)]
pub struct EventSpec {
    /// s.
    pub at: f64,
    /// What.
    pub what: What,
    /// Words for the account.
    pub note: String,
    /// Whether a fault begins here (true), or ends.
    pub fault: Option<bool>,
}

/// What happens.
#[derive(Clone, Debug)]
pub enum What {
    /// A line takes a state.
    Line(Named, bool),
    /// A switch closes (true) or opens.
    Switch(Named, bool),
    /// Nothing but a line in the account.
    Note,
}

/// The thermal network.
#[derive(Clone, Debug, Default)]
pub struct ThermalSpec {
    /// Packages.
    pub packages: Vec<HeatPackageSpec>,
    /// Fixed temperatures, °C.
    pub boundaries: Vec<(Named, f64)>,
    /// Chains.
    pub chains: Vec<ChainSpec>,
    /// Nodes and their heat capacitance, J/K.
    pub nodes: Vec<(Named, f64)>,
    /// Resistances between two nodes, K/W.
    pub links: Vec<(Named, Named, f64)>,
    /// Heat inputs and their nodes.
    pub inputs: Vec<(Named, Named)>,
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

/// A chain of cells or terms.
#[derive(Clone, Debug)]
pub struct ChainSpec {
    /// Its name, that of its heat input and first node.
    pub name: Named,
    /// Node or boundary where it ends.
    pub end: Named,
    /// Whether it has a heat input.
    pub heated: bool,
    /// Cells.
    pub cells: Cells,
}

/// Cells of a chain.
#[derive(Clone, Debug)]
pub enum Cells {
    /// (J/K, K/W) from the heated end outwards.
    Cauer(Vec<(f64, f64)>),
    /// (K/W, s).
    Foster(Vec<(f64, f64)>),
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

/// What is recorded.
#[derive(Clone, Debug, Default)]
pub struct RecordSpec {
    /// Signals.
    pub signals: Vec<Signal>,
    /// Shortest time between samples, s; 0: every step.
    pub interval: f64,
}
