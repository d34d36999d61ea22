//! The JFET die: smooth channel with a drift region, gate junctions, charges; all of it follows the temperature.

use joulestep_engine::abreast;
use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::trouble::CircuitTrouble;

use crate::channel::overdrive;
use crate::charge::Depletion;
use crate::junction::{Breakdown, Junction, saturation_at};
use crate::model::{
    BOLTZMANN_OVER_CHARGE, Built, Entry, Param, Prefixed, Range, STATED_AT, Values, above, bad, known_voltage,
};

/// The law; pins drain, gate, source. Local unknowns: vds, vgs in V.
///
/// Channel: I = β·(A² − B²)/(1 + ρ·(A + B)), with A = w·ln(1+e^(a/w)), a = vgs − Vp + σ·vds the overdrive at the
/// source end, and B the same of a − k·vds at the drain end. It is the square law (Shichman & Hodges 1968) with the
/// smooth pinch-off of Enz, Krummenacher & Vittoz (1995; both from memory) and a drift region of our own making: its
/// part ρ in series at the drain takes the stated share of the on-resistance, and the factor k says how much drain
/// voltage pinches the channel off, which is less than the overdrive where carriers reach their highest velocity
/// (k > 1) and more where the drift region takes its share (k < 1). So the on-resistance 1/(2βkA)·(1 + 2ρA) and the
/// saturation current βA²/(1 + ρA) are stated independently. With k = 1 and σ = 0 drain and source may be exchanged;
/// otherwise the drift region is at the drain. σ is the drain's pull on the channel's barrier. Mobility: the
/// on-resistance goes as (T/T₀)^exponent and the saturation current as its inverse with an exponent of its own.
#[derive(Clone, Copy, Debug)]
pub struct Jfet<L> {
    /// Pinch-off voltage at 25 °C (negative for a normally-on die), V.
    pub pinch_off: L,
    /// Its change with temperature, V/K.
    pub pinch_off_drift: L,
    /// σ, V of overdrive per V of vds.
    pub drain_effect: L,
    /// Slope factor below pinch-off: the current falls by e per this many kT/q.
    pub slope_factor: L,
    /// On-resistance at 25 °C, vgs = 0 and vds → 0, Ω.
    pub on_resistance: L,
    /// Exponent of the absolute temperature in the on-resistance.
    pub resistance_exponent: L,
    /// Share of the on-resistance in the drift region, 0 ≤ share < 1.
    pub drift_share: L,
    /// Saturation current at 25 °C and vgs = 0, just above the knee, A.
    pub saturation_current: L,
    /// Exponent of the absolute temperature in its inverse.
    pub saturation_exponent: L,
    /// Gate junctions: saturation current at 25 °C (A; of each), emission coefficient, energy gap (eV).
    pub gate: [L; 3],
    /// Breakdown of drain against gate.
    pub breakdown: Option<Breakdown<L>>,
    /// Leakage conductance drain to gate at 25 °C, S.
    pub leakage: L,
    /// Kelvins per doubling of the leakage.
    pub leakage_doubling: L,
    /// Current above which exponentials are linear, A.
    pub linear_above: L,
    /// Charge of drain against gate.
    pub drain_gate: Depletion<L>,
    /// Charge of source against gate.
    pub source_gate: Depletion<L>,
    /// Charge of drain against source.
    pub drain_source: Depletion<L>,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub struct Settled<L> {
    pinch_off: L,
    drain_effect: L,
    width: L,
    inverse_width: L,
    beta: L,
    rho: L,
    knee: L,
    gate_drain: Junction<L>,
    gate_source: Junction<L>,
    leakage: L,
    drain_gate: Depletion<L>,
    source_gate: Depletion<L>,
    drain_source: Depletion<L>,
}

abreast!(Jfet: pinch_off, pinch_off_drift, drain_effect, slope_factor, on_resistance, resistance_exponent,
    drift_share, saturation_current, saturation_exponent, gate, breakdown, leakage, leakage_doubling,
    linear_above, drain_gate, source_gate, drain_source);

impl<L: Lane> Law<L, 2> for Jfet<L> {
    type Settled = Settled<L>;

    fn settle(&self, kelvin: L) -> Settled<L> {
        let (one, two) = (L::splat(1.0), L::splat(2.0));
        let above = kelvin - L::splat(STATED_AT);
        let warm = (kelvin * L::splat(1.0 / STATED_AT)).ln();
        let thermal = L::splat(BOLTZMANN_OVER_CHARGE) * kelvin;
        let width = two * self.slope_factor * thermal;
        let pinch_off = self.pinch_off + self.pinch_off_drift * above;
        let a = -pinch_off;
        let resistance = self.on_resistance * (warm * self.resistance_exponent).exp();
        let saturation = self.saturation_current * (-(warm * self.saturation_exponent)).exp();
        // With x = ρA: the drift region's share of the on-resistance is 2x/(1 + 2x).
        let x = self.drift_share / (two * (one - self.drift_share));
        let beta = saturation * (one + x) / (a * a);
        let [gate, emission, gap] = self.gate;
        let gate = saturation_at(kelvin, gate, emission, gap, L::splat(3.0));
        let scale = emission * thermal;
        Settled {
            pinch_off,
            drain_effect: self.drain_effect,
            width,
            inverse_width: one / width,
            beta,
            rho: x / a,
            knee: (one + two * x) / (two * beta * a * resistance),
            gate_drain: Junction::new(gate, scale, self.linear_above, self.breakdown),
            gate_source: Junction::new(gate, scale, self.linear_above, None),
            leakage: self.leakage * (above * L::splat(std::f64::consts::LN_2) / self.leakage_doubling).exp(),
            drain_gate: self.drain_gate,
            source_gate: self.source_gate,
            drain_source: self.drain_source,
        }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Settled<L>, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let vdg = vds - vgs;
        let at_source = vgs + vds * at.drain_effect - at.pinch_off;
        let a = overdrive(at_source, at.width, at.inverse_width);
        let b = overdrive(at_source - vds * at.knee, at.width, at.inverse_width);
        let sum = a + b;
        let channel = (a - b) * sum * at.beta * (sum * at.rho + L::splat(1.0)).recip();
        let into_drain = vdg * at.leakage - at.gate_drain.current(-vdg);
        let into_source = at.gate_source.current(vgs);
        let qdg = at.drain_gate.charge(vdg);
        let qsg = at.source_gate.charge(-vgs);
        let qds = at.drain_source.charge(vds);
        Flow { i: [channel + into_drain, into_source - into_drain], q: [qdg + qds, -(qdg + qsg)] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// The parameters of the die, with a prefix to their keys.
macro_rules! jfet_params {
    ($p:literal) => {
        [
            Param::required(
                concat!($p, "on-resistance"),
                "ohm",
                Range::Positive,
                "On-resistance of the JFET die at 25 degC, Vgs = 0",
            ),
            Param::with(
                concat!($p, "resistance-exponent"),
                "1",
                1.9,
                Range::Any,
                "On-resistance goes as (T/298.15 K) to this power",
            ),
            Param::with(
                concat!($p, "drift-share"),
                "1",
                0.5,
                Range::Between(-1e-9, 1.0),
                "Share of the on-resistance that lies in the drift region",
            ),
            Param::required(
                concat!($p, "saturation-current"),
                "A",
                Range::Positive,
                "Saturation current at 25 degC, Vgs = 0, just above the knee",
            ),
            Param::with(
                concat!($p, "saturation-exponent"),
                "1",
                1.9,
                Range::Any,
                "Saturation current goes as (298.15 K/T) to this power",
            ),
            Param::required(
                concat!($p, "pinch-off"),
                "V",
                Range::Any,
                "Gate-source voltage that closes the channel at 25 degC (negative)",
            ),
            Param::with(
                concat!($p, "pinch-off-drift"),
                "V/K",
                -1.5e-3,
                Range::Any,
                "Change of the pinch-off voltage with temperature",
            ),
            Param::with(
                concat!($p, "drain-effect"),
                "1",
                1e-3,
                Range::Between(-1e-9, 0.5),
                "Shift of the pinch-off voltage per volt at the drain",
            ),
            Param::with(
                concat!($p, "slope-factor"),
                "1",
                1.5,
                Range::Between(0.5, 20.0),
                "Below pinch-off the current falls by e per this many kT/q",
            ),
            Param::with(
                concat!($p, "gate-saturation-current"),
                "A",
                1e-22,
                Range::Positive,
                "Saturation current of each gate junction at 25 degC",
            ),
            Param::with(
                concat!($p, "gate-emission"),
                "1",
                2.0,
                Range::Between(0.5, 10.0),
                "Emission coefficient of the gate junctions",
            ),
            Param::with(
                concat!($p, "gate-gap"),
                "eV",
                3.26,
                Range::Between(0.1, 10.0),
                "Energy gap of the gate junctions",
            ),
            Param::optional(
                concat!($p, "breakdown-voltage"),
                "V",
                Range::Positive,
                "Drain-gate voltage at the breakdown current",
            ),
            Param::with(
                concat!($p, "breakdown-slope-voltage"),
                "V",
                3.0,
                Range::Positive,
                "Voltage per factor e of breakdown current",
            ),
            Param::with(
                concat!($p, "breakdown-current"),
                "A",
                1e-3,
                Range::Positive,
                "Current at the breakdown voltage",
            ),
            Param::with(
                concat!($p, "leakage-conductance"),
                "S",
                0.0,
                Range::NotNegative,
                "Drain-gate leakage at 25 degC",
            ),
            Param::with(
                concat!($p, "leakage-doubling"),
                "K",
                20.0,
                Range::Positive,
                "Temperature rise that doubles the leakage",
            ),
            Param::with(
                concat!($p, "gate-drain-capacitance"),
                "F",
                0.0,
                Range::NotNegative,
                "Depletion capacitance at 0 V",
            ),
            Param::with(
                concat!($p, "gate-source-capacitance"),
                "F",
                0.0,
                Range::NotNegative,
                "Depletion capacitance at 0 V",
            ),
            Param::with(
                concat!($p, "drain-source-capacitance"),
                "F",
                0.0,
                Range::NotNegative,
                "Depletion capacitance at 0 V",
            ),
            Param::with(
                concat!($p, "junction-voltage"),
                "V",
                2.7,
                Range::Positive,
                "Vj of the depletion capacitances",
            ),
            Param::with(
                concat!($p, "grading"),
                "1",
                0.5,
                Range::Between(0.0, 1.0),
                "Exponent of the depletion capacitances",
            ),
        ]
    };
}
pub(crate) use jfet_params;

/// The law from parameters with a prefix.
///
/// # Errors
/// When the pinch-off voltage is not negative, within the temperatures the die may see, or junctions overlap.
pub(crate) fn law(
    name: &str,
    v: &Prefixed,
    linear_above: f64,
    kelvin: f64,
) -> Result<Jfet<f64>, CircuitTrouble> {
    let pinch_off = v.number("pinch-off");
    if !above(0.0, pinch_off) {
        let what = format!("`{}` is {} V, expected below zero (normally on)", v.key("pinch-off"), pinch_off);
        return Err(bad(name, what));
    }
    let depletion = |key| Depletion::new(v.number(key), v.number("junction-voltage"), v.number("grading"));
    let law = Jfet {
        pinch_off,
        pinch_off_drift: v.number("pinch-off-drift"),
        drain_effect: v.number("drain-effect"),
        slope_factor: v.number("slope-factor"),
        on_resistance: v.number("on-resistance"),
        resistance_exponent: v.number("resistance-exponent"),
        drift_share: v.number("drift-share"),
        saturation_current: v.number("saturation-current"),
        saturation_exponent: v.number("saturation-exponent"),
        gate: [v.number("gate-saturation-current"), v.number("gate-emission"), v.number("gate-gap")],
        breakdown: v.maybe("breakdown-voltage").map(|voltage| Breakdown {
            voltage,
            scale: v.number("breakdown-slope-voltage"),
            current: v.number("breakdown-current"),
        }),
        leakage: v.number("leakage-conductance"),
        leakage_doubling: v.number("leakage-doubling"),
        linear_above,
        drain_gate: depletion("gate-drain-capacitance"),
        source_gate: depletion("gate-source-capacitance"),
        drain_source: depletion("drain-source-capacitance"),
    };
    law.settle(kelvin).gate_drain.check(name)?;
    Ok(law)
}

const PARAMS: &[Param] = &{
    let own = jfet_params!("");
    crate::model::join::<22, 3, 25>(own, [Param::LINEAR_ABOVE, Param::TEMPERATURE, Param::MAXIMUM])
};

fn build(
    circuit: &mut Circuit<f64>,
    name: &str,
    pins: &[NodeId],
    v: &Values,
) -> Result<Built, CircuitTrouble> {
    let kelvin = v.kelvin("junction-temperature");
    let law = law(name, &Prefixed { values: v, prefix: "" }, v.number("linear-above"), kelvin)?;
    let id = circuit.law(name, "jfet", pins, law, kelvin)?;
    let known = known_voltage(v.maybe("breakdown-voltage"), None);
    Ok(Built {
        known: vec![("voltage", Probe::Voltage(pins[0], pins[1]), f64::NEG_INFINITY, known)],
        components: vec![id],
        dies: vec![("jfet", vec![id])],
        hottest: vec![("jfet", v.number("maximum-temperature"))],
        quantities: vec![
            ("voltage", "drain-source voltage", Probe::Voltage(pins[0], pins[2])),
            ("gate", "gate-source voltage", Probe::Voltage(pins[1], pins[2])),
            ("current", "drain current without displacement", Probe::Conduction(id, 0)),
            ("gate-current", "gate current without displacement", Probe::Conduction(id, 1)),
            ("heat", "power turned into heat", Probe::Heat(id)),
        ],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "jfet",
        pins: &["drain", "gate", "source"],
        params: PARAMS,
        help: "Normally-on JFET with drift region, gate junctions and charges that follow temperature",
        source: "square law with smooth pinch-off (Shichman & Hodges 1968; Enz, Krummenacher & Vittoz 1995; from memory) and a drift region",
        build,
    }
}
