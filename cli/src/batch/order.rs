//! In which order the variants of a plan are run, and which are a shard's.
//!
//! Neither changes a number: a variant has the same bits in whatever company it is solved.

use crate::batch::variant::PlannedBatch;

/// The numbers of lanes that there are.
pub const LANES: [usize; 3] = [1, 4, 8];

/// Lanes where neither plan nor command line says.
pub const DEFAULT_LANES: usize = 8;

/// The variants of shard k of n, from 1: every n-th, so that all shards have a like share of a grid. Variants whose
/// errors are estimated come first: they take longest, and all shards shall have some.
pub fn of_shard(study: &PlannedBatch, shard: (usize, usize)) -> Vec<usize> {
    let (mut first, rest): (Vec<usize>, Vec<usize>) =
        (0..study.count()).partition(|&variant| study.plan.estimate.includes(variant));
    first.extend(rest);
    share(&first, shard)
}

fn share(all: &[usize], (k, n): (usize, usize)) -> Vec<usize> {
    all.iter().copied().skip(k.saturating_sub(1)).step_by(n.max(1)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_are_all_variants_once() {
        let of: Vec<usize> = (0..10).collect();
        let mut all: Vec<usize> = (1..=3).flat_map(|k| share(&of, (k, 3))).collect();
        assert_eq!(share(&of, (3, 3)), [2, 5, 8]);
        all.sort_unstable();
        assert_eq!(all, of);
    }
}
