//! Factor and solve by replaying an [`Order`], over lanes.
//!
//! Three stages: the outer pivots once per step size and choice of conductances ([`Replay::factor_outer`]); the outer
//! part of a right-hand side once per integration stage ([`Replay::forward_outer`]); the inner pivots with their
//! right-hand side in every iteration ([`Replay::factor_and_solve_inner`]).

use super::order::{Order, Pivot};
use crate::arithmetic::lane::Lane;

/// Replays an order. Values live with the caller: `a` has at least `order.slots + 1` entries (the one after the slots is
/// a spare that takes what belongs to ground), right-hand sides and solutions have at least `order.n + 1` entries (the
/// one after the unknowns is ground).
#[derive(Clone, Debug)]
pub struct Replay {
    order: Order,
}

/// Checked once when the order is compiled; the loops below then need no bounds.
fn assert_in_bounds(order: &Order) {
    let (n, slots) = (order.n as u32, order.slots as u32);
    assert!(
        order.outer <= order.pivots.len()
            && order.pivots.len() == order.n
            && order.inner_slots <= order.slots
    );
    for p in &order.pivots {
        assert!(p.slot < slots && p.row < n && p.col < n);
        assert!(p.lower.0 <= p.lower.1 && p.lower.1 as usize <= order.lower.len());
        assert!(p.upper.0 <= p.upper.1 && p.upper.1 as usize <= order.upper.len());
        let targets = (p.lower.1 - p.lower.0) as usize * (p.upper.1 - p.upper.0) as usize;
        assert!(p.targets as usize + targets <= order.targets.len());
    }
    let pair = |&(s, k): &(u32, u32)| s < slots && k < n;
    assert!(order.lower.iter().all(pair) && order.upper.iter().all(pair));
    assert!(order.targets.iter().all(|&s| s < slots));
    // Inner operations stay inside the inner slots.
    for p in &order.pivots[order.outer..] {
        let inside = |s: u32| (s as usize) < order.inner_slots;
        assert!(inside(p.slot));
        assert!(order.lower[p.lower.0 as usize..p.lower.1 as usize].iter().all(|l| inside(l.0)));
        assert!(order.upper[p.upper.0 as usize..p.upper.1 as usize].iter().all(|u| inside(u.0)));
    }
}

macro_rules! at {
    ($v:expr, $k:expr) => {
        // SAFETY: every index of an order was checked against the lengths in `assert_in_bounds`, and the callers
        // assert the lengths of the slices they pass.
        unsafe { *$v.get_unchecked($k as usize) }
    };
}
macro_rules! at_mut {
    ($v:expr, $k:expr) => {
        // SAFETY: as for `at!`.
        unsafe { $v.get_unchecked_mut($k as usize) }
    };
}

impl Replay {
    /// Wraps an order.
    pub fn new(order: Order) -> Self {
        assert_in_bounds(&order);
        Self { order }
    }

    /// The order replayed.
    pub fn order(&self) -> &Order {
        &self.order
    }

    #[inline(always)]
    fn lists(&self, p: &Pivot) -> (&[(u32, u32)], &[(u32, u32)]) {
        let o = &self.order;
        (&o.lower[p.lower.0 as usize..p.lower.1 as usize], &o.upper[p.upper.0 as usize..p.upper.1 as usize])
    }

    /// Eliminates one pivot in `a`; leaves 1/pivot in its slot and the multipliers below it.
    #[inline(always)]
    fn eliminate<L: Lane>(&self, p: &Pivot, a: &mut [L], mut below: impl FnMut(u32, L)) {
        let (lower, upper) = self.lists(p);
        let inverse = L::splat(1.0) / at!(a, p.slot);
        *at_mut!(a, p.slot) = inverse;
        let mut t = p.targets as usize;
        for &(l, row) in lower {
            let m = at!(a, l) * inverse;
            *at_mut!(a, l) = m;
            below(row, m);
            for &(u, _) in upper {
                let target = at!(self.order.targets, t);
                let change = m * at!(a, u);
                *at_mut!(a, target) -= change;
                t += 1;
            }
        }
    }

    /// Factors the outer pivots in place and returns the element growth (largest value met over largest value given).
    pub fn factor_outer<L: Lane>(&self, a: &mut [L]) -> f64 {
        assert!(a.len() > self.order.slots);
        let largest = |a: &[L]| a.iter().map(|x| Lane::abs(*x).widest()).fold(0.0, f64::max);
        let before = largest(&a[..self.order.slots]);
        for p in &self.order.pivots[..self.order.outer] {
            self.eliminate(p, a, |_, _| ());
        }
        largest(&a[..self.order.inner_slots]) / before.max(f64::MIN_POSITIVE)
    }

    /// Carries a right-hand side through the outer pivots: afterwards its inner rows are ready for the iteration.
    pub fn forward_outer<L: Lane>(&self, a: &[L], b: &mut [L]) {
        assert!(a.len() > self.order.slots && b.len() > self.order.n);
        self.forward(&self.order.pivots[..self.order.outer], a, b);
    }

    /// The same through the inner pivots of a factored matrix.
    pub fn forward_inner<L: Lane>(&self, a: &[L], b: &mut [L]) {
        assert!(a.len() > self.order.inner_slots && b.len() > self.order.n);
        self.forward(&self.order.pivots[self.order.outer..], a, b);
    }

    #[inline(always)]
    fn forward<L: Lane>(&self, pivots: &[Pivot], a: &[L], b: &mut [L]) {
        for p in pivots {
            let (lower, _) = self.lists(p);
            let from = at!(b, p.row);
            for &(l, row) in lower {
                let change = at!(a, l) * from;
                *at_mut!(b, row) -= change;
            }
        }
    }

    /// Factors the inner block in `a` (its inner slots) together with the right-hand side `b`, and writes the inner
    /// unknowns into `x`.
    #[inline(always)]
    pub fn factor_and_solve_inner<L: Lane>(&self, a: &mut [L], b: &mut [L], x: &mut [L]) {
        assert!(a.len() > self.order.inner_slots && b.len() > self.order.n && x.len() > self.order.n);
        for p in &self.order.pivots[self.order.outer..] {
            let from = at!(b, p.row);
            self.eliminate(p, a, |row, m| {
                let change = m * from;
                *at_mut!(b, row) -= change;
            });
        }
        self.back_inner(a, b, x);
    }

    /// The inner unknowns from a right-hand side that has been carried through all pivots.
    #[inline(always)]
    pub fn back_inner<L: Lane>(&self, a: &[L], b: &[L], x: &mut [L]) {
        assert!(a.len() > self.order.inner_slots && b.len() > self.order.n && x.len() > self.order.n);
        self.back(&self.order.pivots[self.order.outer..], a, b, x);
    }

    /// The outer unknowns, once the inner ones are in `x`; `a` holds the outer factors, `b` the right-hand side that
    /// [`Replay::forward_outer`] left.
    pub fn back_outer<L: Lane>(&self, a: &[L], b: &[L], x: &mut [L]) {
        assert!(a.len() > self.order.slots && b.len() > self.order.n && x.len() > self.order.n);
        self.back(&self.order.pivots[..self.order.outer], a, b, x);
    }

    #[inline(always)]
    fn back<L: Lane>(&self, pivots: &[Pivot], a: &[L], b: &[L], x: &mut [L]) {
        for p in pivots.iter().rev() {
            let (_, upper) = self.lists(p);
            let mut sum = at!(b, p.row);
            for &(u, col) in upper {
                sum -= at!(a, u) * at!(x, col);
            }
            *at_mut!(x, p.col) = sum * at!(a, p.slot);
        }
    }

    /// Solves from scratch: all pivots, for one right-hand side. `a` and `b` are used up.
    pub fn solve<L: Lane>(&self, a: &mut [L], b: &mut [L], x: &mut [L]) {
        self.factor_outer(a);
        self.forward_outer(a, b);
        self.factor_and_solve_inner(a, b, x);
        self.back_outer(a, b, x);
    }
}
