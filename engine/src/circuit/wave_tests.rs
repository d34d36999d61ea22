use proptest::prelude::*;

use super::*;

#[test]
fn lines_corners_and_jumps() {
    let w = Wave::Points(vec![(1.0, 0.0), (2.0, 10.0), (3.0, 10.0), (3.0, 4.0)]);
    assert_eq!(w.at(0.0), 0.0);
    assert_eq!(w.at(1.5), 5.0);
    assert_eq!((w.until(3.0), w.at(3.0)), (10.0, 4.0));
    assert_eq!(w.next_corner(2.0), Some(3.0));
    assert!(w.jumps_at(3.0) && !w.jumps_at(2.0));
    let p = Wave::Periodic { period: 2.0, points: vec![(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)] };
    assert_eq!(p.at(5.0), 1.0);
    assert_eq!(p.next_corner(4.0), Some(5.0));
}

/// A square wave whose period and pulse have no end in binary: from corner to corner through a million periods, every
/// jump is there, up at the beginning of a period and down after the pulse, and no other corner is.
#[test]
fn no_jump_is_lost_in_a_million_periods() {
    let (period, pulse) = (20e-6, 5.4e-6);
    let points = vec![(0.0, 100.0), (pulse, 100.0), (pulse, 0.0), (period, 0.0)];
    let w = Wave::Periodic { period, points };
    let mut t = 0.0;
    for n in 0..1_000_000u32 {
        for (expected, values) in
            [(f64::from(n) * period + pulse, (100.0, 0.0)), (f64::from(n + 1) * period, (0.0, 100.0))]
        {
            t = w.next_corner(t).unwrap();
            assert!((t - expected).abs() <= 2.0 * f64::EPSILON * expected, "{t} s, expected {expected} s");
            assert_eq!((w.until(t), w.at(t)), values, "period {n}");
            assert!(w.jumps_at(t));
        }
    }
}

#[test]
fn a_course_that_does_not_come_back_jumps_at_the_end_of_its_period() {
    let w = Wave::Periodic { period: 0.3, points: vec![(0.1, 1.0), (0.2, 3.0)] };
    let mut t = 0.0;
    for n in 0..1000 {
        for p in [0.1, 0.2] {
            t = w.next_corner(t).unwrap();
            assert!(!w.jumps_at(t) && (t - (f64::from(n) * 0.3 + p)).abs() < 1e-12);
        }
        t = w.next_corner(t).unwrap();
        assert_eq!((w.until(t), w.at(t)), (3.0, 1.0), "period {n}");
    }
    // One that does come back has no corner there.
    let w = Wave::Periodic { period: 1.0, points: vec![(0.25, 0.0), (0.5, 1.0), (0.75, 0.0)] };
    assert_eq!(w.next_corner(0.75), Some(1.25));
    assert_eq!(w.next_corner(0.0), Some(0.25));
}

/// A sine that begins away from its mean jumps there, and the value before is the mean.
#[test]
fn a_sine_jumps_at_its_delay() {
    let phase = std::f64::consts::FRAC_PI_2;
    let w = Wave::Sine { offset: 1.0, amplitude: 2.0, frequency: 50.0, phase, delay: 1e-3 };
    assert_eq!((w.until(1e-3), w.at(1e-3)), (1.0, 3.0));
    assert!(w.jumps_at(1e-3) && !w.jumps_at(2e-3));
}

/// Points of one period in [0, 1], with jumps among them, at its beginning and at its end.
fn shares() -> impl Strategy<Value = Vec<(f64, f64)>> {
    let point = (0u32..=1000, -10i32..=10);
    let ends = (any::<bool>(), any::<bool>());
    (proptest::collection::vec(point, 1..8), ends).prop_map(|(points, (first, last))| {
        let mut points: Vec<(f64, f64)> =
            points.into_iter().map(|(p, x)| (f64::from(p) / 1000.0, f64::from(x))).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        if first {
            points[0].0 = 0.0;
        }
        if last && points.len() > 1 {
            let end = points.len() - 1;
            points[end].0 = 1.0;
        }
        points
    })
}

/// ∫ of the course over one period of 1 (trapezoids; elementary).
fn area(points: &[(f64, f64)]) -> f64 {
    let (first, last) = (points[0], points[points.len() - 1]);
    let inner: f64 = points.windows(2).map(|w| 0.5 * (w[0].1 + w[1].1) * (w[1].0 - w[0].0)).sum();
    inner + first.0 * first.1 + (1.0 - last.0) * last.1
}

proptest! {
    /// From corner to corner, from any instant within 2e6 periods: instants rise, both values at each point are those
    /// stated, and the trapezoids between corners are the area of the periods passed, so that no jump is missing.
    #[test]
    fn trapezoids_between_corners_make_the_area(
        shares in shares(),
        period in prop_oneof![1e-9..1e-3, 1e-3..1e3, Just(20e-6), Just(0.1), Just(1.0)],
        start in prop_oneof![Just(0u32), 1u32..100, 1_000_000u32..2_000_000],
    ) {
        let points: Vec<(f64, f64)> = shares.iter().map(|p| (p.0 * period, p.1)).collect();
        let w = Wave::Periodic { period, points };
        let begin = f64::from(start) * period;
        let periods = 7;
        let end = f64::from(start + periods) * period;
        let (mut t, mut sum) = (begin, 0.0);
        let mut corners = 0;
        while t < end {
            let next = w.next_corner(t).map_or(end, |c| c.min(end));
            prop_assert!(next > t);
            sum += 0.5 * (w.at(t) + w.until(next)) * (next - t);
            t = next;
            corners += 1;
        }
        prop_assert!(corners <= periods as usize * (shares.len() + 1) + 1);
        let expected = f64::from(periods) * period * area(&shares);
        // What the rounding of the instants themselves leaves: two units of the last place of each corner, times 20.
        let rounding = 20.0 * 2.0 * f64::EPSILON * end * corners as f64;
        prop_assert!((sum - expected).abs() <= rounding + 1e-12 * period, "{sum}, expected {expected}");
    }
}

/// Both ends of a step are what each instant says by itself, whatever was passed before.
#[test]
fn ends_of_a_step_are_values_at_its_instants() {
    let points = vec![(1.0, 2.0), (2.0, 5.0), (2.0, -1.0), (4.0, 3.0)];
    let sine = Wave::Sine { offset: 1.0, amplitude: 2.0, frequency: 0.3, phase: 0.1, delay: 0.5 };
    let periodic = Wave::Periodic { period: 2.5, points: vec![(0.5, 0.0), (1.0, 4.0)] };
    for wave in [Wave::Constant(7.0), Wave::Points(points), Wave::Points(Vec::new()), sine, periodic] {
        let mut passed = 0;
        for begin in [0.0, 0.25, 1.0, 1.5, 2.0, 3.75, 4.0, 9.0, 0.5, 2.0, 1.0] {
            for length in [0.25, 0.5, 1.0, 3.0] {
                let end = begin + length;
                let both = wave.ends((begin, end), &mut passed);
                assert_eq!(both, (wave.at(begin), wave.until(end)), "{wave:?} from {begin} to {end}");
            }
        }
    }
}
