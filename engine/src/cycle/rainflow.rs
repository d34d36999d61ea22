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

/// Counts a history that repeats, by the simplified method: ASTM E1049-85, section 5.4.5. Begun anew at its largest
/// value, everything is a full cycle.
pub fn rainflow_repeating(history: &[f64]) -> Vec<Counted> {
    let mut round: Vec<f64> = history.iter().copied().filter(|x| x.is_finite()).collect();
    let largest = (0..round.len()).max_by(|&a, &b| round[a].total_cmp(&round[b]));
    let Some(largest) = largest else { return Vec::new() };
    round.rotate_left(largest);
    round.push(round[0]);
    let mut out = Vec::new();
    let mut points: Vec<f64> = Vec::new();
    for x in turning_points(&round) {
        points.push(x);
        while let [.., a, b, c] = points.as_slice() {
            let (a, b, c) = (*a, *b, *c);
            if (c - b).abs() < (b - a).abs() {
                break;
            }
            out.push(Counted { range: (a - b).abs(), mean: 0.5 * (a + b), count: 1.0 });
            let n = points.len();
            points.drain(n - 3..n - 1);
        }
    }
    out
}

/// Boltzmann's constant, J/K (exact in the SI).
pub const BOLTZMANN: f64 = 1.380_649e-23;

/// How the cycles to failure of the user's law follow the mean temperature (Arrhenius).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Activation {
    /// Activation energy, J.
    pub energy: f64,
    /// Mean temperature at which the law holds as it stands, °C.
    pub reference: f64,
}

/// The user's law of cycles to failure: N = N₀·(ΔT/ΔT₀)^(−m), times exp(E/k·(1/T − 1/T₀)) with the absolute mean
/// temperature T where an activation is given. Nothing here says that a part follows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UserLaw {
    /// Cycles to failure N₀ at the reference range.
    pub cycles: f64,
    /// Reference range ΔT₀, K.
    pub range: f64,
    /// Exponent m.
    pub exponent: f64,
    /// Effect of the mean temperature.
    pub activation: Option<Activation>,
}

impl UserLaw {
    /// Cycles to failure at a range (K) about a mean temperature (°C).
    pub fn cycles_to_failure(&self, range: f64, mean: f64) -> f64 {
        let kelvin = |celsius: f64| celsius + 273.15;
        let warmth = self
            .activation
            .map_or(1.0, |a| (a.energy / BOLTZMANN * (1.0 / kelvin(mean) - 1.0 / kelvin(a.reference))).exp());
        self.cycles * (range / self.range).powf(-self.exponent) * warmth
    }

    /// Damage of counted ranges, summed linearly (Palmgren 1924, Miner 1945): 1 is the end of life by this law.
    pub fn damage(&self, counted: &[Counted]) -> f64 {
        let one = |c: &Counted| c.count / self.cycles_to_failure(c.range, c.mean);
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
        let law = UserLaw { cycles: 1e4, range: 20.0, exponent: 3.0, activation: None };
        let counted = [Counted { range: 40.0, mean: 80.0, count: 10.0 }];
        assert!((law.damage(&counted) - 8e-3).abs() < 1e-15);
    }

    /// ASTM E1049-85, figure 7 (simplified, repeating history; from memory of the standard): the same points begun at
    /// the largest, 5, −1, 3, −4, 4, −2 (with −3 in the joint), are full cycles of ranges 3, 4, 7 and 9.
    #[test]
    fn a_history_that_repeats_has_full_cycles_only() {
        let counted = rainflow_repeating(&[-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]);
        let mut ranges: Vec<f64> = counted.iter().map(|c| c.range).collect();
        ranges.sort_by(f64::total_cmp);
        assert_eq!(ranges, [3.0, 4.0, 7.0, 9.0]);
        assert!(counted.iter().all(|c| c.count == 1.0));
        assert!(rainflow_repeating(&[]).is_empty() && rainflow_repeating(&[1.0, 1.0]).is_empty());
    }
}
