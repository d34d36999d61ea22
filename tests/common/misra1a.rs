//! Measured, with certified values: NIST StRD, nonlinear regression, Misra1a, lower difficulty (Misra 1978, dental
//! research: 14 observations of y = b1·(1 − exp(−b2·x)); the numbers from memory, and the certified residual sum of
//! squares tells that they are right).

/// x and y.
pub const POINTS: [(f64, f64); 14] = [
    (77.6, 10.07),
    (114.9, 14.73),
    (141.1, 17.94),
    (190.8, 23.93),
    (239.9, 29.61),
    (289.0, 35.18),
    (332.8, 40.02),
    (378.4, 44.82),
    (434.8, 50.76),
    (477.3, 55.05),
    (536.8, 61.01),
    (593.1, 66.40),
    (689.1, 75.47),
    (760.0, 81.78),
];
/// Certified: b1, b2.
pub const B: [f64; 2] = [2.389_421_291_8e2, 5.501_564_318_1e-4];
/// Certified: their standard deviations.
pub const DEVIATIONS: [f64; 2] = [2.707_007_524_1, 7.266_868_843_6e-6];
/// Certified: residual sum of squares.
pub const SQUARES: f64 = 1.245_513_889_4e-1;

/// The law.
pub fn law(x: f64, b: &[f64]) -> f64 {
    b[0] * (1.0 - (-b[1] * x).exp())
}
