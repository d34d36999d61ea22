//! Lifetimes that scatter about what a law of the user's says (Weibull 1951, J. Appl. Mech. 18:293; IEC 61649:2008).

/// How lifetimes scatter: the share F = 1 − exp(−(t/η)^β) has failed at t.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Shape β: the larger, the less they scatter.
    pub shape: f64,
    /// Share that has failed, between 0 and 1, when the law says that life ends.
    pub share: f64,
}

impl Scatter {
    /// (−ln(1 − F))^(1/β): the time at which a share has failed, over η.
    fn reach(&self, share: f64) -> f64 {
        (-(-share).ln_1p()).powf(self.shape.recip())
    }

    /// The time at which `share` has failed, where the law says `life`; in the unit of `life`.
    pub fn until(&self, share: f64, life: f64) -> f64 {
        life * self.reach(share) / self.reach(self.share)
    }

    /// The life, as the law would say it, of what fails with the first of its parts: 1/η^β of them add.
    pub fn first_of(&self, lives: &[f64]) -> f64 {
        // In units of the shortest, so that no power overflows.
        let least = lives.iter().copied().fold(f64::INFINITY, f64::min);
        if !least.is_normal() {
            return least;
        }
        let sum: f64 = lives.iter().map(|life| (life / least).powf(-self.shape)).sum();
        least * sum.powf(-self.shape.recip())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() <= 1e-12 * b.abs(), "{a} {b}");
    }

    /// By hand: β = 1 is the exponential distribution, whose median is ln 2 of its mean and whose rates add.
    #[test]
    fn the_exponential_distribution() {
        let scatter = Scatter { shape: 1.0, share: -f64::exp_m1(-1.0) };
        near(scatter.until(0.5, 7.0), 7.0 * std::f64::consts::LN_2);
        near(scatter.first_of(&[2.0, 3.0, 6.0]), 1.0);
        near(scatter.until(scatter.share, 5.0), 5.0);
    }

    /// β = 2, stated at the median: a tenth has failed at √(ln 0.9/ln 0.5) of it; n equal parts live n^(−1/2) as long.
    #[test]
    fn stated_at_the_median() {
        let scatter = Scatter { shape: 2.0, share: 0.5 };
        near(scatter.until(0.1, 100.0), 100.0 * (f64::ln(0.9) / f64::ln(0.5)).sqrt());
        near(scatter.first_of(&[100.0; 4]), 50.0);
        assert_eq!(scatter.first_of(&[f64::INFINITY; 2]), f64::INFINITY);
        near(scatter.first_of(&[100.0, f64::INFINITY]), 100.0);
    }
}
