//! How long the dead time should be: a half-bridge leg over a switching period.
//!
//! A constant current out of the leg makes one transition hard: the lower switch turns off, its integral diode carries
//! the current through the dead time, and the upper switch turns on against it. The other can be soft: the upper turns
//! off, and the current moves the node through both output capacitances; the lower turns on without loss when the dead
//! time was long enough. Charge balance estimates it: t = (Q_oss,upper(V) + Q_oss,lower(V))/I (charge of one is given,
//! of the other taken). What a gate needs to turn off comes on top. A current into the leg changes their roles.
//!
//! Through an inductance into the leg's mean voltage D·V the current reverses twice a period, from −Î to Î with
//! Î = V·D·(1 − D)/(2·f·L): both transitions can be soft. During the dead time the current falls; it reaches zero after
//! (1 − D)/(2·f) at the lower's, D/(2·f) at the upper's, and then takes the node back: the upper bound of soft switching.

use std::collections::BTreeMap;

use joulestep_engine::circuit::graph::Circuit;
use joulestep_engine::cycle::steady::Effort;
use joulestep_engine::error::CircuitError;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::units::people;

use super::builder::CircuitLayout;
use super::cycle::{Cycle, Search, Why, solve};
use super::losses::{Account, HARD_SHARE, ON_SHARE, Phases, TurnOn};
use super::{Arrangement, find};
use crate::capacitances::output_charge;
use crate::model::Param;
use crate::operating::OperatingError;
use crate::part::Part;

/// Parameters of the half-bridge that is studied.
pub const PARAMS: &[Param] = super::leg::HALF_BRIDGE.params;

/// How a switch turned on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Against more than 90 % of the voltage that it blocks.
    Hard,
    /// Between.
    Partial,
    /// Against less than 5 %.
    Soft,
}

impl Kind {
    /// By the share of the leg's voltage that is over the switch at its gate's edge.
    pub fn of(turn_on: &TurnOn) -> Self {
        match turn_on.share() {
            x if x >= HARD_SHARE => Self::Hard,
            x if x > ON_SHARE => Self::Partial,
            _ => Self::Soft,
        }
    }
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Hard => "hard",
            Self::Partial => "partial",
            Self::Soft => "soft",
        }
    }
}

/// What a leg feeds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// A constant current out of the leg, A; negative: into it.
    Constant(f64),
    /// An inductance, H, into the leg's mean voltage: its current reverses twice a period.
    Reversing(f64),
}

impl Load {
    /// Current at which the switch that can turn on softly finds the node, A: constant, or the peak of the triangle at
    /// a supply voltage (V), duty and frequency (Hz).
    pub fn current(self, volts: f64, duty: f64, frequency: f64) -> f64 {
        match self {
            Self::Constant(amperes) => amperes,
            Self::Reversing(henries) => volts * duty * (1.0 - duty) / (2.0 * frequency * henries),
        }
    }
}

/// A half-bridge leg: what all points share.
#[derive(Clone, Debug)]
pub struct LegUnderTest {
    /// Parts by place ("upper", "lower"; "" for both).
    pub parts: BTreeMap<String, Part>,
    /// Parameters of the half-bridge, but for dead time and load current.
    pub given: Vec<(&'static str, f64)>,
}

/// The places of the half-bridge, lower and upper.
pub const PLACES: [&str; 2] = ["lower", "upper"];

impl LegUnderTest {
    /// Current at which the switch that can turn on softly finds the node, A.
    ///
    /// # Errors
    /// When a parameter is refused.
    pub fn current(&self, load: Load) -> Result<f64, DeadTimeError> {
        let values = half_bridge()?.values(&self.given)?;
        let of = |key: &str| values.number(key);
        Ok(load.current(of("supply-voltage"), of("duty"), of("frequency")))
    }
}

fn half_bridge() -> Result<&'static Arrangement, CircuitError> {
    find("half-bridge").ok_or_else(|| crate::model::bad("half-bridge", "is not among the arrangements"))
}

/// One point. Energies per period in J.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Dead time, s.
    pub dead_time: f64,
    /// Load current out of the leg, A; its peak where it reverses.
    pub current: f64,
    /// Through the integral diodes, gates off.
    pub diode: f64,
    /// Turn-on of both switches, current and voltage that overlap.
    pub turn_on: f64,
    /// Capacitive part of it.
    pub capacitive: f64,
    /// Turn-off of both switches.
    pub turn_off: f64,
    /// In switches whose partner is on.
    pub recovery: f64,
    /// Conduction of both.
    pub conduction: f64,
    /// All losses of the circuit.
    pub losses: f64,
    /// How the lower and the upper switch turned on, the hardest of a period; `None`: never.
    pub turn_ons: [Option<TurnOn>; 2],
    /// The same of the switch that the current lets turn on softly: the lower for a current out of the leg when the
    /// upper turns off, the upper for one into it when the lower does; where both may, of the one that turns on against
    /// more, and without a current the lower's.
    pub soft: Option<TurnOn>,
    /// Charge into the switch whose diode carries the load's current when its partner turns on, C, and what of it is more
    /// than its output charge: recovery, or shoot-through where the dead time is too short. Not a number where the
    /// current reverses.
    pub commutation: (f64, f64),
    /// Output over input.
    pub efficiency: f64,
    /// Input − output − losses − change of storage over input.
    pub residual: f64,
    /// What the distance to the periodic state may do to an energy, as a share of it.
    pub unrest: f64,
    /// All switches of the circuit.
    pub switches: Vec<Phases>,
}

impl Point {
    /// Reads a periodic steady state: that of the leg of these places, the lower and the upper, with their output
    /// charges, C. `reverses`: whether the load's current does; `None`: as it is found.
    pub fn of(
        cycle: &Cycle,
        dead_time: f64,
        places: [&str; 2],
        charges: Option<(f64, f64)>,
        load: Option<Load>,
    ) -> Self {
        let a = &cycle.account;
        let of = |name: &str| a.switches.iter().find(|s| s.name == name).cloned().unwrap_or_default();
        let [lower, upper] = places.map(of);
        let hardest = |s: &Phases| s.turn_ons.iter().copied().max_by(|a, b| a.share().total_cmp(&b.share()));
        let turn_ons = [hardest(&lower), hardest(&upper)];
        let lets = match load {
            Some(Load::Constant(amperes)) => [amperes >= 0.0, amperes < 0.0],
            Some(Load::Reversing(_)) => [true, true],
            None => {
                [turn_ons[0].is_some_and(|t| t.current > 0.0), turn_ons[1].is_some_and(|t| t.current < 0.0)]
            }
        };
        let share = |t: Option<TurnOn>| t.map_or(0.0, |t| t.share());
        let (soft, commutated) = match lets {
            [false, true] => (turn_ons[1], Some((&upper, charges.map(|c| c.1)))),
            [true, true] if share(turn_ons[1]) > share(turn_ons[0]) => (turn_ons[1], None),
            [true, true] => (turn_ons[0], None),
            [_, false] => (turn_ons[0], Some((&lower, charges.map(|c| c.0)))),
        };
        let commutation = commutated.map_or((f64::NAN, f64::NAN), |(hard, charge)| {
            let q = hard.commutation.iter().copied().reduce(f64::max).unwrap_or(f64::NAN);
            (q, q - charge.unwrap_or(0.0))
        });
        Self {
            dead_time,
            current: soft.map_or(f64::NAN, |t| t.current),
            diode: upper.dead_time + lower.dead_time,
            turn_on: upper.turn_on + lower.turn_on,
            capacitive: upper.capacitive + lower.capacitive,
            turn_off: upper.turn_off + lower.turn_off,
            recovery: upper.recovery + lower.recovery,
            conduction: upper.conduction + lower.conduction,
            losses: a.losses(),
            turn_ons,
            soft,
            commutation,
            efficiency: a.efficiency(),
            residual: a.residual,
            unrest: cycle.unrest(),
            switches: a.switches.clone(),
        }
    }

    /// Voltages over the lower and the upper switch when they turn on, V.
    pub fn turned_on_at(&self) -> (f64, f64) {
        let [lower, upper] = self.turn_ons.map(|t| t.map_or(f64::NAN, |t| t.voltage));
        (lower, upper)
    }

    /// How the lower and the upper turned on; hard where they never do.
    pub fn kinds(&self) -> (Kind, Kind) {
        let [lower, upper] = self.turn_ons.map(|t| t.map_or(Kind::Hard, |t| Kind::of(&t)));
        (lower, upper)
    }

    /// What both switches of the leg block together before a turn-on, V.
    pub fn leg_voltage(&self) -> f64 {
        self.soft.or(self.turn_ons[1]).map_or(f64::NAN, |t| t.leg)
    }

    /// How the switch turned on that can turn on softly.
    pub fn kind(&self) -> Kind {
        self.soft.map_or(Kind::Hard, |t| Kind::of(&t))
    }
}

/// Why a point has no numbers.
#[derive(Debug, thiserror::Error)]
pub enum DeadTimeError {
    /// A value or part does not fit.
    #[error(transparent)]
    Circuit(#[from] CircuitError),
    /// No periodic steady state.
    #[error(transparent)]
    Cycle(#[from] Why),
    /// No output charge.
    #[error(transparent)]
    Operating(#[from] OperatingError),
}

/// Output charges of the lower and the upper switch's part up to a voltage, C; `None` for ideal switches.
///
/// # Errors
/// [`DeadTimeError`].
pub fn estimate(leg: &LegUnderTest, volts: f64, celsius: f64) -> Result<Option<(f64, f64)>, DeadTimeError> {
    let of = |place: &str| {
        let Some(part) = leg.parts.get(place).or_else(|| leg.parts.get("")) else { return Ok(None) };
        let found = output_charge(part.entry(), &part.values, &[volts], celsius)?;
        Ok::<_, DeadTimeError>(found.first().map(|o| o.charge))
    };
    Ok(of("lower")?.zip(of("upper")?))
}

/// The periodic steady state of an arrangement built in a circuit, and the account of one period there.
///
/// # Errors
/// [`DeadTimeError`].
pub fn account(
    layout: CircuitLayout,
    circuit: Circuit<f64>,
    effort: Effort,
) -> Result<Account, DeadTimeError> {
    let how = How { search: Search::plain(effort), tune: &|_| () };
    Ok(tuned(layout, circuit, &how)?.account)
}

/// How a point is solved: where it begins, and with longer or shorter steps.
pub struct How<'a> {
    /// The search.
    pub search: Search<'a>,
    /// What changes the steps.
    pub tune: &'a dyn Fn(&mut Setup<f64>),
}

impl std::fmt::Debug for How<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("How").field("search", &self.search).finish_non_exhaustive()
    }
}

fn tuned(mut layout: CircuitLayout, circuit: Circuit<f64>, how: &How<'_>) -> Result<Cycle, DeadTimeError> {
    let mut setup = layout.setup(circuit)?;
    (how.tune)(&mut setup);
    Ok(solve(&layout, setup, &how.search)?)
}

/// Runs one point.
///
/// # Errors
/// [`DeadTimeError`].
pub fn point(
    leg: &LegUnderTest,
    dead_time: f64,
    load: Load,
    charges: Option<(f64, f64)>,
) -> Result<Point, DeadTimeError> {
    let how = How { search: Search::plain(Effort::default()), tune: &|_| () };
    let cycle = solved(leg, (dead_time, load), &how)?;
    let current = leg.current(load)?;
    Ok(Point { current, ..Point::of(&cycle, dead_time, PLACES, charges, Some(load)) })
}

/// The periodic steady state at a dead time, s, and a load.
///
/// # Errors
/// [`DeadTimeError`].
pub fn solved(
    leg: &LegUnderTest,
    (dead_time, load): (f64, Load),
    how: &How<'_>,
) -> Result<Cycle, DeadTimeError> {
    let arrangement = half_bridge()?;
    let mut given: Vec<(&str, f64)> = leg.given.clone();
    given.push(("dead-time", dead_time));
    let values = arrangement.values(&given)?;
    let (frequency, duty) = (values.number("frequency"), values.number("duty"));
    let bus = values.number("supply-voltage");
    match load {
        Load::Constant(amperes) => given.push(("load-current", amperes)),
        Load::Reversing(henries) => given.extend([("choke", henries), ("load-voltage", duty * bus)]),
    }
    let values = arrangement.values(&given)?;
    let off = (1.0 - duty).min(duty) / frequency;
    if !(dead_time.is_finite() && dead_time >= 0.0 && dead_time < off) {
        let what = format!(
            "is {}, expected from zero to below the on-time of {}",
            people(dead_time, "s"),
            people(off, "s")
        );
        return Err(crate::model::bad("dead-time", what).into());
    }
    let mut circuit = Circuit::new();
    let layout = arrangement.build(&mut circuit, &values, &leg.parts)?;
    tuned(layout, circuit, how)
}

/// The golden section of an interval.
const GOLDEN: f64 = 0.381_966_011_250_105_1;

/// The point of least loss among points of rising dead time, and between its neighbours as closely as `resolution`, s
/// (not where it is `None`), by golden section (Kiefer, Proc. AMS 4 (1953) 502). Beside it how far, s, the least of all
/// may lie from it if losses have one least; infinite at an end of the list.
///
/// # Errors
/// What `at` says of a further point.
pub fn least<E>(
    points: &[Point],
    resolution: Option<f64>,
    at: impl Fn(f64) -> Result<Point, E>,
) -> Result<Option<(Point, f64)>, E> {
    let best = (0..points.len()).min_by(|a, b| points[*a].losses.total_cmp(&points[*b].losses));
    let Some(least) = best else { return Ok(None) };
    let mut best = points[least].clone();
    let (mut low, mut high) =
        (points[least.saturating_sub(1)].dead_time, points[(least + 1).min(points.len() - 1)].dead_time);
    while resolution.is_some_and(|r| high - low > r) {
        // The longer side is divided.
        let (left, right) = (best.dead_time - low, high - best.dead_time);
        let time =
            if right > left { best.dead_time + GOLDEN * right } else { best.dead_time - GOLDEN * left };
        let next = at(time)?;
        let (inner, outer) = if next.losses < best.losses { (next, best) } else { (best, next) };
        if outer.dead_time < inner.dead_time {
            low = outer.dead_time;
        } else {
            high = outer.dead_time;
        }
        best = inner;
    }
    let edge = least == 0 || least + 1 == points.len();
    let distance = if edge { f64::INFINITY } else { (best.dead_time - low).max(high - best.dead_time) };
    Ok(Some((best, distance)))
}
