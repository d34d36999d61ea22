//! Records on the signals of the circuit.

use joulestep_engine::circuit::probe::Channel;
use joulestep_engine::control::board::Board;
use joulestep_engine::units::{parse_unit, people};

use super::Build;

/// A measured channel beside the signal that the run records.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Name of its record.
    pub record: String,
    /// Name of the signal.
    pub signal: String,
    /// Unit symbol of both.
    pub unit: &'static str,
    /// The signal's number among the channels of the setup.
    pub channel: usize,
    /// Instants of the run, rising, s.
    pub times: Vec<f64>,
    /// What was measured there.
    pub values: Vec<f64>,
    /// Standard deviation of its noise, where it is stated.
    pub noise: Option<f64>,
}

impl Build<'_> {
    /// Every channel of the scenario's records; their signals are recorded too.
    pub(super) fn measured(&mut self, channels: &mut Vec<Channel>, board: &mut Board<f64>) -> Vec<Measured> {
        let scenario = self.scenario;
        let mut all = Vec::new();
        for record in &scenario.measured {
            for spec in &record.channels {
                let Some(found) = self.signal(&spec.signal, board) else { continue };
                let unit = found.probe.unit();
                let mut factor = 1.0;
                if let Some((typed, key)) = &spec.unit {
                    let wanted = parse_unit(unit).ok();
                    match parse_unit(&typed.name) {
                        Ok(u) if wanted.is_some_and(|w| w.dimension == u.dimension) => {
                            factor = u.factor * 10f64.powi(u.ten);
                        }
                        _ => {
                            let what = format!("`{}` as the unit of `{}`", typed.name, found.name);
                            self.report(&typed.span, key, what, format!("a unit such as \"{unit}\""));
                            continue;
                        }
                    }
                }
                let offset = spec.offset.as_ref().map_or(Some(0.0), |typed| self.measure(typed, unit));
                let noise = spec.noise.as_ref().and_then(|typed| self.measure(typed, unit));
                if let (Some(typed), Some(x)) = (&spec.noise, noise)
                    && x <= 0.0
                {
                    let expected = format!("a value above zero such as \"0.1 {unit}\"");
                    self.report(&typed.span, &typed.key, people(x, unit), expected);
                }
                self.is_sampled(&record.name.name, spec);
                let channel = channels.iter().position(|c| c.name == found.name).unwrap_or(channels.len());
                if channel == channels.len() {
                    let (name, long_name) = (found.name.clone(), found.long_name);
                    channels.push(Channel { name, long_name, probe: found.probe });
                }
                let values = spec.values.iter().map(|x| factor * x + offset.unwrap_or(0.0));
                all.push(Measured {
                    record: record.name.name.clone(),
                    signal: found.name,
                    unit,
                    channel,
                    times: spec.times.clone(),
                    values: values.collect(),
                    noise,
                });
            }
        }
        all
    }

    /// Refuses an interval of recording that leaves out what was measured.
    fn is_sampled(&mut self, record: &str, spec: &crate::input::scenario::resolved::ChannelSpec) {
        let interval = self.scenario.record.interval;
        let (Some(first), Some(last)) = (spec.times.first(), spec.times.last()) else { return };
        let apart = (last - first) / spec.times.len() as f64;
        if interval > apart && interval > 0.0 {
            let found = format!(
                "signals are recorded every {}, and `{record}` has samples every {}",
                people(interval, "s"),
                people(apart, "s")
            );
            let expected = "no `interval` under [record], or one no longer than that of the samples";
            self.report(&spec.signal.span, &spec.signal.key, found, expected);
        }
    }
}
