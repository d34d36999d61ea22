//! Foster terms: the thermal impedance seen at the heat inputs, as a sum of exponentials.

use nalgebra::{DMatrix, SymmetricEigen};

use super::super::error::ThermalError;
use super::{Boundary, Form, Network, check_boundary, check_capacitance, check_distinct, check_resistance};

/// One term of a Foster chain, R·(1 − e^(−t/τ)) of a junction against the boundary.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FosterTerm {
    /// R, K/W.
    pub resistance: f64,
    /// τ = R·C, s; 0 is a resistance without delay.
    pub time_constant: f64,
}

crate::packed!(FosterTerm: resistance, time_constant);

impl FosterTerm {
    /// A term given by resistance (K/W) and heat capacitance (J/K).
    pub fn from_capacitance(resistance: f64, capacitance: f64) -> Self {
        Self { resistance, time_constant: resistance * capacitance }
    }

    /// C = τ/R, J/K.
    pub fn capacitance(&self) -> f64 {
        self.time_constant / self.resistance
    }
}

/// One term of a Foster network with several heat inputs: all self and mutual terms of one time constant.
#[derive(Debug, Clone, PartialEq)]
pub struct FosterMatrixTerm {
    /// τ, s; 0 is a resistance without delay.
    pub time_constant: f64,
    /// Row-major square matrix of the number of inputs, K/W: entry (i, j) is the part of the rise of input i per
    /// watt of input j.
    pub resistances: Vec<f64>,
}

impl Network {
    /// One Foster chain of one heat input against one boundary, named `boundary`, at `temperature` °C.
    ///
    /// # Errors
    /// A resistance not positive, a time constant negative, a temperature below absolute zero, no terms.
    pub fn foster(input: &str, terms: &[FosterTerm], temperature: f64) -> Result<Self, ThermalError> {
        for (k, term) in terms.iter().enumerate() {
            check_term(term, || format!("Foster term {} of `{input}`", k + 1))?;
        }
        let matrices = terms
            .iter()
            .map(|t| FosterMatrixTerm { time_constant: t.time_constant, resistances: vec![t.resistance] });
        Self::foster_matrix(&[input], matrices.collect(), Boundary { name: "boundary".into(), temperature })
    }

    /// A Foster network of several heat inputs against one boundary, from matrices that share time constants.
    ///
    /// What is allowed: for every time constant the matrix of self and mutual resistances is symmetric (heat
    /// conduction is reciprocal) and has no eigenvalue below zero. These are the conditions for the whole to be
    /// an arrangement of positive resistances, capacitances and ideal transformers (Cauer's conditions for RC
    /// impedance matrices); without them it could give back more heat than it was given. A mutual resistance may be
    /// negative in one term. Mutual terms with a time constant that the self terms lack break the condition: fit
    /// self and mutual curves together, with common time constants. Terms of equal time constant are added.
    ///
    /// # Errors
    /// The above, with the offending term; a matrix of the wrong size; inputs named twice; a temperature below
    /// absolute zero.
    pub fn foster_matrix(
        inputs: &[&str],
        terms: Vec<FosterMatrixTerm>,
        boundary: Boundary,
    ) -> Result<Self, ThermalError> {
        let inputs: Vec<String> = inputs.iter().map(|s| s.to_string()).collect();
        check_distinct(inputs.iter())?;
        check_boundary(&boundary)?;
        let place = || "the Foster network".to_string();
        if inputs.is_empty() {
            return Err(ThermalError::Missing { place: place(), what: "heat input" });
        }
        if terms.is_empty() {
            return Err(ThermalError::Missing { place: place(), what: "terms" });
        }
        let mut merged: Vec<FosterMatrixTerm> = Vec::new();
        for term in terms {
            let term = checked(term, &inputs)?;
            match merged.iter_mut().find(|m| m.time_constant == term.time_constant) {
                Some(same) => same.resistances.iter_mut().zip(&term.resistances).for_each(|(a, b)| *a += b),
                None => merged.push(term),
            }
        }
        merged.sort_by(|a, b| a.time_constant.total_cmp(&b.time_constant));
        for term in &merged {
            check_passive(term, inputs.len())?;
        }
        Ok(Self { inputs, boundaries: vec![boundary], form: Form::Foster(merged) })
    }

    /// As [`Self::foster_matrix`], from one list of terms per pair of inputs: `(i, j, terms)`, each pair once, in
    /// either order; a pair not given has no mutual heating. Terms of different pairs belong together when their
    /// time constants are equal.
    ///
    /// # Errors
    /// As [`Self::foster_matrix`]; an input number too large, a pair given twice.
    pub fn foster_lists(
        inputs: &[&str],
        lists: &[(usize, usize, &[FosterTerm])],
        boundary: Boundary,
    ) -> Result<Self, ThermalError> {
        let count = inputs.len();
        let mut seen = std::collections::BTreeSet::new();
        let mut terms = Vec::new();
        for &(i, j, list) in lists {
            if i.max(j) >= count {
                return Err(ThermalError::Unknown {
                    wanted_by: "a Foster list".into(),
                    name: format!("input number {}", i.max(j)),
                    known: format!("{count} inputs, counted from 0"),
                });
            }
            if !seen.insert((i.min(j), i.max(j))) {
                let name = format!("{} and {}", inputs[i], inputs[j]);
                return Err(ThermalError::DuplicateName { what: "Foster lists", name });
            }
            for term in list {
                let mut resistances = vec![0.0; count * count];
                resistances[i * count + j] = term.resistance;
                resistances[j * count + i] = term.resistance;
                terms.push(FosterMatrixTerm { time_constant: term.time_constant, resistances });
            }
        }
        Self::foster_matrix(inputs, terms, boundary)
    }
}

pub(in super::super) fn check_term(
    term: &FosterTerm,
    place: impl Fn() -> String,
) -> Result<(), ThermalError> {
    check_resistance(term.resistance, &place)?;
    check_time_constant(term.time_constant, place)
}

fn check_time_constant(value: f64, place: impl Fn() -> String) -> Result<(), ThermalError> {
    check_capacitance(value, String::new).map_err(|_| ThermalError::BadTimeConstant { place: place(), value })
}

/// Size, numbers, symmetry.
fn checked(mut term: FosterMatrixTerm, inputs: &[String]) -> Result<FosterMatrixTerm, ThermalError> {
    let count = inputs.len();
    let tau = term.time_constant;
    check_time_constant(tau, || "a Foster term".into())?;
    if term.resistances.len() != count * count {
        return Err(ThermalError::WrongSize {
            what: format!("the matrix of the Foster term of {tau} s"),
            expected: count * count,
            found: term.resistances.len(),
        });
    }
    let size = term.resistances.iter().fold(0.0_f64, |a, r| a.max(r.abs()));
    for i in 0..count {
        for j in 0..=i {
            let (there, back) = (term.resistances[j * count + i], term.resistances[i * count + j]);
            if !(there.is_finite() && back.is_finite()) {
                let place = format!("`{}` and `{}` in the Foster term of {tau} s", inputs[i], inputs[j]);
                return Err(ThermalError::BadResistance { place, value: there + back });
            }
            if (there - back).abs() > 1e-9 * size {
                let (from, to) = (inputs[i].clone(), inputs[j].clone());
                return Err(ThermalError::NotReciprocal { time_constant: tau, from, to, there, back });
            }
            let mean = 0.5 * (there + back);
            term.resistances[j * count + i] = mean;
            term.resistances[i * count + j] = mean;
        }
    }
    Ok(term)
}

/// Eigenvalues (none below zero) and eigenvectors of one term's matrix, largest first.
pub(in super::super) fn eigen_of_term(term: &FosterMatrixTerm, count: usize) -> Vec<(f64, Vec<f64>)> {
    let eigen = SymmetricEigen::new(DMatrix::from_row_slice(count, count, &term.resistances));
    let mut pairs: Vec<(f64, Vec<f64>)> = eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
        .map(|(value, vector)| (*value, vector.iter().copied().collect()))
        .collect();
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
    pairs
}

fn check_passive(term: &FosterMatrixTerm, count: usize) -> Result<(), ThermalError> {
    let pairs = eigen_of_term(term, count);
    let (largest, smallest) = (pairs[0].0, pairs[count - 1].0);
    // Rank-deficient terms are common (one heat path seen by all inputs); round-off makes their zeros tiny.
    if smallest >= -1e-12 * largest {
        return Ok(());
    }
    Err(ThermalError::NotPassive { time_constant: term.time_constant, eigenvalue: smallest })
}
