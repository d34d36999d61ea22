//! A Foster chain as a Cauer ladder, and back.

use super::error::ThermalError;
use super::modal::Modal;
use super::network::{CauerCell, FosterTerm, Network, check_term};

/// The Cauer ladder with the thermal impedance of a Foster chain (Cauer 1926: the continued fraction of
/// Z(s) = Σ R/(1 + sτ)). Terms of equal time constant become one cell; a term of time constant 0 becomes a first
/// cell without capacitance.
///
/// The continued fraction is not expanded in polynomials, which lose all digits when time constants spread. Terms
/// are added one by one, fastest first, to the quotients of the ladder's matrix (Rutishauser's qd arrays; Laurie,
/// J. Comput. Appl. Math. 112 (1999) 165, from memory; recurrences derived in the code). Only sums, products and
/// quotients of positive numbers occur, besides differences of given rates: every cell keeps its digits.
///
/// # Errors
/// No terms, a resistance not positive, a time constant negative.
pub fn foster_to_cauer(terms: &[FosterTerm]) -> Result<Vec<CauerCell>, ThermalError> {
    if terms.is_empty() {
        return Err(ThermalError::Missing { place: "the Foster chain".into(), what: "terms" });
    }
    let mut merged: Vec<FosterTerm> = Vec::new();
    for (k, term) in terms.iter().enumerate() {
        check_term(term, || format!("Foster term {}", k + 1))?;
        match merged.iter_mut().find(|m| m.time_constant == term.time_constant) {
            Some(same) => same.resistance += term.resistance,
            None => merged.push(*term),
        }
    }
    merged.sort_by(|a, b| a.time_constant.total_cmp(&b.time_constant));
    let mut cells = Vec::new();
    if merged[0].time_constant == 0.0 {
        cells.push(CauerCell { capacitance: 0.0, resistance: merged.remove(0).resistance });
    }
    cells.extend(ladder(&merged));
    Ok(cells)
}

/// Z(s) = Σ w/(s + λ), w = 1/C. The ladder's matrix J = C^(−½)·G·C^(−½) = L·U has pivots q = g/C (its own
/// capacitance) and quotients e = g/C (of the next cell); J's measure is Σ w·δ(λ).
fn ladder(terms: &[FosterTerm]) -> Vec<CauerCell> {
    let (mut q, mut e) = (Vec::new(), Vec::new());
    let mut mass = 0.0;
    for (k, term) in terms.iter().enumerate() {
        let rate = 1.0 / term.time_constant;
        add_at_origin(&mut q, &mut e, &mut mass, term.resistance * rate);
        // The origin moves from this rate to the next slower one, at last to zero: J grows by a positive multiple
        // of the unit matrix.
        shift(&mut q, &mut e, rate - terms.get(k + 1).map_or(0.0, |next| 1.0 / next.time_constant));
    }
    let mut capacitance = 1.0 / mass;
    let mut cells = Vec::with_capacity(q.len());
    for (k, q) in q.iter().enumerate() {
        let conductance = q * capacitance;
        cells.push(CauerCell { capacitance, resistance: 1.0 / conductance });
        capacitance = e.get(k).map_or(0.0, |e| conductance / e);
    }
    cells
}

/// Adds weight w at the origin. Times x, the measures with and without it are the same, so U·L = U′·L′ with the
/// first pivot (the mean) q₁′ = q₁·m/(m + w). From qₖ + eₖ = qₖ′ + eₖ′ and eₖ·qₖ₊₁ = eₖ′·qₖ₊₁′, with dₖ = qₖ − qₖ′:
/// eₖ′ = eₖ + dₖ, qₖ₊₁′ = qₖ₊₁·eₖ/eₖ′, dₖ₊₁ = qₖ₊₁·dₖ/eₖ′; the new last pivot is 0.
fn add_at_origin(q: &mut Vec<f64>, e: &mut Vec<f64>, mass: &mut f64, weight: f64) {
    let total = *mass + weight;
    if let Some(first) = q.first_mut() {
        let mut d = *first * (weight / total);
        *first *= *mass / total;
        for k in 0..q.len() {
            let before = e.get(k).copied().unwrap_or(0.0);
            let after = before + d;
            match e.get_mut(k) {
                Some(e) => *e = after,
                None => e.push(after),
            }
            if k + 1 < q.len() {
                d = q[k + 1] * (d / after);
                q[k + 1] *= before / after;
            }
        }
    }
    q.push(0.0);
    *mass = total;
}

/// J + σ·1 = L′·U′: qₖ′ = qₖ + tₖ, eₖ′·qₖ′ = eₖ·qₖ, tₖ₊₁ = σ + tₖ·eₖ/qₖ′, t₁ = σ.
fn shift(q: &mut [f64], e: &mut [f64], sigma: f64) {
    let mut t = sigma;
    for (k, q) in q.iter_mut().enumerate() {
        let before = *q;
        *q += t;
        if let Some(e) = e.get_mut(k) {
            t = sigma + t * (*e / *q);
            *e *= before / *q;
        }
    }
}

/// The Foster chain with the thermal impedance of a Cauer ladder, fastest first. A ladder whose first cell has no
/// capacitance gives a first term of time constant 0.
///
/// # Errors
/// No cells, a resistance not positive, a capacitance negative.
pub fn cauer_to_foster(cells: &[CauerCell]) -> Result<Vec<FosterTerm>, ThermalError> {
    let network = Network::cauer("ladder", cells, 0.0)?;
    Ok(Modal::<f64>::new(&network)?.foster_terms(0, 0))
}
