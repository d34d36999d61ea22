use super::*;

fn arguments() -> Vec<f64> {
    (0..20_000).map(|k| -700.0 + 0.07 * k as f64 + 1e-3 * ((k * 7919) % 13) as f64).collect()
}

/// Against the platform's library, an implementation that is not ours.
#[test]
fn exp_and_ln_are_close_to_the_standard_library() {
    let ulps = |a: f64, b: f64| (a.to_bits() as i64).abs_diff(b.to_bits() as i64);
    for x in arguments() {
        assert!(ulps(Lane::exp(x), f64::exp(x)) <= 2, "exp({x})");
        let y = f64::exp(x * 0.9);
        assert!(ulps(Lane::ln(y), f64::ln(y)) <= 1, "ln({y})");
    }
    assert_eq!(Lane::exp(0.0_f64), 1.0);
    assert_eq!(Lane::ln(1.0_f64), 0.0);
}

#[test]
fn masks_are_sets_of_lanes() {
    for lanes in 0..256 {
        assert_eq!(f64x8::lanes(f64x8::mask(lanes)), lanes);
        assert_eq!(f64x4::lanes(f64x4::mask(lanes)), lanes & 15);
        assert_eq!(f64::lanes(f64::mask(lanes)), lanes & 1);
        assert_eq!(lanes_in(lanes).map(|lane| 1 << lane).sum::<u32>(), lanes);
    }
    let two = f64x4::select(f64x4::mask(0b1010), f64x4::splat(2.0), f64x4::splat(1.0));
    assert_eq!(two, f64x4::new([1.0, 2.0, 1.0, 2.0]));
}

#[test]
// (`Lane::exp`, because the vector types have an `exp` of their own, which is another function.)
fn lanes_have_the_bits_of_one_lane() {
    for x in arguments() {
        let near = |k: usize| x + 0.3 * k as f64;
        let e4 = Lane::exp(f64x4::from_fn(near));
        let e8 = Lane::exp(f64x8::from_fn(near));
        let l8 = Lane::ln(f64x8::from_fn(|k| near(k).abs() + 1e-9));
        for k in 0..8 {
            assert_eq!(e8.lane(k).to_bits(), Lane::exp(near(k)).to_bits());
            assert_eq!(l8.lane(k).to_bits(), Lane::ln(near(k).abs() + 1e-9).to_bits());
        }
        for k in 0..4 {
            assert_eq!(e4.lane(k).to_bits(), Lane::exp(near(k)).to_bits());
        }
    }
}
