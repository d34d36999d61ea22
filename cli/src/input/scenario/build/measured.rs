//! Records on the signals of the circuit.

use joulestep_engine::circuit::probe::Channel;
use joulestep_engine::control::board::Board;
use joulestep_engine::units::{Dimension, parse_unit, people};

use super::Build;
use crate::diagnostic::Diagnostic;
use crate::input::scenario::resolved::ChannelSpec;

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
                let Some(factor) = self.factor(spec, &found.name, unit) else { continue };
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

    /// What makes the signal's unit of the numbers of a column: its own unit times the scale.
    fn factor(&mut self, spec: &ChannelSpec, signal: &str, unit: &str) -> Option<f64> {
        let wanted = parse_unit(unit).ok()?.dimension;
        let (mut scale, mut of_scale) = (1.0, Dimension::default());
        if let Some(typed) = &spec.scale {
            match typed.own() {
                Ok(quantity) => (scale, of_scale) = (quantity.value, quantity.dimension),
                Err(error) => {
                    let d = Diagnostic::new(
                        &typed.span,
                        &typed.key,
                        error.to_string(),
                        "a factor such as 100 or \"20 A/V\"",
                    );
                    self.diagnostics.push(d.suggest(error.suggestion().map(str::to_string)));
                    return None;
                }
            }
        }
        let Some((named, key)) = &spec.unit else { return Some(scale) };
        let Ok(own) = parse_unit(&named.name) else {
            let found = format!("`{}` is no unit", named.name);
            self.report(&named.span, key, found, format!("a unit such as \"{unit}\""));
            return None;
        };
        let mut product = own.dimension;
        product
            .exponents
            .iter_mut()
            .zip(of_scale.exponents)
            .for_each(|(e, more)| *e = e.saturating_add(more));
        if product == wanted {
            return Some(scale * own.factor * 10f64.powi(own.ten));
        }
        let found = match &spec.scale {
            None => format!("a column in {} for `{signal}`, which is in {unit}", named.name),
            Some(_) => format!("a column in {} times `scale` is no {unit}, as `{signal}` is", named.name),
        };
        let expected = match of_scale == Dimension::default() {
            false if own.dimension == wanted => "a plain number such as 100".to_string(),
            true => format!("a column in {unit}, or a `scale` such as \"20 {unit}/{}\"", named.name),
            false => format!("a `scale` in {unit}/{}", named.name),
        };
        let (span, key) = spec.scale.as_ref().map_or((&named.span, key), |typed| (&typed.span, &typed.key));
        self.report(span, key, found, expected);
        None
    }

    /// Refuses an interval of recording that leaves out what was measured.
    fn is_sampled(&mut self, record: &str, spec: &ChannelSpec) {
        let interval = self.scenario.record.interval;
        let (Some(first), Some(last)) = (spec.times.first(), spec.times.last()) else { return };
        let apart = (last - first) / (spec.times.len() - 1).max(1) as f64;
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
