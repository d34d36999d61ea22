//! What a run tells the outside, through one trait with empty defaults.

use crate::arithmetic::lane::Lane;

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum EventKind {
    /// A drive begins to move its gate.
    Edge,
    /// A protection trips.
    Trip,
    /// The current of a fault that tripped a protection is gone.
    Cleared,
    /// A protection allows another try.
    Retry,
    /// A protection allows no further try.
    LockOut,
    /// A clamp (varistor) begins to conduct.
    Clamp,
    /// A die enters avalanche.
    Avalanche,
    /// A watched quantity crosses a limit that the user set.
    Limit,
    /// An event of the scenario's sequence.
    Scheduled,
    /// A controller starts or ends its task.
    Control,
    /// A quantity leaves the range for which a law is known.
    OutOfRange,
}

impl EventKind {
    /// The word written in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Edge => "edge",
            Self::Trip => "trip",
            Self::Cleared => "cleared",
            Self::Retry => "retry",
            Self::LockOut => "lock-out",
            Self::Clamp => "clamp",
            Self::Avalanche => "avalanche",
            Self::Limit => "limit",
            Self::Scheduled => "event",
            Self::Control => "control",
            Self::OutOfRange => "out of range",
        }
    }
}

/// What exactly happened, of the kinds that come in several ways.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Action {
    /// The kind says all.
    #[default]
    None,
    /// A gate is driven on.
    TurnsOn,
    /// A gate is driven off.
    TurnsOff,
    /// A gate is driven off through the resistance for faults.
    TurnsOffSoftly,
    /// A quantity goes above its upper bound.
    Rises,
    /// A quantity goes below its lower bound.
    Falls,
    /// A controller begins its task.
    Starts,
    /// A controller is taken from its task.
    Stops,
    /// A controller has done its task.
    Finishes,
    /// A latched trip ends.
    IsReset,
}

impl Action {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::None,
        Self::TurnsOn,
        Self::TurnsOff,
        Self::TurnsOffSoftly,
        Self::Rises,
        Self::Falls,
        Self::Starts,
        Self::Stops,
        Self::Finishes,
        Self::IsReset,
    ];

    /// The words written in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::None => "",
            Self::TurnsOn => "turns on",
            Self::TurnsOff => "turns off",
            Self::TurnsOffSoftly => "turns off softly",
            Self::Rises => "rises",
            Self::Falls => "falls",
            Self::Starts => "starts",
            Self::Stops => "stops",
            Self::Finishes => "finishes",
            Self::IsReset => "is reset",
        }
    }

    /// By its words; those that are not known say nothing.
    pub fn of_word(word: &str) -> Self {
        Self::ALL.into_iter().find(|a| a.word() == word).unwrap_or_default()
    }

    /// Whether a gate is driven off.
    pub fn is_off(self) -> bool {
        matches!(self, Self::TurnsOff | Self::TurnsOffSoftly)
    }
}

/// Something that happened at an instant. Whatever is computed with stands in fields; `note` is for people alone.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// s.
    pub time: f64,
    /// What.
    pub kind: EventKind,
    /// What exactly.
    pub action: Action,
    /// To which component, protection or drive.
    pub subject: String,
    /// In words.
    pub note: String,
    /// The value that goes with it (the current at a trip), NaN where none does.
    pub value: f64,
    /// Its unit symbol.
    pub unit: &'static str,
    /// The level that was crossed, or from which a fault's current counts, in the quantity's own unit (A for a current);
    /// NaN where none was.
    pub level: f64,
    /// Since when what has ended lasted (a fault that is cleared), s; NaN where nothing has.
    pub since: f64,
    /// Largest current of a fault that is cleared, A; NaN elsewhere.
    pub peak: f64,
}

impl Event {
    /// An event without numbers or words; `time` in s.
    pub fn new(time: f64, kind: EventKind, subject: &str) -> Self {
        Self {
            time,
            kind,
            action: Action::None,
            subject: subject.to_string(),
            note: String::new(),
            value: f64::NAN,
            unit: "",
            level: f64::NAN,
            since: f64::NAN,
            peak: f64::NAN,
        }
    }
}

/// A turn-on or turn-off of a device.
#[derive(Clone, Debug, PartialEq)]
pub struct Switching {
    /// The device.
    pub device: String,
    /// Whether it turns on; else off.
    pub turns_on: bool,
    /// When its drive begins to move the gate, s.
    pub edge: f64,
    /// Voltage that is switched, what 100 % is, V.
    pub voltage: f64,
    /// Current that is switched, A.
    pub current: f64,
    /// E_on or E_off, J; NaN where the limits of the definition are not reached.
    pub energy: f64,
    /// Why they are not; empty where they are.
    pub reason: String,
}

impl Switching {
    /// The kind of its row.
    pub fn kind(&self) -> &'static str {
        if self.turns_on { "turn-on" } else { "turn-off" }
    }
}

/// A row of the account over one coupling interval, from one edge of a drive to its next, or between the limits of a
/// switching energy.
#[derive(Clone, Debug, PartialEq)]
pub struct Row<L> {
    /// "interval", "edge", "turn-on" or "turn-off".
    pub kind: &'static str,
    /// The drive whose edge begins the row, or the device that switches; empty for an interval.
    pub subject: String,
    /// Start, s.
    pub begin: f64,
    /// End, s.
    pub end: f64,
    /// Heat of each heat input over the row, J.
    pub heat: Vec<L>,
    /// Peak of each watched voltage and current over the row, in the order of the layout's `watched`.
    pub peaks: Vec<L>,
    /// Temperature of each heat input at the end, °C.
    pub temperature: Vec<L>,
    /// Of a turn-on or turn-off what was measured; its heat and peaks are NaN.
    pub switching: Option<Switching>,
}

/// Name and unit of a column.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Short name, a file's dataset name.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// Unit symbol.
    pub unit: String,
}

/// What will come, told before the first sample.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Layout {
    /// Columns of the samples.
    pub channels: Vec<Column>,
    /// Columns of the temperatures.
    pub thermal: Vec<Column>,
    /// Columns of a row's `heat` and `temperature` (the heat inputs).
    pub heat: Vec<Column>,
    /// Columns of a row's `peaks`.
    pub watched: Vec<Column>,
}

/// Receives what a run produces, as it is produced. A recorder that meets an error of its own keeps it and answers
/// `false` to [`Recorder::go_on`].
pub trait Recorder<L: Lane> {
    /// Before the first sample.
    fn begin(&mut self, layout: &Layout) {
        let _ = layout;
    }
    /// One instant (s) and the values of all channels there. Instants rise: the values before a jump come with its
    /// instant, those after it with the next number ([`f64::next_up`]).
    fn sample(&mut self, t: f64, values: &[L]) {
        let _ = (t, values);
    }
    /// Temperatures (°C) of the network at the end of a coupling interval, t (s); these instants rise, too.
    fn thermal(&mut self, t: f64, celsius: &[L]) {
        let _ = (t, celsius);
    }
    /// Something happened.
    fn event(&mut self, event: &Event) {
        let _ = event;
    }
    /// A row of the account is complete.
    fn row(&mut self, row: &Row<L>) {
        let _ = row;
    }
    /// Asked now and then: whether the run should go on.
    fn go_on(&mut self, t: f64) -> bool {
        let _ = t;
        true
    }
}

/// Records nothing.
impl<L: Lane> Recorder<L> for () {}

/// Keeps everything in memory: for tests and small library programs.
#[derive(Clone, Debug, Default)]
pub struct InMemory<L> {
    /// What was reported at the beginning.
    pub layout: Layout,
    /// Instants of the samples, s.
    pub time: Vec<f64>,
    /// One vector per instant.
    pub samples: Vec<Vec<L>>,
    /// Instants of the temperatures, s.
    pub thermal_time: Vec<f64>,
    /// One vector per instant, °C.
    pub thermal: Vec<Vec<L>>,
    /// What happened.
    pub events: Vec<Event>,
    /// The account's rows.
    pub rows: Vec<Row<L>>,
}

impl<L: Lane> Recorder<L> for InMemory<L> {
    fn begin(&mut self, layout: &Layout) {
        self.layout = layout.clone();
    }
    fn sample(&mut self, t: f64, values: &[L]) {
        self.time.push(t);
        self.samples.push(values.to_vec());
    }
    fn thermal(&mut self, t: f64, celsius: &[L]) {
        self.thermal_time.push(t);
        self.thermal.push(celsius.to_vec());
    }
    fn event(&mut self, event: &Event) {
        self.events.push(event.clone());
    }
    fn row(&mut self, row: &Row<L>) {
        self.rows.push(row.clone());
    }
}

/// Keeps samples alone, in one piece of memory: for many.
#[derive(Clone, Debug, Default)]
pub struct Samples {
    /// Instants, s.
    pub time: Vec<f64>,
    width: usize,
    values: Vec<f64>,
}

impl Samples {
    /// The values of all channels at each instant.
    pub fn rows(&self) -> impl DoubleEndedIterator<Item = &[f64]> {
        self.values.chunks_exact(self.width.max(1))
    }

    /// The same, to be changed.
    pub fn rows_mut(&mut self) -> impl Iterator<Item = &mut [f64]> {
        self.values.chunks_exact_mut(self.width.max(1))
    }
}

impl Recorder<f64> for Samples {
    fn sample(&mut self, t: f64, values: &[f64]) {
        self.time.push(t);
        self.width = values.len();
        self.values.extend_from_slice(values);
    }
}
