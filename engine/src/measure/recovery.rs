//! Reverse recovery of a diode (IEC 60747-2; the JEDEC dictionary's terms of JESD77 and JESD282: from memory).
//!
//! The charge begins where the current passes zero and ends where it has come back to a stated share of its reverse
//! peak; it includes the charge of the diode's capacitance, which the terminals cannot tell apart. The recovery time
//! t_rr ends there too, or where a line through 90 % and 25 % of the peak meets zero.

use super::MeasureError;
use super::signal::Signal;

/// Reverse recovery.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recovery {
    /// When the current passes zero, s.
    pub zero: f64,
    /// Largest reverse current I_RM, A (as a size), and when, s.
    pub peak: (f64, f64),
    /// When the current has come back to the share, s.
    pub end: f64,
    /// Q_rr: ∫ of the reverse current from the zero to the end, C (as a size).
    pub charge: f64,
    /// E_rr: ∫ of reverse voltage times reverse current over the same stretch, J; NaN where it is not recorded.
    pub energy: f64,
    /// t_rr from the zero to the end, s.
    pub time: f64,
    /// t_rr to where the line through 90 % and 25 % of I_RM meets zero, s; NaN where 25 % is not reached.
    pub extrapolated: f64,
}

/// The record of a diode, all signals with the same instants.
#[derive(Clone, Copy, Debug)]
pub struct Record<'a> {
    /// Forward current, A.
    pub forward: Signal<'a>,
    /// ∫ of the forward current from the beginning of the record, C, where it is known better than from the samples.
    pub charge: Option<Signal<'a>>,
    /// ∫ of forward voltage times forward current from the beginning of the record, J, where it is known.
    pub work: Option<Signal<'a>>,
}

/// Measures the recovery in a record between two instants (s); `share` of the peak ends the charge (0.02 is common;
/// 0: the whole record).
///
/// # Errors
/// [`MeasureError`]: the current does not pass zero, or does not come back.
pub fn recovery(record: &Record<'_>, from: f64, until: f64, share: f64) -> Result<Recovery, MeasureError> {
    let forward = &record.forward;
    let missing = |what, level, from| MeasureError::NotReached { what, level, unit: "A", from, to: until };
    let within = |t: Option<f64>| t.filter(|&t| t <= until);
    let zero = within(forward.falls_to(0.0, from)).ok_or(missing("the diode current", 0.0, from))?;
    let (least, at) = forward.smallest(zero, until);
    if least >= 0.0 {
        return Err(missing("the diode's reverse current", 0.0, zero));
    }
    let back = |share: f64| within(forward.rises_to(share * least, at));
    let end = if share > 0.0 {
        back(share).ok_or(missing("the diode's reverse current", share * least, at))?
    } else {
        until
    };
    let extrapolated = match (back(0.9), back(0.25)) {
        (Some(a), Some(b)) => b + (b - a) * 0.25 / (0.9 - 0.25) - zero,
        _ => f64::NAN,
    };
    Ok(Recovery {
        zero,
        peak: (-least, at),
        end,
        charge: record.charge.map_or_else(|| -forward.integral(zero, end), |q| q.at(zero) - q.at(end)),
        energy: record.work.map_or(f64::NAN, |w| w.at(end) - w.at(zero)),
        time: end - zero,
        extrapolated,
    })
}
