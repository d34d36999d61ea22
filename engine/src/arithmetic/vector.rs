//! Short vectors in blocks of eight: loops over them need no tail, which costs more than the work at this length.
//! Vectors of lane-wide entries, which fill a register each, have no padding.

use super::lane::Lane;

/// Length of a vector for `n` entries: a multiple of eight where an entry is a single number.
pub const fn padded<L: Lane>(n: usize) -> usize {
    if L::WIDTH > 1 { n } else { n.next_multiple_of(8) }
}

/// A vector of zeros for `n` entries, padded.
pub fn zeros<L: Lane>(n: usize) -> Vec<L> {
    vec![L::splat(0.0); padded::<L>(n)]
}

/// y ← f(y, x), entry by entry. Both must be padded and of one length.
#[inline(always)]
pub fn update<L: Lane>(y: &mut [L], x: &[L], f: impl Fn(L, L) -> L) {
    if L::WIDTH > 1 {
        // A lane-wide entry fills a vector register by itself.
        y.iter_mut().zip(x).for_each(|(y, x)| *y = f(*y, *x));
        return;
    }
    for (y, x) in y.as_chunks_mut::<8>().0.iter_mut().zip(x.as_chunks::<8>().0) {
        // All is loaded before anything is stored: the compiler need not ask whether they overlap.
        let (a, b) = (*y, *x);
        *y = std::array::from_fn(|k| f(a[k], b[k]));
    }
}

/// z ← f(x, y), entry by entry.
#[inline(always)]
pub fn combine<L: Lane>(z: &mut [L], x: &[L], y: &[L], f: impl Fn(L, L) -> L) {
    if L::WIDTH > 1 {
        z.iter_mut().zip(x.iter().zip(y)).for_each(|(z, (x, y))| *z = f(*x, *y));
        return;
    }
    let pairs = x.as_chunks::<8>().0.iter().zip(y.as_chunks::<8>().0);
    for (z, (x, y)) in z.as_chunks_mut::<8>().0.iter_mut().zip(pairs) {
        let (a, b) = (*x, *y);
        *z = std::array::from_fn(|k| f(a[k], b[k]));
    }
}

/// y ← x. Both must be padded.
#[inline(always)]
pub fn copy<L: Lane>(y: &mut [L], x: &[L]) {
    update(y, x, |_, x| x);
}

/// What a number begins with plus Σ w·k over some stages, entry by entry and in the order of the stages.
#[inline(always)]
pub fn weighted<L: Lane>(k: &[Vec<L>], w: &[L], begin: impl Fn(usize) -> L, mut put: impl FnMut(usize, L)) {
    let n = k.first().map_or(0, Vec::len);
    macro_rules! stages {
        ($($count:literal)*) => {
            match k.len() {
                $($count => {
                    let k: [&[L]; $count] = std::array::from_fn(|j| &k[j][..n]);
                    let w: [L; $count] = std::array::from_fn(|j| w[j]);
                    for m in 0..n {
                        put(m, (0..$count).fold(begin(m), |sum, j| sum + w[j] * k[j][m]));
                    }
                })*
                _ => {}
            }
        };
    }
    stages!(1 2 3 4 5 6 7 8);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_cover_everything() {
        let mut y = zeros::<f64>(11);
        let x: Vec<f64> = (0..16).map(f64::from).collect();
        update(&mut y, &x, |y, x| y + 2.0 * x);
        let mut z = zeros(11);
        combine(&mut z, &x, &y, |x, y| y - x);
        assert_eq!((y.len(), &z), (16, &x));
    }
}
