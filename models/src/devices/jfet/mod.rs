//! The JFET die: smooth channel with a drift region, gate junctions, charges; all of it follows the temperature.

mod params;
mod strips;

pub(crate) use params::jfet_params;
pub(crate) use strips::Strips;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::channel::{overdrive, slowing};
use crate::charge::Depletion;
use crate::junction::{Breakdown, Junction, Leakage, saturation_at};
use crate::model::{
    Avalanche, BOLTZMANN_OVER_CHARGE, Built, DieEntry, DieKind, Entry, OnGate, Param, Prefixed, Range,
    STATED_AT, Values, above, bad, known_voltage,
};

/// The law; pins drain, gate, source. Local unknowns: vds, vgs in V.
///
/// Channel: I = β·(A² − B²)/(1 + ρ·(A + B)), with A = w·ln(1+e^(a/w)), a = vgs − Vp + σ·vds the overdrive at the
/// source end, and B the same of a − k·vds at the drain end. It is the square law (Shichman & Hodges 1968) with the
/// smooth pinch-off of Enz, Krummenacher & Vittoz (1995; both from memory) and a drift region of our own making: its
/// part ρ in series at the drain takes the stated share of the on-resistance, and the factor k says how much drain
/// voltage pinches the channel off, which is less than the overdrive where carriers reach their highest velocity
/// (k > 1) and more where the drift region takes its share (k < 1). So the on-resistance 1/(2βkA)·(1 + 2ρA) and the
/// saturation current βA²/(1 + ρA) are stated independently. A is the overdrive at the end from which the carriers
/// come: for vds < 0 drain and source are exchanged, as in the square law, so that no current falls as its voltage
/// rises. σ is the pull of the end that they go to on the channel's barrier. Mobility: the on-resistance scales as
/// (T/T₀)^exponent.
///
/// Saturation current: that of a long channel (Shockley, Proc. IRE 40 (1952) 1365), which scales as (T₀/T)^exponent,
/// over 1 + r with r = Vsat/(Ecrit·L), Ecrit = v/μ (Grebene & Ghandhi, Solid-State Electron. 12 (1969) 573): r goes as
/// the mobility, the pinch-off voltage and the inverse of the carriers' highest velocity (`slowing`, `MOBILITY`).
/// Leakage goes by Arrhenius's law.
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
    /// Exponent of the absolute temperature in its inverse, without velocity saturation.
    pub saturation_exponent: L,
    /// r at 25 °C.
    pub velocity_ratio: L,
    /// Gate junctions: saturation current at 25 °C (A; of each), ideality factor, energy gap (eV).
    pub gate: [L; 3],
    /// Breakdown of drain against gate.
    pub breakdown: Option<Breakdown<L>>,
    /// Breakdown of source against gate.
    pub gate_breakdown: Option<Breakdown<L>>,
    /// Leakage conductance drain to gate.
    pub leakage: Leakage<L>,
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
pub struct AtTemperature<L> {
    pinch_off: L,
    width: L,
    inverse_width: L,
    beta: L,
    rho: L,
    half_knee: L,
    shift: L,
    gate_drain: Junction<L>,
    gate_source: Junction<L>,
    leakage: L,
    drain_gate: Depletion<L>,
    source_gate: Depletion<L>,
    drain_source: Depletion<L>,
}

lockstep!(Jfet: pinch_off, pinch_off_drift, drain_effect, slope_factor, on_resistance, resistance_exponent,
    drift_share, saturation_current, saturation_exponent, velocity_ratio, gate, breakdown, gate_breakdown, leakage,
    linear_above, drain_gate, source_gate, drain_source);

/// Electrons' mobility in 4H-SiC goes as T to minus this power, at the doping of a channel, 5·10¹⁶ cm⁻³ (fitted to the
/// law of Roschke & Schwierz, IEEE Trans. Electron Devices 48 (2001) 1442, between 0 and 575 °C: 2.18 to 2.22).
const MOBILITY: f64 = 2.2;

impl<L: Lane> Jfet<L> {
    /// The saturation current at a temperature (K) with the pinch-off voltage there, A.
    fn saturation(&self, kelvin: L, pinch_off: L) -> L {
        let (one, warm) = (L::splat(1.0), (kelvin * L::splat(1.0 / STATED_AT)).ln());
        let r = self.velocity_ratio
            * (-(warm * L::splat(MOBILITY))).exp()
            * (pinch_off / self.pinch_off)
            * slowing(kelvin);
        let long = self.saturation_current * (-(warm * self.saturation_exponent)).exp();
        long * ((one + self.velocity_ratio) / (one + r))
    }
}

impl<L: Lane> Law<L, 2> for Jfet<L> {
    type AtTemperature = AtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> AtTemperature<L> {
        let (one, two) = (L::splat(1.0), L::splat(2.0));
        let above = kelvin - L::splat(STATED_AT);
        let warm = (kelvin * L::splat(1.0 / STATED_AT)).ln();
        let thermal = L::splat(BOLTZMANN_OVER_CHARGE) * kelvin;
        let width = two * self.slope_factor * thermal;
        let pinch_off = self.pinch_off + self.pinch_off_drift * above;
        let a = -pinch_off;
        let resistance = self.on_resistance * (warm * self.resistance_exponent).exp();
        let saturation = self.saturation(kelvin, pinch_off);
        // With x = ρA: the drift region's share of the on-resistance is 2x/(1 + 2x).
        let x = self.drift_share / (two * (one - self.drift_share));
        let beta = saturation * (one + x) / (a * a);
        let half_knee = (one + two * x) / (two * two * beta * a * resistance);
        let [gate, ideality, gap] = self.gate;
        let gate = saturation_at(kelvin, gate, ideality, gap, L::splat(3.0));
        let scale = ideality * thermal;
        AtTemperature {
            pinch_off,
            width,
            inverse_width: one / width,
            beta,
            rho: x / a,
            half_knee,
            // From half way between the ends to that from which carriers come, less what k·vds/2 makes of it.
            shift: L::splat(0.5) + self.drain_effect - half_knee,
            gate_drain: Junction::new(gate, scale, self.linear_above, self.breakdown.map(|b| b.at(kelvin))),
            gate_source: Junction::new(
                gate,
                scale,
                self.linear_above,
                self.gate_breakdown.map(|b| b.at(kelvin)),
            ),
            leakage: self.leakage.at(kelvin),
            drain_gate: self.drain_gate,
            source_gate: self.source_gate,
            drain_source: self.drain_source,
        }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &AtTemperature<L>, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let mut flow = at.under_the_gate([vds, vgs]);
        flow.q[0] = flow.q[0] + at.drain_source.charge(vds);
        flow
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

impl<L: Lane> AtTemperature<L> {
    /// Everything but the charge of drain against source.
    #[inline(always)]
    fn under_the_gate<S: Scalar<L>>(&self, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let vdg = vds - vgs;
        // |vds|: the current is vds times a function of it, so its slopes are continuous.
        let v = vds.value();
        let zero = L::splat(0.0);
        let size = vds.mapped(v.abs(), L::select(v.lt(zero), L::splat(-1.0), L::splat(1.0)));
        let middle = vgs - vds * L::splat(0.5) + size * self.shift - self.pinch_off;
        let half = vds * self.half_knee;
        let a = overdrive(middle + half, self.width, self.inverse_width);
        let b = overdrive(middle - half, self.width, self.inverse_width);
        let sum = a + b;
        let channel = (a - b) * sum * self.beta * (sum * self.rho + L::splat(1.0)).recip();
        let into_drain = vdg * self.leakage - self.gate_drain.current(-vdg);
        let into_source = self.gate_source.current(vgs);
        let qdg = self.drain_gate.charge(vdg);
        let qsg = self.source_gate.charge(-vgs);
        Flow { i: [channel + into_drain, into_source - into_drain], q: [qdg, -(qdg + qsg)] }
    }
}

/// The law from parameters with a prefix.
///
/// # Errors
/// When the pinch-off voltage is not negative, within the temperatures the die may see, or junctions overlap.
pub(crate) fn law(
    name: &str,
    v: &Prefixed,
    linear_above: f64,
    kelvin: f64,
) -> Result<Jfet<f64>, CircuitError> {
    let pinch_off = v.number("pinch-off");
    if !above(0.0, pinch_off) {
        let what = format!("`{}` is {} V, expected below zero (normally on)", v.key("pinch-off"), pinch_off);
        return Err(bad(name, what));
    }
    let depletion =
        |key| Depletion::new(v.number(key), v.number("built-in-voltage"), v.number("depletion-exponent"));
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
        velocity_ratio: v.number("velocity-ratio"),
        gate: [v.number("gate-saturation-current"), v.number("gate-ideality"), v.number("gate-gap")],
        breakdown: Breakdown::of(v),
        gate_breakdown: v.maybe("gate-breakdown-voltage").map(|voltage| Breakdown {
            voltage,
            scale: v.number("gate-breakdown-slope-voltage"),
            current: v.number("breakdown-current"),
            drift: v.number("breakdown-drift"),
            resistance: 0.0,
        }),
        leakage: Leakage::of(v),
        linear_above,
        drain_gate: depletion("gate-drain-capacitance"),
        source_gate: depletion("gate-source-capacitance"),
        drain_source: depletion("drain-source-capacitance"),
    };
    let at = law.at_temperature(kelvin);
    at.gate_drain.check(name)?;
    at.gate_source.check(name)?;
    Ok(law)
}

const PARAMS: &[Param] = &{
    let own = jfet_params!("");
    crate::model::join::<28, 3, 31>(own, [Param::LINEAR_ABOVE, Param::TEMPERATURE, Param::MAXIMUM])
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let kelvin = v.kelvin("junction-temperature");
    let own = Prefixed { values: v, prefix: "" };
    let law = law(name, &own, v.number("linear-above"), kelvin)?;
    let id = circuit.law(name, "jfet", pins, law, kelvin)?;
    let blocked = Probe::Voltage(pins[0], pins[1]);
    let avalanche = Avalanche::of("jfet", &own, blocked.clone(), Probe::Conduction(id, 0));
    let known = known_voltage(v.maybe("breakdown-voltage"), None);
    Ok(Built {
        avalanches: avalanche.into_iter().collect(),
        known: vec![("voltage", blocked, f64::NEG_INFINITY, known)],
        components: vec![id],
        dies: vec![("jfet", vec![id])],
        hottest: vec![("jfet", v.number("maximum-temperature"))],
        quantities: vec![
            ("voltage", "drain-source voltage", Probe::Voltage(pins[0], pins[2])),
            ("gate", "gate-source voltage", Probe::Voltage(pins[1], pins[2])),
            ("current", "drain current without displacement", Probe::Conduction(id, 0)),
            ("gate-current", "gate current without displacement", Probe::Conduction(id, 1)),
            ("power", "power dissipated", Probe::Power(id)),
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
        source: "square law with smooth pinch-off (Shichman & Hodges 1968; Enz, Krummenacher & Vittoz 1995) and a drift region",
        dies: &[DieEntry {
            name: "jfet",
            prefix: "",
            is: DieKind::Jfet,
            blocks: true,
            on: Some(OnGate::At(0.0)),
        }],
        build,
    }
}
