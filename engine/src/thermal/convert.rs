//! A Foster chain as a Cauer ladder, and back.

use super::modal::Modal;
use super::network::{CauerCell, FosterTerm, Network, check_term};
use super::trouble::ThermalTrouble;

/// The Cauer ladder with the thermal impedance of a Foster chain (Cauer 1926: the continued fraction of
/// Z(s) = Σ R/(1 + sτ)). Terms of equal time constant become one cell; a term of time constant 0 becomes a first
/// cell without capacitance.
///
/// The continued fraction is not expanded in polynomials, which lose all digits when time constants spread: a
/// ladder is the bidiagonal matrix F with FᵀF = C^(−½)·G·C^(−½), and Golub–Kahan bidiagonalisation (1965) of
/// diag(τ^(−½)) from the weights (1/C)^½ gives F entry by entry, with vectors kept orthogonal throughout.
///
/// # Errors
/// No terms, a resistance not positive, a time constant negative.
pub fn foster_to_cauer(terms: &[FosterTerm]) -> Result<Vec<CauerCell>, ThermalTrouble> {
    if terms.is_empty() {
        return Err(ThermalTrouble::Missing { place: "the Foster chain".into(), what: "terms" });
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

fn ladder(terms: &[FosterTerm]) -> Vec<CauerCell> {
    let n = terms.len();
    let sigma: Vec<f64> = terms.iter().map(|t| 1.0 / t.time_constant.sqrt()).collect();
    let mut right: Vec<Vec<f64>> = Vec::new();
    let mut left: Vec<Vec<f64>> = Vec::new();
    let mut v: Vec<f64> = terms.iter().map(|t| (t.resistance / t.time_constant).sqrt()).collect();
    let norm = normalise(&mut v);
    let mut capacitance = 1.0 / (norm * norm);
    let mut cells = Vec::with_capacity(n);
    for k in 0..n {
        // F's diagonal is (g/C)^½ of this cell, its upper neighbour (g/C of the next)^½.
        let mut u: Vec<f64> = v.iter().zip(&sigma).map(|(v, s)| v * s).collect();
        clean(&mut u, &left);
        let diagonal = normalise(&mut u);
        let conductance = diagonal * diagonal * capacitance;
        cells.push(CauerCell { capacitance, resistance: 1.0 / conductance });
        right.push(v);
        if k + 1 == n {
            break;
        }
        v = u.iter().zip(&sigma).map(|(u, s)| u * s).collect();
        clean(&mut v, &right);
        let beside = normalise(&mut v);
        capacitance = conductance / (beside * beside);
        left.push(u);
    }
    cells
}

/// Removes what lies along earlier vectors, twice (Kahan: twice is enough).
fn clean(x: &mut [f64], earlier: &[Vec<f64>]) {
    for _ in 0..2 {
        for e in earlier.iter().rev() {
            let along: f64 = x.iter().zip(e).map(|(x, e)| x * e).sum();
            x.iter_mut().zip(e).for_each(|(x, e)| *x -= along * e);
        }
    }
}

fn normalise(x: &mut [f64]) -> f64 {
    let norm = x.iter().map(|x| x * x).sum::<f64>().sqrt();
    x.iter_mut().for_each(|x| *x /= norm);
    norm
}

/// The Foster chain with the thermal impedance of a Cauer ladder, fastest first. A ladder whose first cell has no
/// capacitance gives a first term of time constant 0.
///
/// # Errors
/// No cells, a resistance not positive, a capacitance negative.
pub fn cauer_to_foster(cells: &[CauerCell]) -> Result<Vec<FosterTerm>, ThermalTrouble> {
    let network = Network::cauer("ladder", cells, 0.0)?;
    Ok(Modal::<f64>::new(&network)?.foster_terms(0, 0))
}
