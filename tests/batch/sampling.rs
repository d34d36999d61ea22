//! Points and distributions against SciPy 1.17.1 (`scipy.stats`, `scipy.stats.qmc`; numbers below are its output).

use joulestep::batch::distribution::{Distribution, cholesky, correlate, normal_quantile};
use joulestep::batch::sample::{latin_hypercube, monte_carlo, sobol_bits, sobol_sequence};

/// `qmc.Sobol(5, scramble=False, bits=32).random(16) * 2**32`: SciPy takes the same directions (Joe & Kuo 2008) in the
/// same order (Gray code).
const SOBOL: [[u32; 5]; 16] = [
    [0, 0, 0, 0, 0],
    [2147483648, 2147483648, 2147483648, 2147483648, 2147483648],
    [3221225472, 1073741824, 1073741824, 1073741824, 3221225472],
    [1073741824, 3221225472, 3221225472, 3221225472, 1073741824],
    [1610612736, 1610612736, 2684354560, 3758096384, 1610612736],
    [3758096384, 3758096384, 536870912, 1610612736, 3758096384],
    [2684354560, 536870912, 3758096384, 2684354560, 2684354560],
    [536870912, 2684354560, 1610612736, 536870912, 536870912],
    [805306368, 1342177280, 4026531840, 1879048192, 2415919104],
    [2952790016, 3489660928, 1879048192, 4026531840, 268435456],
    [4026531840, 268435456, 2952790016, 805306368, 1342177280],
    [1879048192, 2415919104, 805306368, 2952790016, 3489660928],
    [1342177280, 805306368, 1342177280, 2415919104, 4026531840],
    [3489660928, 2952790016, 3489660928, 268435456, 1879048192],
    [2415919104, 1879048192, 268435456, 3489660928, 805306368],
    [268435456, 4026531840, 2415919104, 1342177280, 2952790016],
];

#[test]
fn the_sobol_sequence_is_that_of_scipy() {
    assert_eq!(sobol_bits(16, 5), SOBOL.concat());
}

/// The centred L2 discrepancy (Hickernell 1998, eq. 5.5): SciPy's `qmc.discrepancy`, written anew.
fn centred_discrepancy(points: &[f64], d: usize) -> f64 {
    let n = (points.len() / d) as f64;
    let rows: Vec<&[f64]> = points.chunks(d).collect();
    let c = |x: f64| (x - 0.5).abs();
    let single = |p: &[f64]| p.iter().map(|&x| 1.0 + 0.5 * c(x) - 0.5 * c(x) * c(x)).product::<f64>();
    let pair = |p: &[f64], q: &[f64]| {
        let one = |(&x, &y): (&f64, &f64)| 1.0 + 0.5 * c(x) + 0.5 * c(y) - 0.5 * (x - y).abs();
        p.iter().zip(q).map(one).product::<f64>()
    };
    let first: f64 = rows.iter().map(|p| single(p)).sum();
    let second: f64 = rows.iter().flat_map(|p| rows.iter().map(|q| pair(p, q))).sum();
    (13.0f64 / 12.0).powi(d as i32) - 2.0 / n * first + second / (n * n)
}

#[test]
fn discrepancies_are_where_those_of_scipy_are() {
    // qmc.discrepancy(qmc.Sobol(8, scramble=False, bits=32).random(1024)).
    let bits: Vec<f64> = sobol_bits(1024, 8).into_iter().map(|b| f64::from(b) / 4_294_967_296.0).collect();
    let found = centred_discrepancy(&bits, 8);
    assert!((found - 0.00024049788299151942).abs() < 1e-12, "{found}");
    // 256 points in 4 dimensions, 200 seeds of SciPy: Sobol (scrambled) 1.07e-4 to 1.21e-4, Latin hypercube 5.1e-4 to
    // 1.54e-3 (mean 8.7e-4), independent 1.8e-3 to 1.5e-2 (mean 4.1e-3). A digital shift scatters more than a scramble.
    let mean = |of: fn(usize, usize, u64) -> Vec<f64>| {
        (1..=20).map(|seed| centred_discrepancy(&of(256, 4, seed), 4)).sum::<f64>() / 20.0
    };
    let (sobol, layers, independent) = (mean(sobol_sequence), mean(latin_hypercube), mean(monte_carlo));
    println!(
        "centred discrepancy: Sobol {sobol:.2e}, Latin hypercube {layers:.2e}, independent {independent:.2e}"
    );
    assert!(sobol < 2e-4 && (7e-4..1.05e-3).contains(&layers) && (2.5e-3..6e-3).contains(&independent));
}

#[test]
fn each_layer_holds_one_point() {
    for points in [latin_hypercube(64, 3, 5), sobol_sequence(64, 3, 5)] {
        for d in 0..3 {
            let mut layers: Vec<usize> = points.chunks(3).map(|p| (p[d] * 64.0) as usize).collect();
            layers.sort_unstable();
            assert_eq!(layers, (0..64).collect::<Vec<_>>());
        }
    }
    assert_eq!(latin_hypercube(64, 3, 5), latin_hypercube(64, 3, 5));
    assert_ne!(latin_hypercube(64, 3, 5), latin_hypercube(64, 3, 6));
}

#[test]
fn quantiles_are_those_of_scipy() {
    let p = [1e-9, 0.001, 0.2, 0.5, 0.8, 0.99, 1.0 - 1e-9];
    let near = |name: &str, found: &dyn Fn(f64) -> f64, expected: [f64; 7]| {
        for (p, expected) in p.into_iter().zip(expected) {
            let found = found(p);
            assert!(
                (found - expected).abs() <= 2e-9 * expected.abs().max(1.0),
                "{name}({p}): {found}, {expected}"
            );
        }
    };
    // norm.ppf
    let normal = [
        -5.9978070150076865,
        -3.090232306167813,
        -0.8416212335729142,
        0.0,
        0.8416212335729143,
        2.3263478740408408,
        5.997807019601637,
    ];
    near("normal", &normal_quantile, normal);
    let of = |d: Distribution| move |p: f64| d.quantile(p);
    // lognorm.ppf(p, 0.3, scale=2)
    let lognormal = [
        0.33081534679327207,
        0.7914231398774528,
        1.553733602811638,
        2.0,
        2.5744439025850996,
        4.019074060021692,
        12.091337491704572,
    ];
    near("lognormal", &of(Distribution::LogNormal { median: 2.0, log_deviation: 0.3 }), lognormal);
    // triang.ppf(p, 0.25, loc=1, scale=4)
    let triangular = [
        1.0000632455532035,
        1.0632455532033676,
        1.8944271909999157,
        2.550510257216822,
        3.450806661517033,
        4.653589838486225,
        4.999890455490048,
    ];
    near("triangular", &of(Distribution::Triangular { lower: 1.0, mode: 2.0, upper: 5.0 }), triangular);
    // truncnorm.ppf(p, -1, 2, loc=10, scale=2)
    let cut = [
        8.000000006766065,
        8.006754656930319,
        9.077859913877441,
        10.34232783603565,
        11.78196667426075,
        13.734421597562502,
        13.999999969676608,
    ];
    let truncated =
        |mean, deviation, lower, upper| Distribution::TruncatedNormal { mean, deviation, lower, upper };
    near("truncated", &of(truncated(10.0, 2.0, 8.0, 14.0)), cut);
    // truncnorm.ppf(p, 6, 8): the far tail.
    let tail = [
        6.0000000001623786,
        6.000162456710052,
        6.036130053396348,
        6.11156496120527,
        6.256134651588823,
        6.707985268734323,
        7.9998048764288745,
    ];
    near("tail", &of(truncated(0.0, 1.0, 6.0, 8.0)), tail);
}

/// The correlation of ranks under a Gaussian copula is (6/π) asin(r/2) (Kruskal, "Ordinal measures of association",
/// 1958); for uniform numbers it is the linear correlation itself.
#[test]
fn the_copula_gives_the_correlation_of_ranks() {
    let r = -0.7;
    let factor = cholesky(&[vec![1.0, r], vec![r, 1.0]]).unwrap();
    let mut points = sobol_sequence(1 << 14, 2, 3);
    points.chunks_mut(2).for_each(|p| correlate(&factor, p));
    let n = (points.len() / 2) as f64;
    let product: f64 = points.chunks(2).map(|p| (p[0] - 0.5) * (p[1] - 0.5)).sum::<f64>() / n;
    let expected = 6.0 / std::f64::consts::PI * (r / 2.0).asin();
    assert!((12.0 * product - expected).abs() < 2e-3, "{}, {expected}", 12.0 * product);
    assert!(cholesky(&[vec![1.0, 0.9, -0.9], vec![0.9, 1.0, 0.9], vec![-0.9, 0.9, 1.0]]).is_none());
}
