//! Factor and solve by replaying an [`Order`], over lanes.
//!
//! Three stages: the outer pivots once per step size and choice of conductances ([`Replay::factor_outer`]); the outer
//! part of a right-hand side once per integration stage ([`Replay::forward_outer`]); the inner pivots with their
//! right-hand side in every iteration ([`Replay::factor_and_solve_inner`]).

use super::order::{Order, Pivot};
use crate::arithmetic::lane::Lane;

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

/// Replays an order. Values live with the caller: `a` has at least `order.slots + 1` entries (the one after the slots
/// is a spare that takes what belongs to ground), right-hand sides and solutions have at least `order.n + 1` entries
/// (the one after the unknowns is ground).
#[derive(Clone, Debug)]
pub struct Replay {
    order: Order,
    outer: Tape,
    inner: Tape,
}

/// The operations of some pivots as streams of numbers, each read once from front to back.
#[derive(Clone, Debug, Default)]
struct Tape {
    pivots: usize,
    /// Per pivot: slot, row, lower count, upper count, the upper slots; then per lower entry: slot, row, targets.
    eliminate: Vec<u32>,
    /// Per pivot: row, lower count; then per lower entry: slot, row.
    forward: Vec<u32>,
    /// Per pivot, last one first: row, column, slot, upper count; then per upper entry: slot, column.
    back: Vec<u32>,
}

/// Any number of further entries in a pivot's row.
const ANY: usize = usize::MAX;

impl Tape {
    fn new(order: &Order, pivots: &[Pivot]) -> Self {
        let mut found_at = vec![0; order.n];
        for (k, p) in order.pivots.iter().enumerate() {
            found_at[p.col as usize] = k;
        }
        let mut tape = Self { pivots: pivots.len(), ..Self::default() };
        for p in pivots {
            let (lower, upper) = order.lists(p);
            tape.eliminate.extend([p.slot, p.row, lower.len() as u32, upper.len() as u32]);
            tape.eliminate.extend(upper.iter().map(|u| u.0));
            for (k, &(slot, row)) in lower.iter().enumerate() {
                let begin = p.targets as usize + k * upper.len();
                tape.eliminate.extend([slot, row]);
                tape.eliminate.extend(&order.targets[begin..begin + upper.len()]);
            }
            tape.forward.extend([p.row, lower.len() as u32]);
            tape.forward.extend(lower.iter().flat_map(|&(slot, row)| [slot, row]));
        }
        for p in pivots.iter().rev() {
            // What was found last is taken last, so that the chain from one unknown to the next is short.
            let mut upper = order.lists(p).1.to_vec();
            upper.sort_by_key(|u| std::cmp::Reverse(found_at[u.1 as usize]));
            tape.back.extend([p.row, p.col, p.slot, upper.len() as u32]);
            tape.back.extend(upper.iter().flat_map(|&(slot, col)| [slot, col]));
        }
        tape
    }

    /// Eliminates all pivots in `a`: leaves 1/pivot in each pivot's slot and the multipliers below it. With `RHS` the
    /// right-hand side `b` goes along.
    ///
    /// # Safety
    /// Every slot of the tape lies in `a`, and with `RHS` every row in `b`.
    #[inline(always)]
    unsafe fn eliminate<L: Lane, const RHS: bool>(&self, a: *mut L, b: *mut L) {
        let mut code = self.eliminate.as_ptr();
        // SAFETY: the stream was written by `Tape::new` in just the layout it is read in; slots and rows are the
        // caller's promise.
        unsafe {
            for _ in 0..self.pivots {
                // The usual counts have loops without a counter.
                code = match *code.add(3) {
                    0 => Self::pivot::<L, RHS, 0>(code, a, b),
                    1 => Self::pivot::<L, RHS, 1>(code, a, b),
                    2 => Self::pivot::<L, RHS, 2>(code, a, b),
                    3 => Self::pivot::<L, RHS, 3>(code, a, b),
                    4 => Self::pivot::<L, RHS, 4>(code, a, b),
                    _ => Self::pivot::<L, RHS, ANY>(code, a, b),
                };
            }
        }
    }

    /// One pivot whose row has `UPPER` more entries; returns where the next one begins.
    ///
    /// # Safety
    /// As for [`Tape::eliminate`]; `code` is at the beginning of a pivot with this count (or any, for [`ANY`]).
    #[inline(always)]
    unsafe fn pivot<L: Lane, const RHS: bool, const UPPER: usize>(
        mut code: *const u32,
        a: *mut L,
        b: *mut L,
    ) -> *const u32 {
        // SAFETY: as in `eliminate`.
        unsafe {
            let pivot = a.add(*code as usize);
            let from = if RHS { *b.add(*code.add(1) as usize) } else { L::splat(0.0) };
            let lower = *code.add(2);
            let upper = if UPPER == ANY { *code.add(3) as usize } else { UPPER };
            let uppers = code.add(4);
            let inverse = L::splat(1.0) / *pivot;
            *pivot = inverse;
            code = uppers.add(upper);
            for _ in 0..lower {
                let slot = a.add(*code as usize);
                let m = *slot * inverse;
                *slot = m;
                if RHS {
                    *b.add(*code.add(1) as usize) -= m * from;
                }
                code = code.add(2);
                for j in 0..upper {
                    let change = m * *a.add(*uppers.add(j) as usize);
                    *a.add(*code.add(j) as usize) -= change;
                }
                code = code.add(upper);
            }
            code
        }
    }

    /// Carries `b` through the eliminated pivots.
    ///
    /// # Safety
    /// As for [`Tape::eliminate`].
    #[inline(always)]
    unsafe fn forward<L: Lane>(&self, a: *const L, b: *mut L) {
        let mut code = self.forward.as_ptr();
        // SAFETY: as in `eliminate`.
        unsafe {
            for _ in 0..self.pivots {
                code = match *code.add(1) {
                    0 => code.add(2),
                    1 => Self::carry::<L, 1>(code, a, b),
                    2 => Self::carry::<L, 2>(code, a, b),
                    3 => Self::carry::<L, 3>(code, a, b),
                    4 => Self::carry::<L, 4>(code, a, b),
                    _ => Self::carry::<L, ANY>(code, a, b),
                };
            }
        }
    }

    /// Carries `b` through one pivot with `LOWER` entries below it; returns where the next one begins.
    ///
    /// # Safety
    /// As for [`Tape::pivot`].
    #[inline(always)]
    unsafe fn carry<L: Lane, const LOWER: usize>(code: *const u32, a: *const L, b: *mut L) -> *const u32 {
        // SAFETY: as in `eliminate`.
        unsafe {
            let from = *b.add(*code as usize);
            let lower = if LOWER == ANY { *code.add(1) as usize } else { LOWER };
            let entries = code.add(2);
            for k in 0..lower {
                let (slot, row) = (*entries.add(2 * k) as usize, *entries.add(2 * k + 1) as usize);
                *b.add(row) -= *a.add(slot) * from;
            }
            entries.add(2 * lower)
        }
    }

    /// The pivots' unknowns from a right-hand side that was carried through.
    ///
    /// # Safety
    /// As for [`Tape::eliminate`], and every column lies in `x`.
    #[inline(always)]
    unsafe fn back<L: Lane>(&self, a: *const L, b: *const L, x: *mut L) {
        let mut code = self.back.as_ptr();
        // SAFETY: as in `eliminate`.
        unsafe {
            for _ in 0..self.pivots {
                code = match *code.add(3) {
                    0 => Self::find::<L, 0>(code, a, b, x),
                    1 => Self::find::<L, 1>(code, a, b, x),
                    2 => Self::find::<L, 2>(code, a, b, x),
                    3 => Self::find::<L, 3>(code, a, b, x),
                    4 => Self::find::<L, 4>(code, a, b, x),
                    _ => Self::find::<L, ANY>(code, a, b, x),
                };
            }
        }
    }

    /// The unknown of one pivot whose row has `UPPER` more entries; returns where the next one begins.
    ///
    /// # Safety
    /// As for [`Tape::back`].
    #[inline(always)]
    unsafe fn find<L: Lane, const UPPER: usize>(
        code: *const u32,
        a: *const L,
        b: *const L,
        x: *mut L,
    ) -> *const u32 {
        // SAFETY: as in `eliminate`.
        unsafe {
            let mut sum = *b.add(*code as usize);
            let (col, slot) = (*code.add(1) as usize, *code.add(2) as usize);
            let upper = if UPPER == ANY { *code.add(3) as usize } else { UPPER };
            let entries = code.add(4);
            for k in 0..upper {
                let (slot, col) = (*entries.add(2 * k) as usize, *entries.add(2 * k + 1) as usize);
                sum -= *a.add(slot) * *x.add(col);
            }
            *x.add(col) = sum * *a.add(slot);
            entries.add(2 * upper)
        }
    }
}

impl Replay {
    /// Wraps an order.
    pub fn new(order: Order) -> Self {
        assert_in_bounds(&order);
        let (outer, inner) = order.pivots.split_at(order.outer);
        Self { outer: Tape::new(&order, outer), inner: Tape::new(&order, inner), order }
    }

    /// The order replayed.
    pub fn order(&self) -> &Order {
        &self.order
    }

    fn fits<L>(&self, a: &[L], b: &[L], inner_only: bool) {
        let slots = if inner_only { self.order.inner_slots } else { self.order.slots };
        assert!(a.len() > slots && b.len() > self.order.n, "vectors too short for the order");
    }

    /// Factors the outer pivots in place and returns the element growth (largest value met over largest value given) of
    /// each lane.
    pub fn factor_outer<L: Lane>(&self, a: &mut [L]) -> L {
        assert!(a.len() > self.order.slots);
        let larger = |most: L, size: L| L::select(size.gt(most), size, most);
        // Four chains: one would wait for itself.
        let largest = |a: &[L]| {
            let mut most = [L::splat(0.0); 4];
            let (fours, rest) = a.as_chunks::<4>();
            for four in fours {
                most = std::array::from_fn(|k| larger(most[k], Lane::abs(four[k])));
            }
            let rest = rest.iter().map(|x| Lane::abs(*x));
            most.into_iter().chain(rest).fold(L::splat(0.0), larger)
        };
        let before = largest(&a[..self.order.slots]);
        // SAFETY: the length was just checked against the order, whose indices were checked in `new`.
        unsafe { self.outer.eliminate::<L, false>(a.as_mut_ptr(), std::ptr::null_mut()) };
        largest(&a[..self.order.inner_slots]) / before.max(L::splat(f64::MIN_POSITIVE))
    }

    /// Carries a right-hand side through the outer pivots: afterwards its inner rows are ready for the iteration.
    #[inline]
    pub fn forward_outer<L: Lane>(&self, a: &[L], b: &mut [L]) {
        self.fits(a, b, false);
        // SAFETY: lengths were checked.
        unsafe { self.outer.forward(a.as_ptr(), b.as_mut_ptr()) }
    }

    /// The same through the inner pivots of a factored matrix.
    #[inline]
    pub fn forward_inner<L: Lane>(&self, a: &[L], b: &mut [L]) {
        self.fits(a, b, true);
        // SAFETY: lengths were checked.
        unsafe { self.inner.forward(a.as_ptr(), b.as_mut_ptr()) }
    }

    /// Factors the inner block in `a` (its inner slots) together with the right-hand side `b`, and writes the inner
    /// unknowns into `x`.
    #[inline(always)]
    pub fn factor_and_solve_inner<L: Lane>(&self, a: &mut [L], b: &mut [L], x: &mut [L]) {
        self.fits(a, b, true);
        self.fits(a, x, true);
        // SAFETY: lengths were checked.
        unsafe {
            self.inner.eliminate::<L, true>(a.as_mut_ptr(), b.as_mut_ptr());
            self.inner.back(a.as_ptr(), b.as_ptr(), x.as_mut_ptr());
        }
    }

    /// Factors the inner block in `a` (its inner slots).
    #[inline(always)]
    pub fn factor_inner<L: Lane>(&self, a: &mut [L]) {
        assert!(a.len() > self.order.inner_slots);
        // SAFETY: the length was checked.
        unsafe { self.inner.eliminate::<L, false>(a.as_mut_ptr(), std::ptr::null_mut()) }
    }

    /// The inner unknowns from a right-hand side that has been carried through all pivots.
    #[inline]
    pub fn back_inner<L: Lane>(&self, a: &[L], b: &[L], x: &mut [L]) {
        self.fits(a, b, true);
        self.fits(a, x, true);
        // SAFETY: lengths were checked.
        unsafe { self.inner.back(a.as_ptr(), b.as_ptr(), x.as_mut_ptr()) }
    }

    /// The outer unknowns, once the inner ones are in `x`; `a` holds the outer factors, `b` the right-hand side that
    /// [`Replay::forward_outer`] left.
    #[inline]
    pub fn back_outer<L: Lane>(&self, a: &[L], b: &[L], x: &mut [L]) {
        self.fits(a, b, false);
        self.fits(a, x, false);
        // SAFETY: lengths were checked.
        unsafe { self.outer.back(a.as_ptr(), b.as_ptr(), x.as_mut_ptr()) }
    }

    /// Solves from scratch: all pivots, for one right-hand side. `a` and `b` are used up.
    pub fn solve<L: Lane>(&self, a: &mut [L], b: &mut [L], x: &mut [L]) {
        self.factor_outer(a);
        self.forward_outer(a, b);
        self.factor_and_solve_inner(a, b, x);
        self.back_outer(a, b, x);
    }
}
