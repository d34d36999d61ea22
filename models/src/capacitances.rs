//! Terminal capacitances of a part, and the charge and energy of its output capacitance.
//!
//! Definitions: IEC 60747-8 and the JESD24 family (from memory). C_oss is seen at the drain with the gate at the
//! source, C_iss at the gate with the drain held, C_rss between them; of a diode only C_oss is there.

use crate::model::{Entry, Values};
use crate::operating::{AtRest, Feed, OperatingError};

/// The frequency of the small signal, Hz: so low that resistances of the gate loop do not matter.
pub const FREQUENCY: f64 = 1e5;

/// Capacitances, F.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capacitances {
    /// C_iss.
    pub input: f64,
    /// C_oss.
    pub output: f64,
    /// C_rss.
    pub reverse: f64,
}

/// Capacitances with the gate at the source and `volts` between drain and source (cathode and anode), V.
///
/// # Errors
/// [`OperatingError`].
pub fn capacitances(
    entry: &Entry,
    values: &Values,
    volts: f64,
    celsius: f64,
) -> Result<Capacitances, OperatingError> {
    // A diode blocks the other way round.
    let sign = if entry.pins.first() == Some(&"anode") { -1.0 } else { 1.0 };
    let rest = AtRest::new(entry, values, 0.0, Feed::Voltage(sign * volts), celsius)?;
    let y = rest.admittances(FREQUENCY).ok_or(OperatingError::Pins(entry.kind))?;
    let c = |j: usize, k: usize| y[j][k].im / (std::f64::consts::TAU * FREQUENCY);
    Ok(Capacitances { input: c(1, 1), output: c(0, 0), reverse: -c(1, 0) })
}

/// The output capacitance up to a voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutputCharge {
    /// The voltage V, V.
    pub voltage: f64,
    /// C_oss there, F.
    pub capacitance: f64,
    /// Q_oss = ∫ C_oss dv from 0 to V, C.
    pub charge: f64,
    /// E_oss = ∫ v·C_oss dv from 0 to V, J.
    pub energy: f64,
}

impl OutputCharge {
    /// Time-related equivalent C_o(tr) = Q/V, F: the constant capacitance that a constant current charges in the same
    /// time.
    pub fn time_related(&self) -> f64 {
        self.charge / self.voltage
    }

    /// Energy-related equivalent C_o(er) = 2E/V², F.
    pub fn energy_related(&self) -> f64 {
        2.0 * self.energy / (self.voltage * self.voltage)
    }

    /// Energy lost when a source of V charges it through a resistance, Q·V − E, J.
    pub fn charging_loss(&self) -> f64 {
        self.charge * self.voltage - self.energy
    }

    /// Energy lost when one of two equal switches in series turns on hard against the other's capacitance: its own E
    /// and the other's charging loss, Q·V, J.
    pub fn half_bridge_loss(&self) -> f64 {
        self.charge * self.voltage
    }
}

/// Charge and energy of the output capacitance up to each of some ascending voltages (V), gate at the source.
///
/// # Errors
/// [`OperatingError`].
pub fn output_charge(
    entry: &Entry,
    values: &Values,
    volts: &[f64],
    celsius: f64,
) -> Result<Vec<OutputCharge>, OperatingError> {
    let at = |v: f64| capacitances(entry, values, v, celsius).map(|c| c.output);
    let mut out = Vec::with_capacity(volts.len());
    let (mut from, mut charge, mut energy) = (0.0, 0.0, 0.0);
    for &voltage in volts {
        // Bit by bit, each half as long again as the last: capacitances fall fastest at low voltage.
        while from < voltage {
            let to = if from == 0.0 { 0.5 } else { 1.5 * from };
            // No bit is left over that is short against the last one.
            let to = if 1.2 * to >= voltage { voltage } else { to };
            let (q, e) = panel(&at, from, to, 6)?;
            charge += q;
            energy += e;
            from = to;
        }
        out.push(OutputCharge { voltage, capacitance: at(voltage)?, charge, energy });
    }
    Ok(out)
}

/// Abscissae and weights of Gauss's quadrature with four points on [−1, 1] (Abramowitz & Stegun, table 25.4).
const GAUSS: [(f64, f64); 4] = [
    (-0.861_136_311_594_052_6, 0.347_854_845_137_453_9),
    (-0.339_981_043_584_856_3, 0.652_145_154_862_546_1),
    (0.339_981_043_584_856_3, 0.652_145_154_862_546_1),
    (0.861_136_311_594_052_6, 0.347_854_845_137_453_9),
];

/// ∫ C dv and ∫ v·C dv, halved until halving does not change the charge by more than 1e-7.
fn panel<E>(c: &impl Fn(f64) -> Result<f64, E>, a: f64, b: f64, depth: u32) -> Result<(f64, f64), E> {
    let gauss = |a: f64, b: f64| -> Result<(f64, f64), E> {
        let (centre, half) = (0.5 * (a + b), 0.5 * (b - a));
        let (mut q, mut e) = (0.0, 0.0);
        for (x, weight) in GAUSS {
            let v = centre + half * x;
            let dq = half * weight * c(v)?;
            q += dq;
            e += v * dq;
        }
        Ok((q, e))
    };
    let middle = 0.5 * (a + b);
    let (whole, left, right) = (gauss(a, b)?, gauss(a, middle)?, gauss(middle, b)?);
    let (q, e) = (left.0 + right.0, left.1 + right.1);
    if depth == 0 || (q - whole.0).abs() <= 1e-7 * q.abs() {
        return Ok((q, e));
    }
    let (left, right) = (panel(c, a, middle, depth - 1)?, panel(c, middle, b, depth - 1)?);
    Ok((left.0 + right.0, left.1 + right.1))
}
