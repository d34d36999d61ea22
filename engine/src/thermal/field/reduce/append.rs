//! The basis of a reduction grows: vectors are made orthogonal to it, in the product of K.

use super::super::iterate::{dot, dot_each};
use super::{Basis, take};

/// A vector whose part outside the basis is smaller than this share of it adds what the residual left only.
const DEPENDENT: f64 = 1e-5;
/// A vector of whose length, squared, this much stays has lost no digits to those taken from it.
const STAYS: f64 = 0.01;

impl Basis<'_> {
    /// Takes vectors in, as far as they are new: those of which `x` is what has to be added to their `parts` along the
    /// vectors that are there already.
    pub(super) fn append<const W: usize>(&mut self, mut x: Vec<[f64; W]>, parts: Option<Vec<[f64; W]>>) {
        let mut image = vec![[0.0; W]; x.len()];
        self.system.multiply_together(0.0, &x, &mut image);
        let mut left = dot(&x, &image);
        // Length of the whole vectors, squared.
        let mut whole = left;
        let mut first = parts.as_deref();
        // Twice is enough (Kahan's remark in Parlett, The Symmetric Eigenvalue Problem, 1980), and once where most of a
        // vector stays.
        for _ in 0..2 {
            for (i, v) in self.vectors.iter().enumerate() {
                let own = dot_each(v, &image);
                take(&mut x, own, v);
                if let Some(part) = first.map(|parts| parts[i]) {
                    (0..W).for_each(|k| whole[k] += part[k] * (part[k] + 2.0 * own[k]));
                }
            }
            first = None;
            self.system.multiply_together(0.0, &x, &mut image);
            let before = std::mem::replace(&mut left, dot(&x, &image));
            if (0..W).all(|k| left[k] > STAYS * before[k]) {
                break;
            }
        }
        let known = self.vectors.len();
        let mut images: Vec<Vec<f64>> = Vec::new();
        for (k, whole) in whole.into_iter().enumerate() {
            let [mut own, mut image] = [&x, &image].map(|all| all.iter().map(|x| x[k]).collect::<Vec<f64>>());
            for _ in 0..2 {
                for (v, of_v) in self.vectors[known..].iter().zip(&images) {
                    let part = inner(v, &image);
                    own.iter_mut().zip(v).for_each(|(x, v)| *x -= part * v);
                    image.iter_mut().zip(of_v).for_each(|(x, v)| *x -= part * v);
                }
            }
            let left = inner(&own, &image);
            if left.is_nan() || left <= DEPENDENT * DEPENDENT * whole {
                continue;
            }
            let scale = 1.0 / left.sqrt();
            own.iter_mut().chain(&mut image).for_each(|x| *x *= scale);
            self.take_in(own);
            images.push(image);
        }
    }

    /// Takes in a vector that is orthogonal to all, of length 1.
    fn take_in(&mut self, x: Vec<f64>) {
        let content: Vec<f64> = x.iter().zip(self.system.capacity.data()).map(|(x, c)| x * c).collect();
        let mut row: Vec<f64> = self.vectors.iter().map(|v| inner(v, &content)).collect();
        row.push(inner(&x, &content));
        self.stored.push(row);
        self.vectors.push(x);
    }
}

fn inner(a: &[f64], b: &[f64]) -> f64 {
    let [product] = dot_each(a, b.as_chunks::<1>().0);
    product
}
