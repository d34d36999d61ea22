//! Reads the record of a run as an account.

use joulestep_engine::accounts::ledger::Ledger;
use joulestep_engine::circuit::graph::ComponentId;
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::Setup;

use super::store::Store;
use super::turn_on::{Instant, TurnOn};
use super::{Account, Beside, ON_SHARE, Phases, Record, Task, rebuilt};
use crate::arrangement::builder::{CircuitLayout, Place, Role};

/// Channels of one switch in a setup.
#[derive(Debug)]
struct Columns {
    place: Place,
    first: usize,
    partner: Option<usize>,
    store: Store,
}

/// Reads a run's samples as an account; made before the run is.
#[derive(Debug)]
pub struct Meter {
    switches: Vec<Columns>,
}

const ENERGY: usize = 0;
const VOLTAGE: usize = 1;
const CURRENT: usize = 2;
const GATE: usize = 3;
const CHARGE: usize = 4;
const SNUBBER: usize = 5;

impl Meter {
    /// Adds what an account needs to a setup. Every step must be recorded (`sample_every` 0).
    pub fn new(layout: &CircuitLayout, setup: &mut Setup<f64>) -> Self {
        let one = Probe::Wave(setup.circuit.wave(Wave::Constant(1.0)));
        setup.board = rebuilt(setup);
        let mut switches = Vec::new();
        for place in &layout.places {
            let first = setup.channels.len();
            let heat_of =
                |all: &[usize]| all.iter().map(|&c| (1.0, Probe::Power(ComponentId(c as u32)))).collect();
            let mut integral = |probe: Probe| {
                setup.integrals.push((probe, one.clone()));
                Probe::Integral(setup.integrals.len() - 1)
            };
            let energy = integral(Probe::Sum(heat_of(&place.own)));
            let charge = integral(place.current.clone());
            let snubber = integral(Probe::Sum(heat_of(&place.snubber)));
            let gate = match &place.line {
                Some(line) => Probe::Line(setup.board.add_line(line)),
                None => Probe::Sum(Vec::new()),
            };
            let probes = [
                ("energy", energy),
                ("voltage", place.voltage.clone()),
                ("current", place.current.clone()),
                ("gate", gate),
                ("charge", charge),
                ("snubber", snubber),
            ];
            for (what, probe) in probes {
                let name = format!("account.{}.{what}", place.name);
                setup.channels.push(Channel { long_name: name.clone(), name, probe });
            }
            let partner = place.partner.as_ref();
            let partner = partner.and_then(|p| layout.places.iter().position(|q| q.name == *p));
            let holders = [&place.own[..], &place.snubber].concat();
            let store = Store::new(setup, &place.name, &holders, place.nodes);
            switches.push(Columns { place: place.clone(), first, partner, store });
        }
        Self { switches }
    }

    /// The device laws' charges at these temperatures of the heat inputs, °C.
    pub fn set_temperatures(&mut self, celsius: &[f64]) {
        self.switches.iter_mut().for_each(|s| s.store.set_temperatures(celsius));
    }

    /// The account from the instant `from` (s) to the end of the record, over which `ledger` was kept. What was
    /// recorded before it shows in which phase each switch was. Switches are read side by side, and with them done what
    /// `also` is to be.
    pub fn account(
        &self,
        layout: &CircuitLayout,
        (record, from): (&Record<'_>, f64),
        ledger: &Ledger<f64>,
        beside: Beside<'_>,
        also: Vec<Task<'_>>,
    ) -> Account {
        let mut switches = vec![Phases::default(); self.switches.len()];
        let mut tasks: Vec<Task<'_>> = also;
        for (c, found) in self.switches.iter().zip(&mut switches) {
            tasks.push(Box::new(move || *found = self.phases(c, record, from, ledger)));
        }
        beside(tasks);
        let mut account = Account {
            switches,
            clamp: 0.0,
            passive: 0.0,
            others: Vec::new(),
            input: 0.0,
            output: 0.0,
            gate_sources: 0.0,
            stored: ledger.entries.iter().map(|e| e.stored).sum(),
            residual: 0.0,
        };
        let in_switches: Vec<usize> =
            layout.places.iter().flat_map(|p| [&p.own[..], &p.gate, &p.snubber].concat()).collect();
        for (k, entry) in ledger.entries.iter().enumerate() {
            let role = layout.elements.iter().find(|f| f.built.components.contains(&ComponentId(k as u32)));
            match role.map(|f| f.role) {
                Some(Role::Source) => account.input += entry.delivered - entry.dissipated,
                Some(Role::Load) => account.output += entry.dissipated - entry.delivered,
                _ if in_switches.contains(&k) => account.gate_sources += entry.delivered,
                found => {
                    let lost = entry.dissipated - entry.delivered;
                    let clamp = found == Some(Role::Clamp);
                    *(if clamp { &mut account.clamp } else { &mut account.passive }) += lost;
                    let name = role.map_or(&entry.name, |f| &f.name);
                    match account.others.iter_mut().find(|o| o.0 == *name) {
                        Some(other) => other.1 += lost,
                        None => account.others.push((name.clone(), lost)),
                    }
                }
            }
        }
        let given = account.input + account.gate_sources;
        account.residual = (given - account.output - account.losses() - account.stored) / given;
        account
    }

    fn phases(&self, c: &Columns, record: &Record<'_>, from: f64, ledger: &Ledger<f64>) -> Phases {
        let sum = |all: &[usize]| all.iter().map(|&k| ledger.entries[k].dissipated).sum();
        let mut out = Phases {
            name: c.place.name.clone(),
            gate_drive: sum(&c.place.gate),
            snubber: sum(&c.place.snubber),
            ..Phases::default()
        };
        let samples = &record.rows;
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
        // From the partner's turn-off on, what the leg does until this switch turns on.
        let mut dead_time: Option<Vec<Instant>> = None;
        let instant = |k: usize| {
            let of = |what: usize| partner.map_or(0.0, |p| samples[k][p.first + what]);
            let out = partner.map_or(0.0, |p| c.place.out_of_the_leg(&p.place));
            Instant {
                time: record.time[k],
                voltage: at(k, VOLTAGE),
                partner: of(VOLTAGE),
                current: out * (at(k, CURRENT) - of(CURRENT)),
            }
        };
        // Charge at the zero of the current after the partner's edge: open until the partner's turn-on has ended.
        let mut watching = false;
        let mut zero: Option<f64> = None;
        let mut most = 0.0f64;
        let mut turning = Turning::default();
        // What both stores held at the sample that was looked at last: a step begins where the one before ended.
        let mut held = (usize::MAX, [0.0; 2]);
        let mut charges = |from: usize, to: usize| {
            let stored = |k: usize| {
                let of = |c: &Columns| c.store.charge(samples[k]);
                [of(c), partner.map_or(0.0, of)]
            };
            let before = if held.0 == from { held.1 } else { stored(from) };
            held = (to, stored(to));
            let [gained, taken] = [0, 1].map(|n| held.1[n] - before[n]);
            let (voltage, snubber) =
                (at(from, VOLTAGE) + at(to, VOLTAGE), at(to, SNUBBER) - at(from, SNUBBER));
            // ∫ v dQ of the charge that it gives up, and of the charge that its partner takes through it, without what
            // dissipated in its own snubber, J.
            0.5 * voltage * (taken - gained) - snubber
        };
        // The phase of the step before, its heat, and whether a level parts it from this one: gates turn at ends of
        // steps.
        let (mut before, mut heat_before) = (None, 0.0f64);
        for k in 0..n.saturating_sub(1) {
            let inside = record.time[k] >= from;
            let on = at(k, GATE) > 0.5;
            let edge = on != was_on || partner_on(k) != partner_was_on;
            if partner_was_on && !partner_on(k) {
                dead_time = Some(Vec::new());
            }
            if let Some(all) = dead_time.as_mut() {
                all.push(instant(k));
            }
            if on && !was_on {
                settled = false;
                turning.end(&mut out);
                let before = dead_time.take().unwrap_or_else(|| vec![instant(k)]);
                if inside {
                    out.turn_ons.extend(TurnOn::of(&before));
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
            let phase = match (on, settled) {
                (true, false) => Phase::TurnOn,
                (true, true) => Phase::Conduction,
                _ if reversed && c.place.line.is_some() => Phase::DeadTime,
                _ if reversed => Phase::Conduction,
                _ if handed || c.place.line.is_none() => Phase::Recovery,
                _ => Phase::TurnOff,
            };
            if let Some(last) = before.filter(|last| *last != phase && !edge) {
                let either = heat.abs().max(heat_before.abs());
                for of in [last, phase] {
                    out.parted[of as usize] += either;
                }
                if last == Phase::TurnOn {
                    out.parted[Phase::Capacitive as usize] += charges(k - 1, k).abs();
                }
            }
            (before, heat_before) = (Some(phase), heat);
            if phase == Phase::TurnOn {
                // It ends within the step, where a straight line comes down to the level: whole steps on one side would
                // make the parts jump with the length of the steps.
                let [then, next] = [at(k, VOLTAGE), at(k + 1, VOLTAGE)];
                let share = if next <= level { (then - level) / (then - next) } else { 1.0 };
                turning.heat += share * heat;
                turning.charges += share * charges(k, k + 1);
                out.conduction += (1.0 - share) * heat;
                continue;
            }
            turning.end(&mut out);
            *match phase {
                Phase::Conduction => &mut out.conduction,
                Phase::DeadTime => &mut out.dead_time,
                Phase::Recovery => &mut out.recovery,
                _ => &mut out.turn_off,
            } += heat;
        }
        turning.end(&mut out);
        out
    }
}

/// What a switch does in a step; the order of [`Phases`].
#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    Conduction,
    TurnOn,
    Capacitive,
    TurnOff,
    DeadTime,
    Recovery,
}

/// A turn-on under way: its heat, and what charges account for, J.
#[derive(Default)]
struct Turning {
    heat: f64,
    charges: f64,
}

impl Turning {
    /// Books what was gathered.
    fn end(&mut self, out: &mut Phases) {
        let Self { heat, charges } = std::mem::take(self);
        let capacitive = charges.clamp(0.0, heat.max(0.0));
        out.capacitive += capacitive;
        out.turn_on += heat - capacitive;
    }
}
