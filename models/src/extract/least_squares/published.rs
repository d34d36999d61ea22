//! Published problems with published minima: Moré, Garbow & Hillstrom, "Testing unconstrained optimization software",
//! ACM TOMS 7 (1981) 17 (from memory; data held by the published sums of squares), and the NIST Statistical Reference
//! Datasets for nonlinear regression with their certified values (from memory; a wrong digit in the data would move the
//! certified sum of squares, which is reproduced).

#[path = "../../../../tests/common/misra1a.rs"]
#[expect(dead_code, reason = "the standard deviations are for the fit to waveforms")]
mod misra1a;

use super::*;

/// What a problem is made of: residuals of its parameters.
type Residuals<'a> = &'a dyn Fn(&[f64]) -> Vec<f64>;

/// A problem in parameters divided by their sizes: the differences of the Jacobian take one step for all coordinates.
struct Sized<'a> {
    residuals: Residuals<'a>,
    sizes: &'a [f64],
}

impl Problem for Sized<'_> {
    fn residuals(&mut self, u: &[f64]) -> Vec<f64> {
        let x: Vec<f64> = u.iter().zip(self.sizes).map(|(u, s)| u * s).collect();
        (self.residuals)(&x)
    }
}

/// The minimum from a start, and its sum of squares.
fn found(residuals: Residuals<'_>, start: &[f64], sizes: &[f64]) -> (Vec<f64>, f64) {
    let mut problem = Sized { residuals, sizes };
    let u: Vec<f64> = start.iter().zip(sizes).map(|(x, s)| x / s).collect();
    let limits = Limits { fall: 1e-14, step: 1e-14, cosine: 1e-15, patience: 400 };
    let minimum = search(&mut problem, &u, &limits);
    assert!(minimum.converged, "{:?}", minimum.u);
    let sum = problem.residuals(&minimum.u).iter().map(|r| r * r).sum();
    (minimum.u.iter().zip(sizes).map(|(u, s)| u * s).collect(), sum)
}

fn near(found: &[f64], published: &[f64], part: f64) {
    for (f, p) in found.iter().zip(published) {
        assert!((f - p).abs() <= part * p.abs().max(1e-3), "{found:?} where {published:?} is published");
    }
}

/// A sum of squares as published to six figures.
fn sum(found: f64, published: f64) {
    assert!((found / published - 1.0).abs() < 6e-6, "{found:e} where {published:e} is published");
}

fn steps(count: usize) -> impl Iterator<Item = f64> {
    (1..=count).map(|k| k as f64)
}

#[test]
fn minima_of_nothing() {
    // 1, Rosenbrock's valley.
    let valley = |x: &[f64]| vec![10.0 * (x[1] - x[0] * x[0]), 1.0 - x[0]];
    let (x, f) = found(&valley, &[-1.2, 1.0], &[1.0; 2]);
    near(&x, &[1.0, 1.0], 1e-9);
    assert!(f < 1e-20);
    // As the extraction asks for it.
    let minimum = minimise(&mut Sized { residuals: &valley, sizes: &[1.0; 2] }, &[-1.2, 1.0], 100);
    assert!(minimum.converged);
    near(&minimum.u, &[1.0, 1.0], 1e-9);
    // 7, helical valley.
    let helix = |x: &[f64]| {
        let turn = (x[1] / x[0]).atan() / (2.0 * std::f64::consts::PI) + if x[0] < 0.0 { 0.5 } else { 0.0 };
        vec![10.0 * (x[2] - 10.0 * turn), 10.0 * (x[0].hypot(x[1]) - 1.0), x[2]]
    };
    let (x, _) = found(&helix, &[-1.0, 0.0, 0.0], &[1.0; 3]);
    near(&x, &[1.0, 0.0, 0.0], 1e-9);
    // 13, Powell's singular function: the Jacobian loses rank at the minimum, and convergence is linear.
    let singular = |x: &[f64]| {
        let (a, b) = (x[1] - 2.0 * x[2], x[0] - x[3]);
        vec![x[0] + 10.0 * x[1], 5f64.sqrt() * (x[2] - x[3]), a * a, 10f64.sqrt() * b * b]
    };
    let (x, f) = found(&singular, &[3.0, -1.0, 0.0, 1.0], &[1.0; 4]);
    assert!(f < 1e-20 && x.iter().all(|x| x.abs() < 1e-4), "{x:?}: {f:e}");
    // 12, Box: also a line of minima at x1 = x2, x3 = 0.
    let boxed = |x: &[f64]| {
        let t = steps(10).map(|k| 0.1 * k);
        let wanted = |t: f64| (-t).exp() - (-10.0 * t).exp();
        t.map(|t| (-t * x[0]).exp() - (-t * x[1]).exp() - x[2] * wanted(t)).collect()
    };
    let (x, f) = found(&boxed, &[0.0, 10.0, 20.0], &[1.0; 3]);
    near(&x, &[1.0, 10.0, 1.0], 1e-7);
    assert!(f < 1e-20);
}

#[test]
fn minima_of_something() {
    // 2, Freudenstein & Roth: from this start the local minimum.
    let roth = |x: &[f64]| {
        let y = x[1];
        vec![-13.0 + x[0] + ((5.0 - y) * y - 2.0) * y, -29.0 + x[0] + ((y + 1.0) * y - 14.0) * y]
    };
    let (x, f) = found(&roth, &[0.5, -2.0], &[1.0; 2]);
    sum(f, 48.9842);
    near(&x, &[11.4128, -0.896805], 1e-5);
    // 6, Jennrich & Sampson.
    let sampson =
        |x: &[f64]| steps(10).map(|k| 2.0 + 2.0 * k - (k * x[0]).exp() - (k * x[1]).exp()).collect();
    let (x, f) = found(&sampson, &[0.3, 0.4], &[1.0; 2]);
    sum(f, 124.362);
    near(&x, &[0.257825, 0.257825], 1e-5);
    // 8, Bard.
    let y = [0.14, 0.18, 0.22, 0.25, 0.29, 0.32, 0.35, 0.39, 0.37, 0.58, 0.73, 0.96, 1.34, 2.10, 4.39];
    let bard = |x: &[f64]| {
        let fit = |u: f64| x[0] + u / ((16.0 - u) * x[1] + u.min(16.0 - u) * x[2]);
        steps(15).zip(y).map(|(u, y)| y - fit(u)).collect()
    };
    sum(found(&bard, &[1.0; 3], &[1.0; 3]).1, 8.21487e-3);
    // 16, Brown & Dennis.
    let dennis = |x: &[f64]| {
        let r = |t: f64| (x[0] + t * x[1] - t.exp()).powi(2) + (x[2] + x[3] * t.sin() - t.cos()).powi(2);
        steps(20).map(|k| r(k / 5.0)).collect()
    };
    sum(found(&dennis, &[25.0, 5.0, -5.0, -1.0], &[1.0; 4]).1, 85822.2);
    // 20, Watson, in six coordinates.
    let watson = |x: &[f64]| {
        let at = |t: f64| {
            let slope: f64 = (1..x.len()).map(|j| j as f64 * x[j] * t.powi(j as i32 - 1)).sum();
            let value: f64 = x.iter().enumerate().map(|(j, x)| x * t.powi(j as i32)).sum();
            slope - value * value - 1.0
        };
        steps(29).map(|k| at(k / 29.0)).chain([x[0], x[1] - x[0] * x[0] - 1.0]).collect()
    };
    sum(found(&watson, &[0.0; 6], &[1.0; 6]).1, 2.28767e-3);
}

/// A dataset of NIST: a law y(x; b), its points, two starts, the certified parameters and sum of squares.
struct Dataset<'a> {
    law: &'a dyn Fn(f64, &[f64]) -> f64,
    points: &'a [(f64, f64)],
    starts: [&'a [f64]; 2],
    certified: &'a [f64],
    sum: f64,
}

impl Dataset<'_> {
    fn check(&self) {
        let residuals = |b: &[f64]| self.points.iter().map(|p| (self.law)(p.0, b) - p.1).collect();
        for start in self.starts {
            let (b, f) = found(&residuals, start, self.certified);
            near(&b, self.certified, 1e-7);
            assert!((f / self.sum - 1.0).abs() < 1e-9, "{f:e} where {:e} is certified", self.sum);
        }
    }
}

#[test]
fn nist_misra1a() {
    Dataset {
        law: &misra1a::law,
        points: &misra1a::POINTS,
        starts: [&[500.0, 1e-4], &[250.0, 5e-4]],
        certified: &misra1a::B,
        sum: misra1a::SQUARES,
    }
    .check();
}

/// Kowalik & Osborne (1978), MGH09: higher difficulty; problem 15 of Moré, Garbow & Hillstrom from its second start.
#[test]
fn nist_mgh09() {
    Dataset {
        law: &|x, b| b[0] * (x * x + x * b[1]) / (x * x + x * b[2] + b[3]),
        points: &[
            (4.0, 0.1957),
            (2.0, 0.1947),
            (1.0, 0.1735),
            (0.5, 0.1600),
            (0.25, 0.0844),
            (0.167, 0.0627),
            (0.125, 0.0456),
            (0.1, 0.0342),
            (0.0833, 0.0323),
            (0.0714, 0.0235),
            (0.0625, 0.0246),
        ],
        starts: [&[25.0, 39.0, 41.5, 39.0], &[0.25, 0.39, 0.415, 0.39]],
        certified: &[1.9280693458e-1, 1.9128232873e-1, 1.2305650693e-1, 1.3606233068e-1],
        sum: 3.0750560385e-4,
    }
    .check();
}

/// Meyer (1970), MGH10: higher difficulty; problem 10 of Moré, Garbow & Hillstrom from its second start.
#[test]
fn nist_mgh10() {
    let y = [
        34780.0, 28610.0, 23650.0, 19630.0, 16370.0, 13720.0, 11540.0, 9744.0, 8261.0, 7030.0, 6005.0,
        5147.0, 4427.0, 3820.0, 3307.0, 2872.0,
    ];
    let points: Vec<(f64, f64)> = steps(16).map(|k| 45.0 + 5.0 * k).zip(y).collect();
    Dataset {
        law: &|x, b| b[0] * (b[1] / (x + b[2])).exp(),
        points: &points,
        starts: [&[2.0, 400_000.0, 25_000.0], &[0.02, 4000.0, 250.0]],
        certified: &[5.6096364710e-3, 6.1813463463e3, 3.4522363462e2],
        sum: 8.7945855171e1,
    }
    .check();
}

/// Ratkowsky (1983), Rat43: higher difficulty.
#[test]
fn nist_rat43() {
    let y = [
        16.08, 33.83, 65.80, 97.20, 191.55, 326.20, 386.87, 520.53, 590.03, 651.92, 724.93, 699.56, 689.96,
        637.56, 717.41,
    ];
    let points: Vec<(f64, f64)> = steps(15).zip(y).collect();
    Dataset {
        law: &|x, b| b[0] / (1.0 + (b[1] - b[2] * x).exp()).powf(1.0 / b[3]),
        points: &points,
        starts: [&[100.0, 10.0, 1.0, 1.0], &[700.0, 5.0, 0.75, 1.3]],
        certified: &[6.9964151270e2, 5.2771253025, 7.5962938329e-1, 1.2792483859],
        sum: 8.7864049080e3,
    }
    .check();
}

/// Thurber (1979), Thurber: higher difficulty. The electron mobility of silicon against the logarithm of the density.
#[test]
fn nist_thurber() {
    Dataset {
        law: &|x, b| (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6]))),
        points: &[
            (-3.067, 80.574),
            (-2.981, 84.248),
            (-2.921, 87.264),
            (-2.912, 87.195),
            (-2.840, 89.076),
            (-2.797, 89.608),
            (-2.702, 89.868),
            (-2.699, 90.101),
            (-2.633, 92.405),
            (-2.481, 95.854),
            (-2.363, 100.696),
            (-2.322, 101.060),
            (-1.501, 401.672),
            (-1.460, 390.724),
            (-1.274, 567.534),
            (-1.212, 635.316),
            (-1.100, 733.054),
            (-1.046, 759.087),
            (-0.915, 894.206),
            (-0.714, 990.785),
            (-0.566, 1090.109),
            (-0.545, 1080.914),
            (-0.400, 1122.643),
            (-0.309, 1178.351),
            (-0.109, 1260.531),
            (-0.103, 1273.514),
            (0.010, 1288.339),
            (0.119, 1327.543),
            (0.377, 1353.863),
            (0.790, 1414.509),
            (0.963, 1425.208),
            (1.006, 1421.384),
            (1.115, 1442.962),
            (1.572, 1464.350),
            (1.841, 1468.705),
            (2.047, 1447.894),
            (2.200, 1457.628),
        ],
        starts: [
            &[1000.0, 1000.0, 400.0, 40.0, 0.7, 0.3, 0.03],
            &[1300.0, 1500.0, 500.0, 75.0, 1.0, 0.4, 0.05],
        ],
        certified: &[
            1.2881396800e3,
            1.4910792535e3,
            5.8323836877e2,
            7.5416644291e1,
            9.6629502864e-1,
            3.9797285797e-1,
            4.9727297349e-2,
        ],
        sum: 5.6427082397e3,
    }
    .check();
}
