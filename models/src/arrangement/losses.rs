//! Where the losses of a cycle go: each switch's heat by what it is doing, and everything else by its role.
//!
//! Each interval between two recorded instants belongs to one phase of a switch, so that the phases sum to its heat,
//! which is the ledger's own sum:
//!
//! - turn-on: from the gate's edge until the voltage over it has fallen to [`ON_SHARE`] of the largest it blocks;
//! - conduction: from there to the edge that turns off; of a diode in a switch's place, all forward conduction;
//! - turn-off: from that edge until its partner's turn-on, while the voltage over it is not reversed;
//! - dead-time diode: gate off and reverse conducting (the integral diode, or the body diode and the JFET channel);
//! - recovery: its partner has turned on: what reverse recovery, charging of its capacitance and leakage cost in it.
//!
//! Gate drive and snubbers stand beside them. These limits are this program's own; the sum does not depend on them.

use joulestep_engine::accounts::ledger::Ledger;
use joulestep_engine::circuit::graph::ComponentId;
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;

use super::bed::{Laid, Place, Role};

/// Share of the blocked voltage at which a turn-on has ended, and below which one is soft.
pub const ON_SHARE: f64 = 0.05;
/// Share of the blocked voltage above which a turn-on is hard.
pub const HARD_SHARE: f64 = 0.9;

/// Energies of one switch over a cycle, J.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Phases {
    /// Its name.
    pub name: String,
    /// On, settled.
    pub conduction: f64,
    /// Turn-on, the capacitive part in it.
    pub turn_on: f64,
    /// Turn-off.
    pub turn_off: f64,
    /// Gate off, reverse conduction.
    pub dead_time: f64,
    /// Its partner is on.
    pub recovery: f64,
    /// In the resistances of its gate's drive.
    pub gate_drive: f64,
    /// In its snubber.
    pub snubber: f64,
    /// Each turn-on: voltage over the switch at the gate's edge, V.
    pub turned_on_at: Vec<f64>,
    /// Charge that flows into it, from the zero of its current, at each turn-on of its partner until that has ended, C:
    /// its output charge, recovery, and what shoots through.
    pub commutation: Vec<f64>,
    /// Largest voltage it blocks, V.
    pub blocks: f64,
}

impl Phases {
    /// All of the switch's own heat, J.
    pub fn own(&self) -> f64 {
        self.conduction + self.turn_on + self.turn_off + self.dead_time + self.recovery
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

/// Channels of one switch in a setup.
#[derive(Clone, Debug)]
struct Columns {
    place: Place,
    first: usize,
    partner: Option<usize>,
}

/// Reads a run's samples as an account; made before the run is.
#[derive(Clone, Debug)]
pub struct Meter {
    switches: Vec<Columns>,
}

const ENERGY: usize = 0;
const VOLTAGE: usize = 1;
const CURRENT: usize = 2;
const GATE: usize = 3;
const CHARGE: usize = 4;

impl Meter {
    /// Adds what an account needs to a setup. Every step must be recorded (`sample_every` 0).
    pub fn new(laid: &Laid, setup: &mut Setup<f64>) -> Self {
        let one = Probe::Wave(setup.circuit.wave(Wave::Constant(1.0)));
        setup.board = rebuilt(setup);
        let mut switches = Vec::new();
        for place in &laid.places {
            let first = setup.channels.len();
            let heat = place.own.iter().map(|&c| (1.0, Probe::Heat(ComponentId(c as u32)))).collect();
            let mut integral = |probe: Probe| {
                setup.integrals.push((probe, one.clone()));
                Probe::Integral(setup.integrals.len() - 1)
            };
            let energy = integral(Probe::Sum(heat));
            let charge = integral(place.current.clone());
            let gate = match place.gated {
                true => Probe::Line(setup.board.add_line(&place.name)),
                false => Probe::Sum(Vec::new()),
            };
            let probes = [
                ("energy", energy),
                ("voltage", place.voltage.clone()),
                ("current", place.current.clone()),
                ("gate", gate),
                ("charge", charge),
            ];
            for (what, probe) in probes {
                let name = format!("account.{}.{what}", place.name);
                setup.channels.push(Channel { long_name: name.clone(), name, probe });
            }
            let partner = place.partner.as_ref();
            let partner = partner.and_then(|p| laid.places.iter().position(|q| q.name == *p));
            switches.push(Columns { place: place.clone(), first, partner });
        }
        Self { switches }
    }

    /// The account from the instant `from` (s) to the end of the record, over which `ledger` was kept. What was
    /// recorded before it tells in which phase each switch was.
    pub fn account(&self, laid: &Laid, record: &InMemory<f64>, from: f64, ledger: &Ledger<f64>) -> Account {
        let switches = self.switches.iter().map(|c| self.phases(c, record, from, ledger)).collect();
        let mut account = Account {
            switches,
            clamp: 0.0,
            passive: 0.0,
            input: 0.0,
            output: 0.0,
            gate_sources: 0.0,
            stored: ledger.entries.iter().map(|e| e.stored).sum(),
            residual: 0.0,
        };
        let in_switches: Vec<usize> =
            laid.places.iter().flat_map(|p| [&p.own[..], &p.gate, &p.snubber].concat()).collect();
        for (k, entry) in ledger.entries.iter().enumerate() {
            let role = laid.fittings.iter().find(|f| f.built.components.contains(&ComponentId(k as u32)));
            match role.map(|f| f.role) {
                Some(Role::Source) => account.input += entry.delivered - entry.dissipated,
                Some(Role::Load) => account.output += entry.dissipated - entry.delivered,
                Some(Role::Clamp) => account.clamp += entry.dissipated,
                _ if in_switches.contains(&k) => account.gate_sources += entry.delivered,
                _ => account.passive += entry.dissipated - entry.delivered,
            }
        }
        let given = account.input + account.gate_sources;
        account.residual = (given - account.output - account.losses() - account.stored) / given;
        account
    }

    fn phases(&self, c: &Columns, record: &InMemory<f64>, from: f64, ledger: &Ledger<f64>) -> Phases {
        let sum = |all: &[usize]| all.iter().map(|&k| ledger.entries[k].dissipated).sum();
        let mut out = Phases {
            name: c.place.name.clone(),
            gate_drive: sum(&c.place.gate),
            snubber: sum(&c.place.snubber),
            ..Phases::default()
        };
        let samples = &record.samples;
        let at = |k: usize, what: usize| samples[k][c.first + what];
        let partner = c.partner.map(|p| &self.switches[p]);
        let partner_on = |k: usize| partner.is_some_and(|p| samples[k][p.first + GATE] > 0.5);
        let partner_down =
            |k: usize, level: f64| partner.is_none_or(|p| samples[k][p.first + VOLTAGE] <= level);
        let n = samples.len();
        out.blocks = (0..n).map(|k| at(k, VOLTAGE)).fold(0.0, f64::max);
        let level = ON_SHARE * out.blocks;
        let (mut was_on, mut settled, mut handed) = (false, true, true);
        let mut partner_was_on = false;
        // Charge at the zero of the current after the partner's edge: open until the partner's turn-on has ended.
        let mut watching = false;
        let mut zero: Option<f64> = None;
        let mut most = 0.0f64;
        for k in 0..n.saturating_sub(1) {
            let inside = record.time[k] >= from;
            let on = at(k, GATE) > 0.5;
            if on && !was_on {
                settled = false;
                if inside {
                    out.turned_on_at.push(at(k, VOLTAGE));
                }
            }
            if !on && was_on {
                handed = false;
            }
            if partner_on(k) && !partner_was_on {
                handed = true;
                (watching, zero, most) = (true, None, 0.0);
            }
            if watching {
                if zero.is_none() && at(k, CURRENT) >= 0.0 {
                    zero = Some(at(k, CHARGE));
                }
                if let Some(q) = zero {
                    most = most.max(at(k, CHARGE) - q);
                    // Past its peak and back: the exchange is over.
                    if partner_down(k, level) && at(k, CURRENT) <= 0.0 || !partner_on(k) {
                        watching = false;
                        if inside {
                            out.commutation.push(most);
                        }
                    }
                } else if !partner_on(k) {
                    watching = false;
                }
            }
            (was_on, partner_was_on) = (on, partner_on(k));
            let reversed = at(k, VOLTAGE) < 0.0;
            settled |= on && at(k, VOLTAGE) <= level;
            if !inside {
                continue;
            }
            let heat = at(k + 1, ENERGY) - at(k, ENERGY);
            *match (on, settled) {
                (true, false) => &mut out.turn_on,
                (true, true) => &mut out.conduction,
                _ if reversed && c.place.gated => &mut out.dead_time,
                _ if reversed => &mut out.conduction,
                _ if handed || !c.place.gated => &mut out.recovery,
                _ => &mut out.turn_off,
            } += heat;
        }
        out
    }
}

/// Adds a channel with the heat handed to an input since the start, J.
pub(super) fn heat_of_input(setup: &mut Setup<f64>, input: usize) {
    let heats = setup.circuit.components.iter().enumerate();
    let mine = heats.filter(|(_, c)| c.heat.is_some_and(|h| h.0 as usize == input));
    let heat = mine.map(|(k, _)| (1.0, Probe::Heat(ComponentId(k as u32)))).collect();
    let one = Probe::Wave(setup.circuit.wave(Wave::Constant(1.0)));
    setup.board = rebuilt(setup);
    setup.integrals.push((Probe::Sum(heat), one));
    let probe = Probe::Integral(setup.integrals.len() - 1);
    let name = format!("account.input-{input}");
    setup.channels.push(Channel { long_name: name.clone(), name, probe });
}

/// What a ledger says of the time since an earlier one of the same run.
pub fn between(before: &Ledger<f64>, after: &Ledger<f64>) -> Ledger<f64> {
    let mut out = after.clone();
    for (entry, then) in out.entries.iter_mut().zip(&before.entries) {
        entry.delivered -= then.delivered;
        entry.dissipated -= then.dissipated;
        entry.stored -= then.stored;
    }
    out.residual -= before.residual;
    out.turnover = out.entries.iter().map(|e| e.delivered.max(0.0)).sum();
    out
}

/// The board knows the courses that the circuit had when it was made.
fn rebuilt(setup: &mut Setup<f64>) -> joulestep_engine::control::board::Board<f64> {
    let mut board = joulestep_engine::control::board::Board::new(&setup.circuit);
    let lines = setup.board.lines();
    for k in 0..lines {
        board.add_line(setup.board.line_name(joulestep_engine::circuit::graph::LineId(k as u32)));
    }
    board
}
