//! A capacitance given as a table, kept as its charge.

use std::sync::Arc;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::lockstep::{Lockstep, lanes};
use joulestep_engine::arithmetic::scalar::Scalar;

/// Charge of a capacitance C(v) given at some voltages. Between them C is the monotone cubic of Fritsch & Carlson,
/// SIAM J. Numer. Anal. 17 (1980) 238, with the slopes of Fritsch & Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300
/// (both from memory), so that C is C¹, stays between its neighbours, and the charge is C²; beyond the table C is
/// constant (there the charge is C¹). The charge is zero at 0 V.
#[derive(Clone, Debug)]
pub struct ChargeTable<L>(Arc<Inner<L>>);

#[derive(Debug)]
struct Inner<L> {
    knots: Vec<f64>,
    segments: Vec<Segment<L>>,
}

/// C = c₀ + c₁s + c₂s² + c₃s³ with s = v − start; charge and energy at the start.
#[derive(Clone, Copy, Debug)]
struct Segment<L> {
    start: L,
    c: [L; 4],
    charge: L,
    energy: L,
}

/// Slopes at the knots: weighted harmonic means of the neighbouring differences, zero at an extremum.
fn slopes(v: &[f64], c: &[f64]) -> Vec<f64> {
    let n = v.len();
    let h = |k: usize| v[k + 1] - v[k];
    let rise = |k: usize| (c[k + 1] - c[k]) / h(k);
    let inner = |k: usize| {
        let (a, b) = (rise(k - 1), rise(k));
        if a * b <= 0.0 {
            return 0.0;
        }
        let (w1, w2) = (2.0 * h(k) + h(k - 1), h(k) + 2.0 * h(k - 1));
        (w1 + w2) / (w1 / a + w2 / b)
    };
    // At an end, the slope of the parabola through three points, held to what keeps the piece monotone.
    let end = |near: usize, far: usize| {
        let (a, b) = (rise(near), rise(far));
        let d = a + (a - b) * h(near) / (h(near) + h(far));
        if d * a <= 0.0 { 0.0 } else { d.abs().min(3.0 * a.abs()).copysign(a) }
    };
    (0..n)
        .map(|k| match k {
            _ if n == 2 => rise(0),
            0 => end(0, 1),
            k if k == n - 1 => end(n - 2, n - 3),
            k => inner(k),
        })
        .collect()
}

joulestep_engine::lockstep!(Segment: start, c, charge, energy);
joulestep_engine::lockstep!(Inner: segments; shared knots);

impl<L: Lane> Lockstep for ChargeTable<L> {
    type Of<K: Lane> = ChargeTable<K>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<ChargeTable<K>> {
        lanes::<_, _, K>(each, |one| &*one.0).map(|inner| ChargeTable(Arc::new(inner)))
    }
}

impl<L: Lane> Segment<L> {
    fn charge_to(&self, s: L) -> L {
        let [c0, c1, c2, c3] = self.c;
        let x = L::splat;
        self.charge + s * (c0 + s * (x(1.0 / 2.0) * c1 + s * (x(1.0 / 3.0) * c2 + s * (x(0.25) * c3))))
    }
    fn energy_to(&self, s: L) -> L {
        // ∫ (start + s)·C ds.
        let [c0, c1, c2, c3] = self.c;
        let x = L::splat;
        let moment = s * s * (x(0.5) * c0 + s * (x(1.0 / 3.0) * c1 + s * (x(0.25) * c2 + s * (x(0.2) * c3))));
        self.energy + self.start * (self.charge_to(s) - self.charge) + moment
    }
}

impl<L: Lane> ChargeTable<L> {
    /// From pairs of voltage (V) and capacitance (F).
    ///
    /// # Errors
    /// When there are fewer than two pairs, voltages do not ascend, or a capacitance is not above zero.
    pub fn new(points: &[(f64, L)]) -> Result<Self, String> {
        if points.len() < 2 {
            return Err(format!("the table has {} points, expected two or more", points.len()));
        }
        if let Some(w) = points.windows(2).find(|w| w[1].0 <= w[0].0 || !(w[1].0 - w[0].0).is_finite()) {
            return Err(format!("{} V comes after {} V; expected ascending voltages", w[1].0, w[0].0));
        }
        if let Some(p) = points.iter().find(|p| !L::all(p.1.gt(L::splat(0.0))) || !p.1.is_finite()) {
            return Err(format!("the capacitance at {} V is not above zero", p.0));
        }
        let knots: Vec<f64> = points.iter().map(|p| p.0).collect();
        let column = |lane: usize| points.iter().map(|p| p.1.lane(lane)).collect::<Vec<_>>();
        let by_lane: Vec<Vec<f64>> = (0..L::WIDTH).map(|lane| slopes(&knots, &column(lane))).collect();
        let slope = |k: usize| L::from_fn(|lane| by_lane[lane][k]);
        let zero = L::splat(0.0);
        let mut segments = Vec::new();
        let (mut charge, mut energy) = (zero, zero);
        for k in 0..knots.len() - 1 {
            let h = L::splat(knots[k + 1] - knots[k]);
            let rise = (points[k + 1].1 - points[k].1) / h;
            let (d0, d1) = (slope(k), slope(k + 1));
            let c2 = (L::splat(3.0) * rise - L::splat(2.0) * d0 - d1) / h;
            let c3 = (d0 + d1 - L::splat(2.0) * rise) / (h * h);
            let segment = Segment { start: L::splat(knots[k]), c: [points[k].1, d0, c2, c3], charge, energy };
            charge = segment.charge_to(h);
            energy = segment.energy_to(h);
            segments.push(segment);
        }
        let mut table = Self(Arc::new(Inner { knots: knots.clone(), segments: segments.clone() }));
        let (q, e) = (table.charge(zero), table.energy(zero));
        for segment in &mut segments {
            segment.charge -= q;
            segment.energy -= e;
        }
        table = Self(Arc::new(Inner { knots, segments }));
        Ok(table)
    }

    /// The voltage held inside the table, and its segment, lane by lane.
    #[inline(always)]
    fn find(&self, v: L) -> (L, Segment<L>) {
        let knots = &self.0.knots;
        let last = knots.len() - 1;
        let held = v.max(L::splat(knots[0])).min(L::splat(knots[last]));
        let mut found = self.0.segments[0];
        for lane in 0..L::WIDTH {
            let x = held.lane(lane);
            let segment = &self.0.segments[knots[1..last].partition_point(|&k| k <= x)];
            found.start.set_lane(lane, segment.start.lane(lane));
            found.charge.set_lane(lane, segment.charge.lane(lane));
            found.energy.set_lane(lane, segment.energy.lane(lane));
            for (to, from) in found.c.iter_mut().zip(segment.c) {
                to.set_lane(lane, from.lane(lane));
            }
        }
        (held, found)
    }

    /// The charge at v, C.
    #[inline(always)]
    pub fn charge<S: Scalar<L>>(&self, v: S) -> S {
        let u = v.value();
        let (held, segment) = self.find(u);
        let s = held - segment.start;
        let [c0, c1, c2, c3] = segment.c;
        let c = c0 + s * (c1 + s * (c2 + s * c3));
        v.mapped(segment.charge_to(s) + c * (u - held), c)
    }

    /// Energy ∫ v dq from 0 to v, J.
    pub fn energy(&self, v: L) -> L {
        let (held, segment) = self.find(v);
        let s = held - segment.start;
        let [c0, c1, c2, c3] = segment.c;
        let c = c0 + s * (c1 + s * (c2 + s * c3));
        segment.energy_to(s) + L::splat(0.5) * c * (v * v - held * held)
    }
}
