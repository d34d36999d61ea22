//! The optimiser: Levenberg–Marquardt after MINPACK (Moré 1978), by the crate `levenberg-marquardt`. It is built on
//! an older nalgebra than ours, which appears in this file only.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::DMatrix;
use nalgebra_034::{DMatrix as Matrix, DVector as Vector, Dyn, storage::Owned};

/// What is minimised: half the sum of squares of the residuals.
pub trait Problem {
    /// Residuals at these coordinates; of finite values, also where the model refuses them.
    fn residuals(&mut self, u: &[f64]) -> Vec<f64>;
}

/// Half the step of the differences that make the Jacobian. Central differences of a function known to 1e-14 have
/// their smallest error near the cube root of that.
const STEP: f64 = 1e-5;

/// ∂r/∂u by central differences, residuals by coordinates.
pub fn jacobian(problem: &mut dyn Problem, u: &[f64]) -> DMatrix<f64> {
    let mut at = u.to_vec();
    let columns: Vec<Vec<f64>> = (0..u.len())
        .map(|k| {
            at[k] = u[k] + STEP;
            let above = problem.residuals(&at);
            at[k] = u[k] - STEP;
            let below = problem.residuals(&at);
            at[k] = u[k];
            above.iter().zip(&below).map(|(a, b)| (a - b) / (2.0 * STEP)).collect()
        })
        .collect();
    DMatrix::from_fn(columns.first().map_or(0, Vec::len), u.len(), |r, c| columns[c][r])
}

/// The answer.
#[derive(Clone, Debug)]
pub struct Minimum {
    /// Coordinates.
    pub u: Vec<f64>,
    /// Whether the optimiser ended by its own measure; else it ran out of evaluations.
    pub converged: bool,
}

struct Adapter<'a> {
    problem: std::cell::RefCell<&'a mut dyn Problem>,
    u: Vector<f64>,
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Adapter<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &Vector<f64>) {
        self.u.copy_from(x);
    }
    fn params(&self) -> Vector<f64> {
        self.u.clone()
    }
    fn residuals(&self) -> Option<Vector<f64>> {
        Some(Vector::from_vec(self.problem.borrow_mut().residuals(self.u.as_slice())))
    }
    fn jacobian(&self) -> Option<Matrix<f64>> {
        let j = jacobian(*self.problem.borrow_mut(), self.u.as_slice());
        Some(Matrix::from_fn(j.nrows(), j.ncols(), |r, c| j[(r, c)]))
    }
}

/// Minimises from a start; `patience` times (coordinates + 1) evaluations at most.
pub fn minimise(problem: &mut dyn Problem, start: &[f64], patience: usize) -> Minimum {
    let adapter = Adapter { problem: std::cell::RefCell::new(problem), u: Vector::from_column_slice(start) };
    // A sum of squares that a step lowers by less than a billionth leaves the coordinates within a small part of their
    // standard errors; one that can reach zero falls much faster until it is there.
    let method =
        LevenbergMarquardt::new().with_patience(patience).with_ftol(1e-9).with_xtol(1e-11).with_gtol(1e-12);
    let (adapter, report) = method.minimize(adapter);
    // That no further digit can be won is an end as good as any.
    let converged = report.termination.was_successful()
        || matches!(report.termination, TerminationReason::NoImprovementPossible(_));
    Minimum { u: adapter.u.as_slice().to_vec(), converged }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosenbrock's valley: problem 1 of Moré, Garbow & Hillstrom, ACM TOMS 7 (1981) 17, minimum at (1, 1).
    struct Valley;
    impl Problem for Valley {
        fn residuals(&mut self, u: &[f64]) -> Vec<f64> {
            vec![10.0 * (u[1] - u[0] * u[0]), 1.0 - u[0]]
        }
    }

    #[test]
    fn a_published_problem_is_solved() {
        let found = minimise(&mut Valley, &[-1.2, 1.0], 100);
        assert!(found.converged);
        assert!(found.u.iter().all(|u| (u - 1.0).abs() < 1e-9), "{:?}", found.u);
    }
}
