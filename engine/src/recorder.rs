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

/// Something that happened at an instant.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// s.
    pub time: f64,
    /// What.
    pub kind: EventKind,
    /// To which component, protection or drive.
    pub subject: String,
    /// In words.
    pub note: String,
    /// The value that goes with it (the current at a trip), NaN where none does.
    pub value: f64,
    /// Its unit symbol.
    pub unit: &'static str,
}

/// A row of the account over one coupling interval, or from one edge of a drive to its next.
#[derive(Clone, Debug, PartialEq)]
pub struct Row<L> {
    /// "interval" or "edge".
    pub kind: &'static str,
    /// The drive whose edge begins the row; empty for an interval.
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
