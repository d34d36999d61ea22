//! The MOSFET die: smooth channel, body diode, breakdown, leakage, charges; all of it follows the temperature.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::law::{Flow, Law};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::trouble::CircuitTrouble;

use crate::channel::overdrive;
use crate::charge::Depletion;
use crate::junction::{Breakdown, Junction, saturation_at};
use crate::model::{
    BOLTZMANN_OVER_CHARGE, Built, Entry, Param, Prefixed, Range, STATED_AT, Values, bad, least,
};

/// The law; pins drain, gate, source. Local unknowns: vds, vgs in V.
///
/// Channel: I = (nβ/2)·(A² − B²) with A = w·ln(1+e^(a/w)), a = (vgs − Vth)/n, B the same of a − vds, w = 2kT/q: the
/// interpolation of Enz, Krummenacher & Vittoz, Analog Integr. Circuits Signal Process. 8 (1995) 83 (from memory),
/// the body tied to the source. β follows from the on-resistance, which goes as (T/T₀)^exponent (mobility); the
/// threshold falls linearly with T. Leakage doubles per stated number of kelvins.
#[derive(Clone, Copy, Debug)]
pub struct Mosfet<L> {
    /// Threshold at 25 °C, V.
    pub threshold: L,
    /// Its change with temperature, V/K.
    pub threshold_drift: L,
    /// Slope factor n.
    pub slope_factor: L,
    /// On-resistance at 25 °C and `on_gate`, Ω.
    pub on_resistance: L,
    /// Gate-source voltage at which the on-resistance is stated, V.
    pub on_gate: L,
    /// Exponent of the absolute temperature in the on-resistance.
    pub resistance_exponent: L,
    /// Body diode: saturation current at 25 °C (A), emission coefficient, energy gap (eV).
    pub body: [L; 3],
    /// Breakdown at 25 °C.
    pub breakdown: Option<Breakdown<L>>,
    /// Relative change of the breakdown voltage, 1/K.
    pub breakdown_drift: L,
    /// Leakage conductance at 25 °C, S.
    pub leakage: L,
    /// Kelvins per doubling of the leakage.
    pub leakage_doubling: L,
    /// Current above which exponentials are linear, A.
    pub linear_above: L,
    /// Gate-source capacitance, F.
    pub cgs: L,
    /// Charge of drain against gate.
    pub drain_gate: Depletion<L>,
    /// Charge of drain against source.
    pub drain_source: Depletion<L>,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub struct Settled<L> {
    threshold: L,
    inverse_n: L,
    width: L,
    inverse_width: L,
    half_gain: L,
    body: Junction<L>,
    leakage: L,
    cgs: L,
    drain_gate: Depletion<L>,
    drain_source: Depletion<L>,
}

impl<L: Lane> Mosfet<L> {
    fn body_at(&self, kelvin: L) -> Junction<L> {
        let [saturation, emission, gap] = self.body;
        let stretch = L::splat(1.0) + self.breakdown_drift * (kelvin - L::splat(STATED_AT));
        let breakdown = self.breakdown.map(|b| Breakdown { voltage: b.voltage * stretch, ..b });
        let saturation = saturation_at(kelvin, saturation, emission, gap, L::splat(3.0));
        let scale = emission * kelvin * L::splat(BOLTZMANN_OVER_CHARGE);
        Junction::new(saturation, scale, self.linear_above, breakdown)
    }
}

impl<L: Lane> Law<L, 2> for Mosfet<L> {
    type Settled = Settled<L>;

    fn settle(&self, kelvin: L) -> Settled<L> {
        let one = L::splat(1.0);
        let above = kelvin - L::splat(STATED_AT);
        let width = L::splat(2.0 * BOLTZMANN_OVER_CHARGE) * kelvin;
        let inverse_width = one / width;
        let inverse_n = one / self.slope_factor;
        let threshold = self.threshold + self.threshold_drift * above;
        let warm = Lane::pow(kelvin * L::splat(1.0 / STATED_AT), self.resistance_exponent);
        // At vds → 0 the conductance is n·β·A; the part states its inverse.
        let a = overdrive((self.on_gate - threshold) * inverse_n, width, inverse_width);
        let half_gain = L::splat(0.5) / (self.on_resistance * warm * a);
        Settled {
            threshold,
            inverse_n,
            width,
            inverse_width,
            half_gain,
            body: self.body_at(kelvin),
            leakage: self.leakage * (above * L::splat(std::f64::consts::LN_2) / self.leakage_doubling).exp(),
            cgs: self.cgs,
            drain_gate: self.drain_gate,
            drain_source: self.drain_source,
        }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Settled<L>, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let at_source = (vgs - at.threshold) * at.inverse_n;
        let a = overdrive(at_source, at.width, at.inverse_width);
        let b = overdrive(at_source - vds, at.width, at.inverse_width);
        let channel = (a - b) * (a + b) * at.half_gain;
        let drain = channel - at.body.current(-vds) + vds * at.leakage;
        let qdg = at.drain_gate.charge(vds - vgs);
        let qds = at.drain_source.charge(vds);
        Flow { i: [drain, S::constant(L::splat(0.0))], q: [qdg + qds, vgs * at.cgs - qdg] }
    }
}

/// The parameters of the die, with a prefix to their keys.
macro_rules! mosfet_params {
    ($p:literal) => {
        [
            Param::required(
                concat!($p, "on-resistance"),
                "ohm",
                Range::Positive,
                "On-resistance of the MOSFET die at 25 degC and the stated gate voltage",
            ),
            Param::with(
                concat!($p, "on-gate-voltage"),
                "V",
                12.0,
                Range::Any,
                "Gate-source voltage at which the on-resistance is stated",
            ),
            Param::with(
                concat!($p, "resistance-exponent"),
                "1",
                1.5,
                Range::Any,
                "On-resistance goes as (T/298.15 K) to this power",
            ),
            Param::required(concat!($p, "threshold"), "V", Range::Any, "Threshold voltage at 25 degC"),
            Param::with(
                concat!($p, "threshold-drift"),
                "V/K",
                -6e-3,
                Range::Any,
                "Change of the threshold voltage with temperature",
            ),
            Param::with(
                concat!($p, "slope-factor"),
                "1",
                1.3,
                Range::Between(0.5, 10.0),
                "Slope factor n of the channel",
            ),
            Param::with(
                concat!($p, "body-saturation-current"),
                "A",
                3e-11,
                Range::Positive,
                "Saturation current of the body diode at 25 degC",
            ),
            Param::with(
                concat!($p, "body-emission"),
                "1",
                1.1,
                Range::Between(0.5, 10.0),
                "Emission coefficient of the body diode",
            ),
            Param::with(
                concat!($p, "body-gap"),
                "eV",
                1.12,
                Range::Between(0.1, 10.0),
                "Energy gap of the body diode",
            ),
            Param::optional(
                concat!($p, "breakdown-voltage"),
                "V",
                Range::Positive,
                "Drain-source voltage at the breakdown current, 25 degC",
            ),
            Param::with(
                concat!($p, "breakdown-slope-voltage"),
                "V",
                0.3,
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
                concat!($p, "breakdown-drift"),
                "1/K",
                8e-4,
                Range::Any,
                "Relative change of the breakdown voltage with temperature",
            ),
            Param::with(
                concat!($p, "leakage-conductance"),
                "S",
                1e-7,
                Range::NotNegative,
                "Drain-source leakage at 25 degC",
            ),
            Param::with(
                concat!($p, "leakage-doubling"),
                "K",
                12.0,
                Range::Positive,
                "Temperature rise that doubles the leakage",
            ),
            Param::with(concat!($p, "gate-source-capacitance"), "F", 0.0, Range::NotNegative, "Constant"),
            Param::with(
                concat!($p, "gate-drain-capacitance"),
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
                0.8,
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
            Param::with(
                concat!($p, "gate-resistance"),
                "ohm",
                0.0,
                Range::NotNegative,
                "Internal gate resistance",
            ),
            Param::with(
                concat!($p, "gate-limit"),
                "V",
                20.0,
                Range::Positive,
                "Gate-source voltage, either way, that the gate tolerates",
            ),
            Param::optional(concat!($p, "rated-voltage"), "V", Range::Positive, "Rated drain-source voltage"),
        ]
    };
}
pub(crate) use mosfet_params;

/// The law from parameters with a prefix.
///
/// # Errors
/// When the gate voltage of the stated on-resistance does not turn the die on, or breakdown and body diode overlap.
pub(crate) fn law<L: Lane>(
    name: &str,
    v: &Prefixed<L>,
    linear_above: L,
    kelvin: L,
) -> Result<Mosfet<L>, CircuitTrouble> {
    let (threshold, on_gate) = (v.number("threshold"), v.number("on-gate-voltage"));
    if !L::all(on_gate.gt(threshold)) {
        let what = format!("`{}` is not above `{}`", v.key("on-gate-voltage"), v.key("threshold"));
        return Err(bad(name, what));
    }
    let depletion = |key| Depletion::new(v.number(key), v.number("junction-voltage"), v.number("grading"));
    let law = Mosfet {
        threshold,
        threshold_drift: v.number("threshold-drift"),
        slope_factor: v.number("slope-factor"),
        on_resistance: v.number("on-resistance"),
        on_gate,
        resistance_exponent: v.number("resistance-exponent"),
        body: [v.number("body-saturation-current"), v.number("body-emission"), v.number("body-gap")],
        breakdown: v.maybe("breakdown-voltage").map(|voltage| Breakdown {
            voltage,
            scale: v.number("breakdown-slope-voltage"),
            current: v.number("breakdown-current"),
        }),
        breakdown_drift: v.number("breakdown-drift"),
        leakage: v.number("leakage-conductance"),
        leakage_doubling: v.number("leakage-doubling"),
        linear_above,
        cgs: v.number("gate-source-capacitance"),
        drain_gate: depletion("gate-drain-capacitance"),
        drain_source: depletion("drain-source-capacitance"),
    };
    law.body_at(kelvin).check(name)?;
    Ok(law)
}

/// Puts the die and its internal gate resistance between `[drain, gate, source]`; gives the component of the law, the
/// node of the gate inside, and all components.
pub(crate) fn place<L: Lane>(
    circuit: &mut Circuit<L>,
    name: &str,
    [drain, gate, source]: [NodeId; 3],
    v: &Prefixed<L>,
    linear_above: L,
    kelvin: L,
) -> Result<(ComponentId, NodeId, Vec<ComponentId>), CircuitTrouble> {
    let law = law(name, v, linear_above, kelvin)?;
    let mut components = Vec::new();
    let mut inner = gate;
    let resistance = v.number("gate-resistance");
    if L::any(resistance.gt(L::splat(0.0))) {
        inner = circuit.node(&format!("{name}.gate"));
        components.push(circuit.resistor(&format!("{name}.gate-resistor"), gate, inner, resistance)?);
    }
    let id = circuit.law(name, "mosfet", &[drain, inner, source], law, kelvin)?;
    components.push(id);
    Ok((id, inner, components))
}

const PARAMS: &[Param] = &{
    let own = mosfet_params!("");
    crate::model::join::<23, 3, 26>(own, [Param::LINEAR_ABOVE, Param::TEMPERATURE, Param::MAXIMUM])
};

fn build<L: Lane>(
    circuit: &mut Circuit<L>,
    name: &str,
    pins: &[NodeId],
    v: &Values<L>,
) -> Result<Built, CircuitTrouble> {
    let kelvin = v.kelvin("junction-temperature");
    let own = Prefixed { values: v, prefix: "" };
    let nodes = [pins[0], pins[1], pins[2]];
    let (id, gate, components) = place(circuit, name, nodes, &own, v.number("linear-above"), kelvin)?;
    let (vds, vgs) = (Probe::Voltage(pins[0], pins[2]), Probe::Voltage(gate, pins[2]));
    let limit = least(v.number("gate-limit"));
    let mut limits = vec![("gate", vgs.clone(), -limit, limit)];
    if let Some(rated) = v.maybe("rated-voltage") {
        limits.push(("voltage", vds.clone(), f64::NEG_INFINITY, least(rated)));
    }
    Ok(Built {
        dies: vec![("mosfet", vec![id])],
        hottest: vec![("mosfet", least(v.number("maximum-temperature")))],
        components,
        quantities: vec![
            ("voltage", "drain-source voltage", vds),
            ("gate", "gate-source voltage at the die", vgs),
            ("current", "drain current without displacement", Probe::Conduction(id, 0)),
            ("heat", "power turned into heat", Probe::Heat(id)),
        ],
        limits,
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry<L: Lane>() -> Entry<L> {
    Entry {
        kind: "mosfet",
        pins: &["drain", "gate", "source"],
        params: PARAMS,
        help: "MOSFET with smooth channel, body diode, breakdown, leakage and charges that follow temperature",
        source: "Enz, Krummenacher & Vittoz, Analog Integr. Circuits Signal Process. 8 (1995) 83; Sze & Ng (from memory)",
        build: build::<L>,
    }
}
