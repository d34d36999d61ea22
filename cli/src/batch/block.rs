//! Variants in blocks: those of a block run in lockstep in the lanes of one run.
//!
//! Blocks follow from the plan alone, neither from threads nor from shards nor from what was finished before, so that a
//! variant always runs in the same company: its numbers then are the same bits. All of a block take common steps,
//! those that its most active variant needs, so they differ from each variant alone by what the error bounds of a step
//! allow ([`TOLERANCE`]). A variant that would act at another instant than the others, or alone has no solution,
//! leaves: it is run alone from its start, and so is what is left where too few go on. A search runs each variant
//! alone: where a limit is just met is decided by one comparison.

use std::collections::BTreeMap;

use joulestep_engine::run::setup::Setup;
use wide::f64x4;

use crate::batch::variant::PlannedBatch;
use crate::study::run::Built;

/// How far a variant's numbers in lanes may lie from those it has alone, as a fraction of the largest magnitude that
/// their quantity has in the table, where the scenario keeps the default error bounds of a step: means, energies (all
/// components' together), temperatures, instants. (The ledger's residual is an error itself and has no such bound.)
pub const TOLERANCE: f64 = 1e-3;

/// The same for least and largest values (together), which are those at ends of steps: a ringing's tips are hit better
/// or worse.
pub const TOLERANCE_OF_EXTREMES: f64 = 2e-2;

/// In words, for a table.
pub fn note(lanes: usize) -> String {
    match lanes {
        1 => "each variant was solved alone".into(),
        _ => format!(
            "up to {lanes} variants were solved on common steps; numbers lie within {TOLERANCE} (least and largest \
             values: {TOLERANCE_OF_EXTREMES}) of the largest magnitude of their quantity (energies: of any component) of \
             those of single runs, with the default error bounds of a step"
        ),
    }
}

/// The numbers of lanes that there are.
pub const LANES: [usize; 3] = [1, 4, 8];

/// Lanes where neither plan nor command line says.
pub const DEFAULT_LANES: usize = 8;

/// Which variants run in lockstep.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Blocks {
    /// All variants, block by block.
    order: Vec<usize>,
    /// Where each block ends.
    ends: Vec<usize>,
}

impl Blocks {
    /// The blocks of a study: as many variants as there are lanes, in the order of their numbers; those with another
    /// value of an input that decides topology or schedule go into another block. Variants whose errors are estimated
    /// run with each other, at the coarser levels too; what is left of their last block is filled with others. Blocks
    /// with such come first: they take longest, and all shards shall have some.
    pub fn of(study: &PlannedBatch) -> Self {
        let count = study.count();
        let alone = study.lanes == 1 || study.plan.search.is_some();
        let structural: Vec<usize> = match alone {
            true => Vec::new(),
            false => (0..study.plan.inputs.len()).filter(|&k| decides(study, k)).collect(),
        };
        let most = if alone { 1 } else { study.lanes };
        let is_estimated = |variant: &usize| study.plan.estimate.includes(*variant);
        let mut alike: BTreeMap<Vec<u64>, [Vec<usize>; 2]> = BTreeMap::new();
        for variant in 0..count {
            let inputs = study.inputs(variant);
            let same = alike.entry(structural.iter().map(|&k| inputs[k].to_bits()).collect()).or_default();
            same[usize::from(!is_estimated(&variant))].push(variant);
        }
        let mut blocks: Vec<Vec<usize>> = Vec::new();
        for all in alike.values().map(|same| same.concat()) {
            blocks.extend(all.chunks(most).map(|chunk| {
                let mut block = chunk.to_vec();
                block.sort_unstable();
                block
            }));
        }
        blocks.sort_unstable_by_key(|block| (!block.iter().any(is_estimated), block[0]));
        let mut all = Self { order: Vec::with_capacity(count), ends: Vec::with_capacity(blocks.len()) };
        for block in blocks {
            all.order.extend(block);
            all.ends.push(all.order.len());
        }
        all
    }

    /// Number of blocks.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// The variants of a block, ascending.
    pub fn block(&self, k: usize) -> &[usize] {
        let begin = if k == 0 { 0 } else { self.ends[k - 1] };
        &self.order[begin..self.ends[k]]
    }

    /// The blocks of shard k of n, from 1: every n-th, so that all shards have a like share of a grid.
    pub fn of_shard(&self, (k, n): (usize, usize)) -> impl Iterator<Item = usize> + use<> {
        (k.saturating_sub(1)..self.len()).step_by(n.max(1))
    }
}

/// Whether scenarios with two values of an input do not run in lockstep.
fn decides(study: &PlannedBatch, input: usize) -> bool {
    let value = |variant: usize| study.inputs(variant)[input];
    let parameter = &study.plan.inputs[input].parameter;
    let Some(other) = (1..study.count()).find(|&v| value(v) != value(0)) else { return false };
    let built = |x: f64| study.built(&[(parameter, x)]);
    match (built(value(0)), built(value(other))) {
        (Ok(a), Ok(b)) => !alike(&a, &b),
        _ => false,
    }
}

/// Whether two variants share all that lanes share.
pub(super) fn alike(a: &Built, b: &Built) -> bool {
    let (x, y) = (&a.setup, &b.setup);
    a.facts.end == b.facts.end && Setup::lockstep::<f64x4>(&[x, y, x, y]).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_are_all_blocks_once() {
        let blocks = Blocks { order: (0..10).collect(), ends: (1..=10).collect() };
        let mut all: Vec<usize> = (1..=3).flat_map(|k| blocks.of_shard((k, 3))).collect();
        assert_eq!(blocks.of_shard((3, 3)).collect::<Vec<_>>(), [2, 5, 8]);
        all.sort_unstable();
        assert_eq!(all, (0..10).collect::<Vec<_>>());
    }
}
