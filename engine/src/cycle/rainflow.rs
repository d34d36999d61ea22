//! Rainflow counting of a history of temperatures, and damage by a power law of the user's.
//!
//! Counting: ASTM E1049-85, section 5.4.4 (rainflow counting).

/// One counted range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Counted {
    /// Peak to valley.
    pub range: f64,
    /// Mean of the two.
    pub mean: f64,
    /// 1 for a cycle, 0.5 for a half cycle.
    pub count: f64,
}

/// The first point, all turning points, the last point.
pub fn turning_points(history: &[f64]) -> Vec<f64> {
    let mut out: Vec<f64> = Vec::new();
    for &x in history.iter().filter(|x| x.is_finite()) {
        match out.as_slice() {
            [.., last] if *last == x => {}
            // Onwards in the same direction.
            [.., before, last] if (last - before).signum() == (x - last).signum() => {
                if let Some(end) = out.last_mut() {
                    *end = x;
                }
            }
            _ => out.push(x),
        }
    }
    out
}

/// Counts a history (any order of values in time; values that are not finite are left out).
///
/// X is the range under consideration, Y the one before it; while X ≥ Y, Y is counted: as one cycle, or as one half
/// where it contains the starting point. What is left at the end is counted as half cycles.
pub fn rainflow(history: &[f64]) -> Vec<Counted> {
    let counted = |a: f64, b: f64, count| Counted { range: (a - b).abs(), mean: 0.5 * (a + b), count };
    let mut out = Vec::new();
    let mut points: Vec<f64> = Vec::new();
    for x in turning_points(history) {
        points.push(x);
        while let [.., a, b, c] = points.as_slice() {
            let (a, b, c) = (*a, *b, *c);
            if (c - b).abs() < (b - a).abs() {
                break;
            }
            let n = points.len();
            if n == 3 {
                out.push(counted(a, b, 0.5));
                points.remove(0);
            } else {
                out.push(counted(a, b, 1.0));
                points.drain(n - 3..n - 1);
            }
        }
    }
    out.extend(points.windows(2).map(|w| counted(w[0], w[1], 0.5)));
    out
}

/// The user's law of cycles to failure: N = N₀·(ΔT/ΔT₀)^(−m). Nothing here says that a part follows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UserLaw {
    /// Cycles to failure N₀ at the reference range.
    pub cycles: f64,
    /// Reference range ΔT₀, K.
    pub range: f64,
    /// Exponent m.
    pub exponent: f64,
}

impl UserLaw {
    /// Damage of counted ranges, summed linearly (Palmgren 1924, Miner 1945): 1 is the end of life by this law.
    pub fn damage(&self, counted: &[Counted]) -> f64 {
        let one = |c: &Counted| c.count / (self.cycles * (c.range / self.range).powf(-self.exponent));
        counted.iter().filter(|c| c.range > 0.0).map(one).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ASTM E1049-85, figure 6: history −2, 1, −3, 5, −1, 3, −4, 4, −2 (from memory of the standard).
    #[test]
    fn the_standards_own_example() {
        let counted = rainflow(&[-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]);
        let of = |range: f64| counted.iter().filter(|c| c.range == range).map(|c| c.count).sum::<f64>();
        let table: Vec<f64> = (1..=10).map(|r| of(f64::from(r))).collect();
        assert_eq!(table, [0.0, 0.0, 0.5, 1.5, 0.0, 0.5, 0.0, 1.0, 0.5, 0.0]);
        assert_eq!(counted.iter().map(|c| c.count).sum::<f64>(), 4.0);
    }

    #[test]
    fn points_between_turning_points_count_nothing() {
        let history = [0.0, 1.0, 2.0, 2.0, 1.0, -1.0, f64::NAN, 3.0];
        assert_eq!(turning_points(&history), [0.0, 2.0, -1.0, 3.0]);
        assert!(rainflow(&[5.0]).is_empty() && rainflow(&[]).is_empty());
    }

    /// Palmgren–Miner by hand: 10 cycles of 40 K with N = 1e4·(ΔT/20 K)^−3: N(40 K) = 1250, damage 10/1250.
    #[test]
    fn damage_by_the_users_law() {
        let law = UserLaw { cycles: 1e4, range: 20.0, exponent: 3.0 };
        let counted = [Counted { range: 40.0, mean: 80.0, count: 10.0 }];
        assert!((law.damage(&counted) - 8e-3).abs() < 1e-15);
    }
}
