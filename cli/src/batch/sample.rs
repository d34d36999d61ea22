//! Points of the unit cube: pseudo-random, Latin hypercube, Sobol sequence; and the mixtures that indices need.
//!
//! Layout of all lists: point after point, `points[k * dimensions + d]` is coordinate d of point k. Range: coordinates
//! lie in the open interval (0, 1), so that every quantile function is finite there. Equal arguments give equal points
//! on every machine.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::{Rng, SeedableRng};
use sobol::Sobol;
use sobol::params::JoeKuoD6;

/// Most values that a Sobol sequence serves here (Joe & Kuo 2008 give directions for 1000 with the short table).
pub const MOST_DIMENSIONS: usize = 1000;

/// A number within the open unit interval, from 52 bits: the middle of one of 2^52 cells.
fn uniform(rng: &mut ChaCha8Rng) -> f64 {
    ((rng.next_u64() >> 12) as f64 + 0.5) / (1u64 << 52) as f64
}

/// An integer below `bound`, each equally likely (rejection; a remainder alone is biased: Lemire 2019).
fn below(rng: &mut ChaCha8Rng, bound: u64) -> u64 {
    let zone = u64::MAX - u64::MAX % bound;
    loop {
        let x = rng.next_u64();
        if x < zone {
            return x % bound;
        }
    }
}

/// Independent points: `count` × `dimensions` values.
pub fn monte_carlo(count: usize, dimensions: usize, seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    (0..count * dimensions).map(|_| uniform(&mut rng)).collect()
}

/// A Latin hypercube (McKay, Beckman & Conover 1979): in each dimension one point in each of `count` layers;
/// `count` × `dimensions` values.
pub fn latin_hypercube(count: usize, dimensions: usize, seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut points = vec![0.0; count * dimensions];
    for d in 0..dimensions {
        let mut layers: Vec<usize> = (0..count).collect();
        for k in (1..count).rev() {
            layers.swap(k, below(&mut rng, k as u64 + 1) as usize);
        }
        for (k, layer) in layers.into_iter().enumerate() {
            points[k * dimensions + d] = (layer as f64 + uniform(&mut rng)) / count as f64;
        }
    }
    points
}

/// The first points of the Sobol sequence with the directions of Joe & Kuo (2008), without any shift: `count` ×
/// `dimensions` fractions of 2³², 0 included; at most [`MOST_DIMENSIONS`].
pub fn sobol_bits(count: usize, dimensions: usize) -> Vec<u32> {
    let params = if dimensions <= 100 { JoeKuoD6::minimal() } else { JoeKuoD6::standard() };
    Sobol::<u32>::new(dimensions, &params).take(count).flatten().collect()
}

/// The Sobol sequence under a digital shift by the seed (the same bits turned over in every point of a dimension),
/// which keeps its balance and moves the first point off the corner; the middles of 2^32 cells.
pub fn sobol_sequence(count: usize, dimensions: usize, seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let shift: Vec<u32> = (0..dimensions).map(|_| rng.next_u32()).collect();
    let shifted = |(k, bits): (usize, u32)| (f64::from(bits ^ shift[k % dimensions]) + 0.5) / 4_294_967_296.0;
    sobol_bits(count, dimensions).into_iter().enumerate().map(shifted).collect()
}

/// Points for Sobol indices (Saltelli et al. 2010): of each point of twice as many dimensions one half is a row of A,
/// the other a row of B; then, for each dimension i, the row of A with element i from B. Order: for each base point
/// A, B, AB₁ … AB_k.
pub fn sensitivity(base: usize, dimensions: usize, seed: u64) -> Vec<f64> {
    let both = sobol_sequence(base, 2 * dimensions, seed);
    let mut points = Vec::with_capacity(base * (dimensions + 2) * dimensions);
    for pair in both.chunks(2 * dimensions) {
        let (a, b) = pair.split_at(dimensions);
        points.extend_from_slice(a);
        points.extend_from_slice(b);
        for i in 0..dimensions {
            points.extend((0..dimensions).map(|k| if k == i { b[k] } else { a[k] }));
        }
    }
    points
}
