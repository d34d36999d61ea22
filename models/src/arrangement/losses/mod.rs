//! Where the losses of a cycle go: each switch's heat by what it is doing, and everything else by its role.
//!
//! Each interval between two recorded instants belongs to one phase of a switch, so that the phases sum to its heat,
//! which is the ledger's own sum:
//!
//! - turn-on: from the gate's edge until the voltage over it has fallen to [`ON_SHARE`] of the largest it blocks, less
//!   the capacitive part;
//! - capacitive: that part of the heat in the same time which charges account for, ∫ v dQ over the switch: of the charge
//!   that its own output capacitance and snubber give up, and of the charge that its partner's take through it (hard
//!   switching without inductance: E_oss of its own, Q_oss·V − E_oss of the partner's; Q_oss·V for two equal ones), as
//!   far as it is dissipated in this switch within the turn-on;
//! - conduction: from there to the edge that turns off; of a diode in a switch's place, all forward conduction;
//! - turn-off: from that edge until its partner's turn-on, while the voltage over it is not reversed;
//! - dead-time diode: gate off and reverse conducting (the integral diode, or the body diode and the JFET channel);
//! - recovery: its partner has turned on: what reverse recovery, the resistances through which its own capacitances are
//!   charged, leakage and shoot-through cost in it.
//!
//! Gate drives, snubbers, clamps and passive pieces stand beside them. These limits are this program's own; the sum
//! does not depend on them.

mod meter;
mod store;
mod turn_on;

use joulestep_engine::circuit::graph::{ComponentId, LineId, WaveId};
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::board::Board;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;

pub use meter::Meter;
pub use turn_on::TurnOn;

/// Share of the blocked voltage at which a turn-on has ended, and below which one is soft.
pub const ON_SHARE: f64 = 0.05;
/// Share of the blocked voltage above which a turn-on is hard.
pub const HARD_SHARE: f64 = 0.9;

/// Work that does not depend on what is done beside it.
pub type Task<'s> = Box<dyn FnOnce() + Send + 's>;
/// Does tasks in any order, on any threads.
pub type Beside<'a> = &'a (dyn for<'s> Fn(Vec<Task<'s>>) + Sync);

/// Values of all channels at instants, s.
#[derive(Clone, Debug, Default)]
pub struct Record<'a> {
    /// The instants.
    pub time: Vec<f64>,
    /// The values.
    pub rows: Vec<&'a [f64]>,
}

impl<'a> Record<'a> {
    /// What was kept in memory.
    pub fn of(record: &'a InMemory<f64>) -> Self {
        Self { time: record.time.clone(), rows: record.samples.iter().map(|row| &row[..]).collect() }
    }
}

/// Energies of one switch over a cycle, J.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Phases {
    /// Its name.
    pub name: String,
    /// On, settled.
    pub conduction: f64,
    /// Turn-on without its capacitive part: current and voltage that overlap.
    pub turn_on: f64,
    /// Capacitive part of the turn-on.
    pub capacitive: f64,
    /// Turn-off.
    pub turn_off: f64,
    /// Gate off, reverse conduction.
    pub dead_time: f64,
    /// Its partner is on.
    pub recovery: f64,
    /// How far its phases (in the order above) may be wrong because a step belongs to one of them as a whole, but for
    /// the one in which a turn-on ends, which a straight line parts: the heat of the steps in which a level was crossed
    /// that parts two of them. Their sum is not touched.
    pub parted: [f64; 6],
    /// In the resistances of its gate's drive.
    pub gate_drive: f64,
    /// In its snubber.
    pub snubber: f64,
    /// Each turn-on.
    pub turn_ons: Vec<TurnOn>,
    /// Charge that flows into it, from the zero of its current, at each turn-on of its partner until that has ended, C:
    /// its output charge, recovery, and what shoots through.
    pub commutation: Vec<f64>,
    /// Largest voltage it blocks, V.
    pub blocks: f64,
}

impl Phases {
    /// All of the switch's own heat, J.
    pub fn own(&self) -> f64 {
        self.conduction + self.turn_on + self.capacitive + self.turn_off + self.dead_time + self.recovery
    }
}

/// The account of a cycle, J.
#[derive(Clone, Debug, PartialEq)]
pub struct Account {
    /// By switch.
    pub switches: Vec<Phases>,
    /// Clamps.
    pub clamp: f64,
    /// Inductors, capacitors, leads.
    pub passive: f64,
    /// Every piece that is no switch, source or load, by its name: what is in `clamp` and `passive`.
    pub others: Vec<(String, f64)>,
    /// What sources gave.
    pub input: f64,
    /// What the load took: heat of a resistive one, energy of a source.
    pub output: f64,
    /// Gate drives gave.
    pub gate_sources: f64,
    /// Change of what is stored.
    pub stored: f64,
    /// Input − output − losses − change of storage, over the input.
    pub residual: f64,
}

impl Account {
    /// All losses, J.
    pub fn losses(&self) -> f64 {
        let each = self.switches.iter().map(|s| s.own() + s.gate_drive + s.snubber);
        each.sum::<f64>() + self.clamp + self.passive
    }
    /// Output over input and gate energy; where the energy flows from the load to the source, the other way round.
    pub fn efficiency(&self) -> f64 {
        let backwards = self.output < 0.0 && self.input < 0.0;
        let (given, taken) = if backwards { (-self.output, -self.input) } else { (self.input, self.output) };
        taken / (given + self.gate_sources)
    }
}

/// Adds a channel with the heat handed to an input since the start, J.
pub(super) fn heat_of_input(setup: &mut Setup<f64>, input: usize) {
    let heats = setup.circuit.components.iter().enumerate();
    let mine = heats.filter(|(_, c)| c.heat.is_some_and(|h| h.0 as usize == input));
    let heat = mine.map(|(k, _)| (1.0, Probe::Power(ComponentId(k as u32)))).collect();
    let one = Probe::Wave(setup.circuit.wave(Wave::Constant(1.0)));
    setup.board = rebuilt(setup);
    setup.integrals.push((Probe::Sum(heat), one));
    let probe = Probe::Integral(setup.integrals.len() - 1);
    let name = format!("account.input-{input}");
    setup.channels.push(Channel { long_name: name.clone(), name, probe });
}

/// The board knows the courses that the circuit had when it was made; lines, and what driven courses begin with, stay.
fn rebuilt(setup: &Setup<f64>) -> Board<f64> {
    let mut board = Board::new(&setup.circuit);
    for k in 0..setup.board.lines() {
        board.add_line(setup.board.line_name(LineId(k as u32)));
    }
    for (k, wave) in setup.circuit.waves.iter().enumerate() {
        let id = WaveId(k as u32);
        let driven = matches!(wave, Wave::Driven(_));
        if let Some(value) = driven.then(|| setup.board.driven(id, f64::NEG_INFINITY)).flatten() {
            board.begin(id, value);
        }
    }
    board
}
