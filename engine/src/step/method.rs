//! One-step methods as data: singly diagonally implicit, L-stable, stiffly accurate, with an explicit first stage.
//! A linearly implicit method ([`Rosenbrock`]) stands beside the implicit one that serves where it does not.

use super::rosenbrock::{RODAS, Rosenbrock};

/// A method of the family. Row i of `a` gives stage i from the derivatives of the stages up to i; the last row is `b`,
/// so the last stage is the new value; the diagonal is `gamma` from the second stage on, so one matrix serves a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Method {
    /// Name in scenarios and reports.
    pub name: &'static str,
    /// Order of accuracy.
    pub order: u32,
    /// Diagonal coefficient γ.
    pub gamma: f64,
    /// Lower triangle, row by row.
    pub a: &'static [&'static [f64]],
    /// Instants of the stages as fractions of the step.
    pub c: &'static [f64],
    /// b − b̂: the weights of the estimate of the local error.
    pub error: &'static [f64],
    /// Order with which the estimated local error falls with the step.
    pub error_order: u32,
    /// From which earlier values each implicit stage is predicted: numbers below `stages` are the previous step's
    /// start and stages, those from `stages` on are this step's implicit stages. Points that lie far apart are
    /// preferred: close ones amplify the stages' own errors.
    pub predict: &'static [&'static [u8]],
    /// The linearly implicit method that makes the steps. It has the same γ; the implicit one makes those at which it
    /// diverges, and all where the equations have index 2.
    pub rosenbrock: Option<&'static Rosenbrock>,
}

const SQRT2: f64 = std::f64::consts::SQRT_2;
const D: f64 = 1.0 - SQRT2 / 2.0;
const W: f64 = SQRT2 / 4.0;

/// TR-BDF2 with γ = 2 − √2 (Bank, Coughran, Fichtner, Grosse, Rose & Smith 1985; as a Runge–Kutta method with its
/// third-order companion: Hosea & Shampine 1996). The diagonal coefficient is 1 − √2/2.
pub const TR_BDF2: Method = Method {
    name: "tr-bdf2",
    order: 2,
    gamma: D,
    a: &[&[0.0], &[D, D], &[W, W, D]],
    c: &[0.0, 2.0 * D, 1.0],
    error: &[W - (1.0 - W) / 3.0, W - (3.0 * W + 1.0) / 3.0, D - D / 3.0],
    error_order: 3,
    predict: &[&[0, 1, 2], &[1, 2, 3]],
    rosenbrock: None,
};

/// ESDIRK4(3)6L\[2\]SA, γ = 1/4 (Kennedy & Carpenter 2003, the implicit half of ARK4(3)6L\[2\]SA): order 4, embedded
/// order 3.
pub const ESDIRK4: Method = Method {
    name: "esdirk4",
    order: 4,
    gamma: 0.25,
    a: &[
        &[0.0],
        &[0.25, 0.25],
        &[8_611.0 / 62_500.0, -1_743.0 / 31_250.0, 0.25],
        &[5_012_029.0 / 34_652_500.0, -654_441.0 / 2_922_500.0, 174_375.0 / 388_108.0, 0.25],
        &[
            15_267_082_809.0 / 155_376_265_600.0,
            -71_443_401.0 / 120_774_400.0,
            730_878_875.0 / 902_184_768.0,
            2_285_395.0 / 8_070_912.0,
            0.25,
        ],
        &[82_889.0 / 524_892.0, 0.0, 15_625.0 / 83_664.0, 69_875.0 / 102_672.0, -2_260.0 / 8_211.0, 0.25],
    ],
    c: &[0.0, 0.5, 83.0 / 250.0, 31.0 / 50.0, 17.0 / 20.0, 1.0],
    error: &[
        82_889.0 / 524_892.0 - 4_586_570_599.0 / 29_645_900_160.0,
        0.0,
        15_625.0 / 83_664.0 - 178_811_875.0 / 945_068_544.0,
        69_875.0 / 102_672.0 - 814_220_225.0 / 1_159_782_912.0,
        -2_260.0 / 8_211.0 + 3_700_637.0 / 11_593_932.0,
        0.25 - 61_727.0 / 225_920.0,
    ],
    error_order: 4,
    predict: &[&[0, 1, 5], &[1, 5, 6], &[5, 6, 7], &[6, 7, 8], &[6, 8, 9]],
    rosenbrock: None,
};

/// RODAS with ESDIRK4 beside it: order 4, embedded order 3, one Jacobian and one factorisation a step.
pub const RODAS4: Method = Method { name: "rodas4", rosenbrock: Some(&RODAS), ..ESDIRK4 };

/// All methods.
pub const METHODS: [&Method; 3] = [&TR_BDF2, &ESDIRK4, &RODAS4];

impl Method {
    /// Number of stages, the explicit first one included.
    pub const fn stages(&self) -> usize {
        self.c.len()
    }
    /// α = 1/(γh) of a step of `h` s, 1/s.
    pub fn alpha(&self, h: f64) -> f64 {
        1.0 / (self.gamma * h)
    }
    /// The weights b (the last row of `a`).
    pub const fn b(&self) -> &'static [f64] {
        self.a[self.a.len() - 1]
    }
    /// The weight of what a step begins with and has not computed itself.
    pub const fn first_weight(&self) -> f64 {
        if self.rosenbrock.is_some() { 0.0 } else { self.b()[0] }
    }
    /// The implicit method that serves equations of index 2.
    pub fn implicit(&'static self) -> &'static Method {
        if self.rosenbrock.is_some() { &ESDIRK4 } else { self }
    }
    /// The method of this name.
    pub fn named(name: &str) -> Option<&'static Method> {
        METHODS.into_iter().find(|m| m.name == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The order conditions of Runge–Kutta methods up to order 4 (Hairer, Nørsett & Wanner 1993, table II.2.2).
    #[test]
    fn methods_fulfil_their_order_conditions() {
        for m in METHODS {
            assert!(m.rosenbrock.is_none_or(|r| r.gamma == m.gamma));
            let s = m.stages();
            let a = |i: usize, j: usize| m.a[i].get(j).copied().unwrap_or(0.0);
            let sum = |f: &dyn Fn(usize) -> f64| (0..s).map(f).sum::<f64>();
            for i in 0..s {
                assert!((sum(&|j| a(i, j)) - m.c[i]).abs() < 1e-13, "{}: row {i}", m.name);
            }
            let check = |weights: &dyn Fn(usize) -> f64, order: u32, which: &str| {
                let w = weights;
                let c = m.c;
                let ac = |i: usize, p: i32| sum(&|j| a(i, j) * c[j].powi(p));
                let aac = |i: usize| sum(&|j| a(i, j) * ac(j, 1));
                let conditions: Vec<(u32, f64, f64)> = vec![
                    (1, sum(&|i| w(i)), 1.0),
                    (2, sum(&|i| w(i) * c[i]), 1.0 / 2.0),
                    (3, sum(&|i| w(i) * c[i] * c[i]), 1.0 / 3.0),
                    (3, sum(&|i| w(i) * ac(i, 1)), 1.0 / 6.0),
                    (4, sum(&|i| w(i) * c[i].powi(3)), 1.0 / 4.0),
                    (4, sum(&|i| w(i) * c[i] * ac(i, 1)), 1.0 / 8.0),
                    (4, sum(&|i| w(i) * ac(i, 2)), 1.0 / 12.0),
                    (4, sum(&|i| w(i) * aac(i)), 1.0 / 24.0),
                ];
                for (k, (_, got, want)) in conditions.iter().enumerate().filter(|(_, c)| c.0 <= order) {
                    assert!((got - want).abs() < 1e-13, "{} {which} condition {k}: {got} {want}", m.name);
                }
                assert!(
                    conditions.iter().any(|c| c.0 == order + 1 && (c.1 - c.2).abs() > 1e-4) || order == 4
                );
            };
            let b = m.b();
            check(&|i| b[i], m.order, "b");
            // L-stability: a derivative the equations do not hold (K₁ of an algebraic part) is forgotten in one step.
            let mut k = vec![1.0];
            for i in 1..s {
                k.push(-(0..i).map(|j| a(i, j) * k[j]).sum::<f64>() / m.gamma);
            }
            assert!(k[s - 1].abs() < 1e-12, "{}: R(∞) = {}", m.name, k[s - 1]);
            // The companion: order 3 for both.
            check(&|i| b[i] - m.error[i], 3, "companion");
        }
    }
}
