//! What was measured.

use crate::input::keys::fields::{Named, Signal, Typed};

/// A record.
#[derive(Clone, Debug)]
pub struct MeasuredSpec {
    /// Its name.
    pub name: Named,
    /// Its channels.
    pub channels: Vec<ChannelSpec>,
}

/// A channel of a record.
#[derive(Clone, Debug)]
pub struct ChannelSpec {
    /// What it is compared with.
    pub signal: Signal,
    /// Unit of its column and the key as diagnostics call it; `None`: what fits the signal.
    pub unit: Option<(Named, String)>,
    /// Factor on its values.
    pub scale: Option<Typed>,
    /// What is added to its values.
    pub offset: Option<Typed>,
    /// Standard deviation of its noise.
    pub noise: Option<Typed>,
    /// Instants of the run, s.
    pub times: Vec<f64>,
    /// Values there, as the file has them.
    pub values: Vec<f64>,
}
