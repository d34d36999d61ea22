//! Linearly implicit one-step methods (Rosenbrock methods): here as data, their steps in `step`.

mod energy;
mod stages;
mod step;

pub(super) use stages::Stages;

/// A stiffly accurate method, by the coefficients that need no product with a Jacobian (Hairer & Wanner, *Solving
/// Ordinary Differential Equations II*, 2nd ed. 1996, section IV.7): with U = Γ·k instead of the derivatives k, stage i
/// stands at x + Σ aᵢⱼUⱼ and solves (I/(γh) − J)·Uᵢ = f + Σ (cᵢⱼ/h)·Uⱼ + γᵢh·∂f/∂t.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rosenbrock {
    /// Diagonal coefficient γ.
    pub gamma: f64,
    /// aᵢⱼ, row by row. The last row with a 1 behind it has the weights of the new value: it is the last stage's x + U,
    /// and this U, the last stage's own, is the estimate of the local error.
    pub a: &'static [&'static [f64]],
    /// cᵢⱼ, row by row.
    pub c: &'static [&'static [f64]],
    /// Instants of the stages as fractions of the step: row sums of A·Γ.
    pub alpha: &'static [f64],
    /// What stands before h·∂f/∂t in each stage: row sums of Γ.
    pub gammas: &'static [f64],
}

const ROW5: [f64; 4] =
    [1.221_224_509_226_641, 6.019_134_481_288_629, 12.537_083_329_320_87, -0.687_886_036_105_895];

/// RODAS, order 4 with embedded order 3, six stages, L-stable and stiffly accurate, for equations of index 1
/// (coefficients: the code RODAS of Hairer & Wanner, 1996, from memory; the tests hold them against the book's order
/// conditions).
pub const RODAS: Rosenbrock = Rosenbrock {
    gamma: 0.25,
    a: &[
        &[],
        &[1.544],
        &[0.946_678_528_081_582_6, 0.255_701_169_898_328_4],
        &[3.314_825_187_068_521, 2.896_124_015_972_201, 0.998_641_913_997_781_7],
        &ROW5,
        &[ROW5[0], ROW5[1], ROW5[2], ROW5[3], 1.0],
    ],
    c: &[
        &[],
        &[-5.6688],
        &[-2.430_093_356_833_875, -0.206_359_915_709_191_5],
        &[-0.107_352_905_815_137_5, -9.594_562_251_023_355, -20.470_286_148_096_16],
        &[7.496_443_313_967_647, -10.246_804_314_643_52, -33.999_903_528_199_05, 11.708_908_932_061_6],
        &[
            8.083_246_795_921_522,
            -7.981_132_988_064_893,
            -31.521_594_328_743_71,
            16.319_305_431_231_36,
            -6.058_818_238_834_054,
        ],
    ],
    alpha: &[0.0, 0.386, 0.21, 0.63, 1.0, 1.0],
    gammas: &[0.25, -0.1043, 0.1035, -0.0362, 0.0, 0.0],
};

impl Rosenbrock {
    /// Number of stages.
    pub const fn stages(&self) -> usize {
        self.alpha.len()
    }

    /// The weights b = m·Γ of the derivatives, Γ⁻¹ = I/γ − C: a quadrature over the stages.
    pub fn weights(&self) -> Vec<f64> {
        let s = self.stages();
        let mut b = vec![0.0; s];
        for j in (0..s).rev() {
            let m = self.a[s - 1].get(j).copied().unwrap_or(1.0);
            let later = (j + 1..s).map(|i| b[i] * self.c[i][j]).sum::<f64>();
            b[j] = self.gamma * (m + later);
        }
        b
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Matrix = Vec<Vec<f64>>;

    fn times(a: &Matrix, b: &Matrix) -> Matrix {
        let n = a.len();
        let entry = |i: usize, j: usize| (0..n).map(|k| a[i][k] * b[k][j]).sum();
        (0..n).map(|i| (0..n).map(|j| entry(i, j)).collect()).collect()
    }

    /// Inverse of a lower triangle.
    fn inverse(a: &Matrix) -> Matrix {
        let mut out = Matrix::new();
        for (i, row) in a.iter().enumerate() {
            let entry = |j: usize| {
                let unit = f64::from(u8::from(i == j));
                let known: f64 = row.iter().zip(&out).map(|(a, found)| a * found[j]).sum();
                (unit - known) / row[i]
            };
            let found = (0..a.len()).map(entry).collect();
            out.push(found);
        }
        out
    }

    /// Weights, A·Γ, Γ and their sum B of the untransformed method.
    struct Plain {
        b: Vec<f64>,
        companion: Vec<f64>,
        alpha: Matrix,
        gamma: Matrix,
        beta: Matrix,
    }

    fn plain(m: &Rosenbrock) -> Plain {
        let s = m.stages();
        let full = |rows: &[&[f64]], i: usize, j: usize| rows[i].get(j).copied().unwrap_or(0.0);
        let square = |f: &dyn Fn(usize, usize) -> f64| -> Matrix {
            (0..s).map(|i| (0..s).map(|j| f(i, j)).collect()).collect()
        };
        let gamma = inverse(&square(&|i, j| f64::from(u8::from(i == j)) / m.gamma - full(m.c, i, j)));
        let alpha = times(&square(&|i, j| full(m.a, i, j)), &gamma);
        let beta = square(&|i, j| alpha[i][j] + gamma[i][j]);
        let of = |weights: &dyn Fn(usize) -> f64| -> Vec<f64> {
            (0..s).map(|j| (0..s).map(|i| weights(i) * gamma[i][j]).sum()).collect()
        };
        let companion = of(&|i| full(m.a, s - 1, i));
        let b = of(&|i| if i + 1 == s { 1.0 } else { full(m.a, s - 1, i) });
        Plain { b, companion, alpha, gamma, beta }
    }

    /// Order conditions of Rosenbrock methods up to order 4 (Hairer & Wanner, Solving ODEs II, table IV.7.1, with the
    /// diagonal in B), and of order 4 for differential-algebraic equations of index 1 (section VI.4, ω = B⁻¹; Roche,
    /// Numer. Math. 52 (1988) 45). The companion has order 3 in both.
    #[test]
    fn rodas_fulfils_its_order_conditions() {
        let m = &RODAS;
        let Plain { b, companion, alpha, gamma, beta } = plain(m);
        let s = m.stages();
        let sum = |f: &dyn Fn(usize) -> f64| (0..s).map(f).sum::<f64>();
        let omega = inverse(&beta);
        let on = |a: &Matrix, v: &dyn Fn(usize) -> f64, i: usize| sum(&|j| a[i][j] * v(j));
        let al = |i: usize| sum(&|j| alpha[i][j]);
        let be = |i: usize| sum(&|j| beta[i][j]);
        for i in 0..s {
            assert!((al(i) - m.alpha[i]).abs() < 1e-13, "instant {i}");
            assert!((sum(&|j| gamma[i][j]) - m.gammas[i]).abs() < 1e-13, "row {i} of gamma");
            assert!((b[i] - m.weights()[i]).abs() < 1e-13, "weight {i}");
            assert!((beta[s - 1][i] - b[i]).abs() < 1e-13, "stiffly accurate: {i}");
        }
        let check = |w: &dyn Fn(usize) -> f64, order: u32, which: &str| {
            let squares = |i: usize| al(i) * al(i);
            let cubes = |i: usize| al(i).powi(3);
            let inner = |i: usize| on(&beta, &be, i);
            let conditions = [
                (1, sum(&|i| w(i)), 1.0),
                (2, sum(&|i| w(i) * be(i)), 1.0 / 2.0),
                (3, sum(&|i| w(i) * squares(i)), 1.0 / 3.0),
                (3, sum(&|i| w(i) * inner(i)), 1.0 / 6.0),
                (4, sum(&|i| w(i) * cubes(i)), 1.0 / 4.0),
                (4, sum(&|i| w(i) * al(i) * on(&alpha, &be, i)), 1.0 / 8.0),
                (4, sum(&|i| w(i) * on(&beta, &squares, i)), 1.0 / 12.0),
                (4, sum(&|i| w(i) * on(&beta, &inner, i)), 1.0 / 24.0),
                (3, sum(&|i| w(i) * on(&omega, &squares, i)), 1.0),
                (4, sum(&|i| w(i) * on(&omega, &cubes, i)), 1.0),
                (4, sum(&|i| w(i) * on(&omega, &|k| al(k) * on(&alpha, &be, k), i)), 1.0 / 2.0),
                (4, sum(&|i| w(i) * al(i) * on(&alpha, &|k| on(&omega, &squares, k), i)), 1.0 / 4.0),
            ];
            for (k, (_, got, want)) in conditions.iter().enumerate().filter(|(_, c)| c.0 <= order) {
                assert!((got - want).abs() < 1e-13, "{which} condition {k}: {got} {want}");
            }
            let next = conditions.iter().any(|c| c.0 == order + 1 && (c.1 - c.2).abs() > 1e-3);
            assert!(order == 4 || next, "{which} has a higher order");
        };
        check(&|i| b[i], 4, "new value");
        check(&|i| companion[i], 3, "companion");
        // R(∞) = 1 − b·B⁻¹·1 of the new value, and of the companion.
        let ones = |i: usize| sum(&|j| omega[i][j]);
        assert!((1.0 - sum(&|i| b[i] * ones(i))).abs() < 1e-13);
        assert!((1.0 - sum(&|i| companion[i] * ones(i))).abs() < 1e-13);
    }
}
