//! The energy of every turn-on and turn-off of a run, by the limits of IEC 60747-8 ([`measure::switching`]).
//!
//! From an edge of its drive to the next, a device's voltage, current and work are kept, the first [`MOST`] steps of
//! them; then the energy is taken and the samples are forgotten: memory does not grow with the run. What 100 % is
//! follows from the values at the edge. In a leg, V is the voltage over both devices and I the current that leaves
//! their common node. Without a partner, V is what the device blocks at the edge (turn-off: at the end of the stretch)
//! and I what it carries there (turn-on: at the end).
//!
//! [`measure::switching`]: crate::measure::switching

use crate::circuit::probe::Probe;
use crate::equations::system::System;
use crate::measure::MeasureError;
use crate::measure::signal::Signal;
use crate::measure::switching::{Levels, Waveforms, energy};
use crate::readout::Readout;
use crate::recorder::{Event, EventKind, Switching};
use crate::units::people;

/// Most steps that are kept of a stretch.
pub const MOST: usize = 20_000;
/// Share of V and I from which a device switches voltage and current: the lower limit of the definition.
const LEAST: f64 = 0.1;
/// Share of the peak after a turn-on below which the current at the edge is none.
const NOTHING: f64 = 1e-3;

/// A device whose switching energies are measured.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchMeter {
    /// Its name.
    pub device: String,
    /// Subject of the edges of its drive.
    pub drive: String,
    /// Voltage of its high side against its low side, V.
    pub voltage: Probe,
    /// Current into its high side without displacement, A.
    pub current: Probe,
    /// Charge of its high side, whose change is the displacement, C.
    pub charge: Probe,
    /// ∫ v·i dt of the two, J.
    pub work: Probe,
    /// Voltage and current of the other device of its leg, counted alike.
    pub partner: Option<(Probe, Probe)>,
}

impl SwitchMeter {
    /// Voltage, current, work, charge; then voltage and current of the partner.
    fn probes(&self) -> impl Iterator<Item = &Probe> {
        let partner = self.partner.iter().flat_map(|(v, i)| [v, i]);
        [&self.voltage, &self.current, &self.work, &self.charge].into_iter().chain(partner)
    }
}

#[derive(Clone, Debug)]
struct Device {
    meter: SwitchMeter,
    /// Voltage, current, work, charge; then voltage and current of the partner.
    now: Vec<f64>,
    window: Option<Window>,
}

/// From an edge to the next.
#[derive(Clone, Debug)]
struct Window {
    turns_on: bool,
    edge: f64,
    /// Values at the edge.
    at_edge: Vec<f64>,
    time: Vec<f64>,
    /// Voltage, current, work, charge.
    columns: [Vec<f64>; 4],
}

/// All devices of a run.
#[derive(Clone, Debug)]
pub(super) struct Switches {
    all: Vec<Device>,
    found: Vec<(Switching, (f64, f64))>,
}

impl Switches {
    pub(super) fn new(meters: Vec<SwitchMeter>) -> Self {
        let device =
            |meter: SwitchMeter| Device { now: vec![0.0; meter.probes().count()], window: None, meter };
        Self { all: meters.into_iter().map(device).collect(), found: Vec::new() }
    }

    /// What is read at the ends of steps.
    pub(super) fn readouts(&self, system: &System<f64>, out: &mut Vec<Readout<f64>>) {
        out.extend(self.all.iter().flat_map(|d| d.meter.probes()).map(|p| Readout::new(p, system)));
    }

    /// Looks at the end of a step at t, s; after a jump once more at the same instant. `values`: of all readouts.
    pub(super) fn look(&mut self, t: f64, mut values: &[f64]) {
        for device in &mut self.all {
            let (own, rest) = values.split_at(device.now.len());
            device.now.copy_from_slice(own);
            values = rest;
            if let Some(window) = &mut device.window {
                window.push(t, &device.now);
            }
        }
    }

    /// Takes an event of the step: an edge of a drive ends a stretch and begins the next.
    pub(super) fn event(&mut self, event: &Event) {
        if event.kind != EventKind::Edge {
            return;
        }
        for device in self.all.iter_mut().filter(|d| d.meter.drive == event.subject) {
            self.found.extend(device.end(event.time));
            let mut window = Window {
                turns_on: !event.action.is_off(),
                edge: event.time,
                at_edge: device.now.clone(),
                time: Vec::new(),
                columns: Default::default(),
            };
            window.push(event.time, &device.now);
            device.window = Some(window);
        }
    }

    /// The run ends at t, s.
    pub(super) fn finish(&mut self, t: f64) {
        let ended = self.all.iter_mut().filter_map(|d| d.end(t));
        self.found.extend(ended);
    }

    /// What was found since the last call, each with the instants between which the energy was taken, s.
    pub(super) fn take(&mut self) -> Vec<(Switching, (f64, f64))> {
        std::mem::take(&mut self.found)
    }
}

impl Window {
    fn push(&mut self, t: f64, now: &[f64]) {
        if self.time.len() < MOST {
            // What follows a jump at the same instant is reported at the next number.
            let last = self.time.last().copied().unwrap_or(f64::NEG_INFINITY);
            self.time.push(if t > last { t } else { last.next_up() });
            for (column, value) in self.columns.iter_mut().zip(now) {
                column.push(*value);
            }
        }
    }

    /// V and I of 100 %, V and A.
    fn levels(&self) -> (f64, f64) {
        let last = |column: &[f64]| column.last().copied().unwrap_or(f64::NAN);
        match self.at_edge[..] {
            [v, i, _, _, other, counter] => ((v + other).abs(), (i - counter).abs()),
            [v, ..] if self.turns_on => (v, last(&self.columns[1])),
            [_, i, ..] => (last(&self.columns[0]), i),
            _ => (f64::NAN, f64::NAN),
        }
    }

    /// Current and work at the terminals: with the displacement, whose current is the slope of the charge (of the
    /// parabola through three samples) and whose work is the mean voltage times the charge of each step.
    fn at_terminals(&self) -> (Vec<f64>, Vec<f64>) {
        let [voltage, current, work, charge] = &self.columns;
        let n = self.time.len();
        let mut moved = 0.0;
        let (mut total, mut sum) = (Vec::with_capacity(n), Vec::with_capacity(n));
        let slope = |k: usize| {
            let h = self.time[k] - self.time[k - 1];
            // Instants of a jump lie a rounding error apart: what goes at once is no current.
            let moves = h > 8.0 * f64::EPSILON * self.time[k].abs();
            moves.then(|| ((charge[k] - charge[k - 1]) / h, h))
        };
        for k in 0..n {
            if k > 0 {
                moved += 0.5 * (voltage[k] + voltage[k - 1]) * (charge[k] - charge[k - 1]);
            }
            let before = if k > 0 { slope(k) } else { None };
            let after = if k + 1 < n { slope(k + 1) } else { None };
            let displacement = match (before, after) {
                (Some((a, h)), Some((b, g))) => (a * g + b * h) / (h + g),
                (Some((a, _)), None) | (None, Some((a, _))) => a,
                (None, None) => 0.0,
            };
            total.push(current[k] + displacement);
            sum.push(work[k] + moved);
        }
        (total, sum)
    }

    /// The energy with its limits, or why there is none.
    fn energy(&self, volts: f64, amperes: f64, until: f64) -> Result<(f64, (f64, f64)), String> {
        let (v, i) = (self.at_edge[0], self.at_edge[1]);
        let of = |x: f64, all: f64, unit: &str| format!("{} of {}", people(x, unit), people(all, unit));
        if !(volts > 0.0 && amperes > 0.0) {
            return Err(format!("nothing is switched: {}, {}", people(volts, "V"), people(amperes, "A")));
        }
        if self.turns_on && v < LEAST * volts {
            return Err(format!("turned on without voltage: {} at the edge", of(v, volts, "V")));
        }
        if !self.turns_on && i < LEAST * amperes {
            return Err(format!("turned off without forward current: {} at the edge", of(i, amperes, "A")));
        }
        let cut = self.time.len() == MOST;
        let until = if cut { until.min(self.time[MOST - 1]) } else { until };
        let (total, all_work) = self.at_terminals();
        // A load that carries nothing yet: what flows then charges something.
        let peak = total.iter().fold(0.0f64, |most, x| most.max(x.abs()));
        if self.turns_on && amperes < NOTHING * peak {
            let after = people(peak, "A");
            return Err(format!(
                "turned on without current: {} at the edge, {after} at the peak",
                people(amperes, "A")
            ));
        }
        let signal = |column| Signal::new(&self.time, column);
        let (voltage, current, work) = (signal(&self.columns[0]), signal(&total), signal(&all_work));
        let taken = |error: MeasureError| match (&error, cut) {
            (MeasureError::Samples(_), _) => "the stretch is over before a step was made".to_string(),
            (_, true) => format!("{error} (the first {MOST} steps after the edge)"),
            _ => error.to_string(),
        };
        let (voltage, current) = (voltage.map_err(taken)?, current.map_err(taken)?);
        let w = Waveforms { gate: voltage, voltage, current, work: Some(work.map_err(taken)?) };
        let levels = Levels { voltage: volts, current: amperes, gate_off: 0.0, gate_on: 1.0 };
        energy(&w, self.turns_on, levels, self.edge, until).map_err(taken)
    }
}

impl Device {
    /// Ends the stretch at an instant, s.
    fn end(&mut self, t: f64) -> Option<(Switching, (f64, f64))> {
        let window = self.window.take()?;
        let (voltage, current) = window.levels();
        let found = window.energy(voltage, current, t);
        let (energy, limits, reason) = match found {
            Ok((energy, limits)) => (energy, limits, String::new()),
            Err(reason) => (f64::NAN, (window.edge, t), reason),
        };
        let (device, turns_on, edge) = (self.meter.device.clone(), window.turns_on, window.edge);
        Some((Switching { device, turns_on, edge, voltage, current, energy, reason }, limits))
    }
}
