//! Repeated rectangular pulses of power, and what lies along a ladder.

use super::modal::approach;
use super::network::{CauerCell, FosterTerm};

/// Peak rise per watt of pulse power, K/W, in the quasi-steady state of pulses of length `pulse` s repeated with a
/// duty of `duty` (pulse over period; 0: a single pulse, 1: steady power).
///
/// Each term peaks at R·(1 − e^(−t/τ))/(1 − e^(−T/τ)), T the period (geometric sum): exact, where the rule
/// D·R_th + (1 − D)·Z_th(T + t) + Z_th(t) − Z_th(T) of handbooks is an approximation.
pub fn repetitive_peak(terms: &[FosterTerm], pulse: f64, duty: f64) -> f64 {
    let of = |term: &FosterTerm| {
        if term.time_constant == 0.0 {
            return term.resistance;
        }
        let x = pulse / term.time_constant;
        let period = if duty > 0.0 { approach(x / duty) } else { 1.0 };
        term.resistance * approach(x) / period
    };
    terms.iter().map(of).sum()
}

/// The cumulative structure function of a ladder: thermal resistance and heat capacitance summed from the heated end,
/// one point per cell (Székely & Van Bien, Solid-State Electron. 31 (1988) 1363). A cell's capacitance stands before
/// its resistance; the point lies after both. Steep stretches are good conductors of large section, flat ones
/// interfaces.
pub fn structure_function(cells: &[CauerCell]) -> Vec<(f64, f64)> {
    let mut sum = (0.0, 0.0);
    let next = |cell: &CauerCell| {
        sum = (sum.0 + cell.resistance, sum.1 + cell.capacitance);
        sum
    };
    cells.iter().map(next).collect()
}

/// The differential structure function of a ladder: heat capacitance per thermal resistance, dC/dR, against the thermal
/// resistance from the heated end (Székely & Van Bien, Solid-State Electron. 31 (1988) 1363; JESD51-14): (K/W, W²s/K²).
/// In a rod of section A it is c·λ·A², c per volume: peaks are good conductors of large section, valleys interfaces. Each
/// capacitance is spread over half the resistance on either side of it.
pub fn differential_structure_function(cells: &[CauerCell]) -> Vec<(f64, f64)> {
    let (mut sum, mut before) = (0.0, 0.0);
    let next = |cell: &CauerCell| {
        let point = (sum, cell.capacitance / (0.5 * (before + cell.resistance)));
        (sum, before) = (sum + cell.resistance, cell.resistance);
        point
    };
    cells.iter().map(next).collect()
}
