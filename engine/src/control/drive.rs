//! Gate drives: levels, delays, edges, separate resistors for turn-on, turn-off and soft turn-off.
//!
//! A gate is driven by a source that ramps between two levels behind a resistor that is chosen with the edge. The
//! gate follows `command and not inhibited` after a pure delay, and the order of edges is kept: an edge that would
//! come at or before one that was ordered earlier takes its place (so a pulse shorter than the difference of the
//! delays vanishes, and none is ever left behind).

use std::collections::VecDeque;

use super::board::Board;
use super::crossing::{Sense, Stretch};
use super::{Controller, Seen, duration, require};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{ChoiceId, Circuit, LineId, NodeId, WaveId};
use crate::circuit::probe::Probe;
use crate::circuit::wave::Wave;
use crate::error::{CircuitError, SolverError};
use crate::recorder::{Action, Event, EventKind};

/// Option of the gate resistor's choice for turn-on.
pub const ON: usize = 0;
/// Option for turn-off.
pub const OFF: usize = 1;
/// Option for the soft turn-off that an inhibit causes.
pub const SOFT: usize = 2;
/// Option while the Miller clamp is closed, where there is one.
pub const CLAMPED: usize = 3;

/// A Miller clamp: once the gate has fallen to a level after a turn-off, a small resistance holds it at its off level,
/// against the current of the gate-drain capacitance when the drain rises later.
#[derive(Clone, Debug)]
pub struct Clamp {
    /// Gate-source voltage at which it closes, V.
    pub below: f64,
    /// That voltage.
    pub probe: Probe,
}

/// A gate's source and resistor, and how they move.
#[derive(Clone, Debug)]
pub struct Gate<L> {
    /// Name in events.
    pub name: String,
    /// The driven course of the source.
    pub wave: WaveId,
    /// The resistor's choice among the conductances for [`ON`], [`OFF`], [`SOFT`].
    pub choice: ChoiceId,
    /// Level that turns on, V.
    pub on: L,
    /// Level that turns off, V.
    pub off: L,
    /// Duration of the ramp that turns on, s.
    pub rise: f64,
    /// Duration of the ramp that turns off, s.
    pub fall: f64,
    /// Whether the gate is on at the start.
    pub starts_on: bool,
    /// A line that tells the gate's state: it changes when an edge begins (protections blank after it).
    pub state: Option<LineId>,
    /// Its Miller clamp.
    pub clamp: Option<Clamp>,
}

/// What a gate driver's output is made of.
#[derive(Clone, Copy, Debug)]
pub struct Output<L> {
    /// Level that turns on, V.
    pub on: L,
    /// Level that turns off, V.
    pub off: L,
    /// Resistance while on, Ω.
    pub r_on: L,
    /// Resistance while off, Ω.
    pub r_off: L,
    /// Resistance after a turn-off that an inhibit caused, Ω.
    pub r_soft: L,
    /// Duration of the ramp that turns on, s.
    pub rise: f64,
    /// Duration of the ramp that turns off, s.
    pub fall: f64,
    /// Whether the gate is on at the start.
    pub starts_on: bool,
}

impl<L: Lane> Gate<L> {
    /// Adds a gate driver's output to the circuit: a voltage source `NAME.level` from the new node `NAME.level` to
    /// `reference`, and the resistor `NAME.resistor` from there to `gate`.
    ///
    /// # Errors
    /// When a resistance is not above zero, a ramp is not, or a name is taken.
    pub fn add(
        circuit: &mut Circuit<L>,
        name: &str,
        gate: NodeId,
        reference: NodeId,
        output: Output<L>,
    ) -> Result<Self, CircuitError> {
        for (what, r) in [("r_on", output.r_on), ("r_off", output.r_off), ("r_soft", output.r_soft)] {
            let good = L::all(r.gt(L::splat(0.0))) && r.is_finite();
            require(name, good, || format!("{what} is {} ohm, expected above zero", r.lane(0)))?;
        }
        for (what, level) in [("on level", output.on), ("off level", output.off)] {
            require(name, level.is_finite(), || format!("{what} is {} V, expected a number", level.lane(0)))?;
        }
        let one = L::splat(1.0);
        let level = circuit.node(&format!("{name}.level"));
        let (first, initial) = if output.starts_on { (output.on, ON) } else { (output.off, OFF) };
        let wave = circuit.wave(Wave::Driven(first));
        let choice =
            circuit.choice(vec![one / output.r_on, one / output.r_off, one / output.r_soft], initial);
        circuit.voltage_source(&format!("{name}.level"), level, reference, wave)?;
        circuit.chosen_resistor(&format!("{name}.resistor"), "gate-resistor", level, gate, choice)?;
        let gate = Self {
            name: name.to_string(),
            wave,
            choice,
            on: output.on,
            off: output.off,
            rise: output.rise,
            fall: output.fall,
            starts_on: output.starts_on,
            state: None,
            clamp: None,
        };
        gate.checked()?;
        Ok(gate)
    }

    /// With a Miller clamp of a resistance (Ω) that closes at a gate-source voltage (V) between `gate` and `reference`.
    ///
    /// # Errors
    /// When the resistance is not above zero, or the voltage is not between the levels.
    pub fn clamped(
        self,
        circuit: &mut Circuit<L>,
        (gate, reference): (NodeId, NodeId),
        resistance: f64,
        below: f64,
    ) -> Result<Self, CircuitError> {
        let good = resistance > 0.0 && resistance.is_finite();
        require(&self.name, good, || format!("clamp resistance is {resistance} ohm, expected above zero"))?;
        let (on, off) = (self.on.lane(0), self.off.lane(0));
        let between = (off < below && below < on) || (on < below && below < off);
        require(&self.name, between, || {
            format!("the clamp closes at {below} V, expected between the levels of {off} V and {on} V")
        })?;
        circuit.choices[self.choice.0 as usize].options.push(L::splat(1.0 / resistance));
        let clamp = Some(Clamp { below, probe: Probe::Voltage(gate, reference) });
        Ok(Self { clamp, ..self })
    }

    fn checked(&self) -> Result<(), CircuitError> {
        for (what, x) in [("rise time", self.rise), ("fall time", self.fall)] {
            let good = x > 0.0 && x.is_finite();
            require(&self.name, good, || format!("{what} is {x} s, expected above zero"))?;
        }
        Ok(())
    }
}

/// Times of a drive.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Delays {
    /// From the command to the start of the edge that turns on, s.
    pub on: f64,
    /// From the command, or from an inhibit, to the start of the edge that turns off, s.
    pub off: f64,
    /// What turn-on waits in addition when two gates complement each other, s.
    pub dead: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Edge {
    at: f64,
    on: bool,
    soft: bool,
}

/// One gate and the edges still to come.
#[derive(Clone, Debug)]
struct Channel<L> {
    gate: Gate<L>,
    /// Follows the complement of the command.
    inverted: bool,
    on: bool,
    /// Whether the clamp is closed, or there is none.
    clamped: bool,
    pending: VecDeque<Edge>,
}

impl<L: Lane> Channel<L> {
    fn new(gate: Gate<L>, inverted: bool) -> Self {
        let on = gate.starts_on;
        let clamped = gate.clamp.is_none();
        Self { gate, inverted, on, clamped, pending: VecDeque::new() }
    }

    /// Closes the clamp once the gate has fallen: a step ends no later than half way to it.
    fn hold(&mut self, (before, t): (f64, f64), (then, now): (L, L), board: &mut Board<L>) -> f64 {
        let Some(clamp) = self.gate.clamp.as_ref().filter(|_| !self.on && !self.clamped) else {
            return f64::INFINITY;
        };
        let sense = if self.gate.on.lane(0) > self.gate.off.lane(0) { Sense::Below } else { Sense::Above };
        let stretch = Stretch { before, t, then: then.lane(0), now: now.lane(0) };
        if sense.exceeds(stretch.now, clamp.below) {
            self.clamped = true;
            board.choose_at(self.gate.choice, CLAMPED, t);
            return f64::INFINITY;
        }
        stretch.approach(sense, clamp.below, 0.0)
    }

    /// State after all edges ordered so far.
    fn will_be(&self) -> bool {
        self.pending.back().map_or(self.on, |e| e.on)
    }

    fn order(&mut self, edge: Edge, board: &mut Board<L>) {
        let many = self.pending.len();
        while self.pending.back().is_some_and(|e| e.at >= edge.at) {
            self.pending.pop_back();
        }
        let taken_back = self.pending.len() < many;
        if self.will_be() != edge.on {
            self.pending.push_back(edge);
        }
        if let Some(line) = self.gate.state {
            if taken_back {
                board.forget(line);
                self.pending.iter().for_each(|e| board.set_at(line, e.on, e.at));
            } else if let Some(e) = self.pending.back().filter(|_| self.pending.len() > many) {
                board.set_at(line, e.on, e.at);
            }
        }
    }

    /// Carries out the edges that have come.
    fn act(&mut self, t: f64, board: &mut Board<L>) {
        while let Some(edge) = self.pending.front().copied().filter(|e| e.at <= t) {
            self.pending.pop_front();
            self.on = edge.on;
            self.clamped = self.gate.clamp.is_none();
            let gate = &self.gate;
            let (level, duration, option, action) = match (edge.on, edge.soft) {
                (true, _) => (gate.on, gate.rise, ON, Action::TurnsOn),
                (false, false) => (gate.off, gate.fall, OFF, Action::TurnsOff),
                (false, true) => (gate.off, gate.fall, SOFT, Action::TurnsOffSoftly),
            };
            board.choose_at(gate.choice, option, edge.at);
            board.ramp(gate.wave, edge.at, edge.at + duration, level);
            let note = action.word().to_string();
            board.note(Event { action, note, ..Event::new(edge.at, EventKind::Edge, &gate.name) });
        }
    }
}

/// Drives one gate, or two that complement each other, from one command line.
#[derive(Clone, Debug)]
pub struct Drive<L> {
    name: String,
    command: LineId,
    inhibits: Vec<LineId>,
    delays: Delays,
    channels: Vec<Channel<L>>,
    longest: f64,
}

impl<L: Lane> Drive<L> {
    /// A drive that follows `command` and turns off, softly, while any of `inhibits` is true.
    ///
    /// # Errors
    /// When a time is no number or below zero, or a ramp of the gate is not above zero.
    pub fn new(
        name: &str,
        command: LineId,
        inhibits: Vec<LineId>,
        delays: Delays,
        gate: Gate<L>,
    ) -> Result<Self, CircuitError> {
        duration(name, "turn-on delay", delays.on)?;
        duration(name, "turn-off delay", delays.off)?;
        duration(name, "dead time", delays.dead)?;
        gate.checked()?;
        let channels = vec![Channel::new(gate, false)];
        Ok(Self { name: name.to_string(), command, inhibits, delays, channels, longest: f64::INFINITY })
    }

    /// Adds the gate that is on while the command is off. Each of the two turns on a dead time later than it would
    /// alone; an inhibit turns both off.
    ///
    /// # Errors
    /// When a ramp of the gate is not above zero, or both gates would be on at the start.
    pub fn complemented(mut self, gate: Gate<L>) -> Result<Self, CircuitError> {
        gate.checked()?;
        let both = gate.starts_on && self.channels[0].gate.starts_on;
        require(&self.name, !both, || "both gates are on at the start, expected one at most".into())?;
        self.channels.push(Channel::new(gate, true));
        Ok(self)
    }
}

impl<L: Lane> Controller<L> for Drive<L> {
    fn name(&self) -> &str {
        &self.name
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, L>, board: &mut Board<L>) -> Result<(), SolverError> {
        let inhibited = self.inhibits.iter().any(|&l| board.line(l));
        let command = board.line(self.command);
        // What changed since the last look did so at the latest change of the lines; at the start, now.
        let changed = self.inhibits.iter().map(|&l| board.since(l)).fold(board.since(self.command), f64::max);
        let changed = if changed.is_finite() { changed } else { seen.t };
        if seen.before == seen.t {
            for gate in self.channels.iter().map(|c| &c.gate) {
                gate.state.into_iter().for_each(|line| board.set(line, gate.starts_on));
            }
        }
        let dead = if self.channels.len() > 1 { self.delays.dead } else { 0.0 };
        let (mut probe, mut longest) = (0, f64::INFINITY);
        for channel in &mut self.channels {
            let on = !inhibited && command != channel.inverted;
            if on != channel.will_be() {
                let delay = if on { self.delays.on + dead } else { self.delays.off };
                let at = (changed + delay).max(seen.t);
                channel.order(Edge { at, on, soft: inhibited }, board);
            }
            channel.act(seen.t, board);
            if channel.gate.clamp.is_some() {
                let values = (seen.then[probe], seen.now[probe]);
                longest = longest.min(channel.hold((seen.before, seen.t), values, board));
                probe += 1;
            }
        }
        self.longest = longest;
        Ok(())
    }

    fn probes(&self) -> Vec<Probe> {
        self.channels.iter().filter_map(|c| c.gate.clamp.as_ref()).map(|c| c.probe.clone()).collect()
    }

    fn longest_step(&self) -> f64 {
        self.longest
    }

    fn wakes(&self, t: f64) -> Option<f64> {
        let edges = self.channels.iter().filter_map(|c| c.pending.front()).map(|e| e.at);
        edges.filter(|&at| at > t).min_by(f64::total_cmp)
    }

    fn boxed(&self) -> Box<dyn Controller<L>> {
        Box::new(self.clone())
    }
}

#[cfg(test)]
#[path = "drive_tests.rs"]
mod tests;
