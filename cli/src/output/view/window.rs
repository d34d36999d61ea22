//! A stretch of time as the page draws it: the samples where there are few, else minima and maxima of blocks.

use std::ops::Range;

use super::series::{Series, extremes_of};
use crate::output::result::{LEVELS, ResultError, ResultFile, block_length};

/// Most blocks in an answer, for each signal.
pub(super) const MOST: usize = 32768;

/// Numbers at the front of an answer.
const HEAD: usize = 8;

/// How the samples of a window are gathered.
struct Partition {
    samples: Range<usize>,
    /// Samples in a block.
    block: usize,
    /// The level from which blocks are made, and how many of its blocks make one.
    level: u32,
    of: usize,
}

impl Partition {
    /// About `count` blocks, each a power of two of samples, begun at multiples of their length: so they stay the same
    /// while the window moves.
    fn new(samples: Range<usize>, length: usize, count: usize) -> Self {
        let block = samples.len().div_ceil(count.max(1)).next_power_of_two();
        if block <= 2 {
            return Self { samples, block: 1, level: 0, of: 1 };
        }
        let level = (1..=LEVELS).rev().find(|&level| block_length(level) <= block).unwrap_or(0);
        let begin = samples.start - samples.start % block;
        let end = samples.end.next_multiple_of(block).min(length);
        Self { samples: begin..end, block, level, of: block / block_length(level) }
    }

    /// The blocks of its level.
    fn blocks(&self) -> Range<usize> {
        let unit = block_length(self.level);
        self.samples.start / unit..self.samples.end.div_ceil(unit)
    }
}

/// Samples of a window, and one more on each side so that lines go through its edges.
fn samples(series: &Series, file: &ResultFile, from: f64, to: f64) -> Result<Range<usize>, ResultError> {
    let begin = series.count_before(file, from)?.saturating_sub(1);
    let end = (series.count_before(file, to)? + 2).min(series.length);
    Ok(begin..end.max(begin))
}

/// Smallest and largest value of a signal in the whole record.
pub(super) fn extremes(
    series: &mut Series,
    file: &ResultFile,
    signal: usize,
) -> Result<[f64; 2], ResultError> {
    series.prepare(file, signal)?;
    let partition = Partition::new(0..series.length, series.length, 1024);
    Ok(extremes_of(&series.blocks(file, partition.level, signal, partition.blocks())?))
}

/// The window from one instant to another (s) as little-endian numbers: eight of 64 bits (samples in a block, 1 for
/// the samples themselves; entries; signals; the first sample; the sample after the last; samples in the record; the
/// instant at which the last block ends; 0), then the instant at which each entry begins (64 bits), then for each
/// signal its samples (64 bits), or minimum and maximum of each block (32 bits).
pub(super) fn window(
    series: &mut Series,
    file: &ResultFile,
    signals: &[usize],
    from: f64,
    to: f64,
    count: usize,
) -> Result<Vec<u8>, ResultError> {
    let range = samples(series, file, from, to)?;
    let partition = Partition::new(range, series.length, count.clamp(1, MOST));
    for &signal in signals {
        if partition.level > 0 {
            series.prepare(file, signal)?;
        }
    }
    let mut begins = series.begins(file, partition.level, partition.blocks())?;
    if partition.of > 1 {
        begins = begins.into_iter().step_by(partition.of).collect();
    }
    let end = match partition.samples.end {
        0 => f64::NAN,
        end if end < series.length => series.instant(file, end)?,
        end => series.instant(file, end - 1)?,
    };
    let (first, after) = (partition.samples.start as f64, partition.samples.end as f64);
    let head: [f64; HEAD] = [
        partition.block as f64,
        begins.len() as f64,
        signals.len() as f64,
        first,
        after,
        series.length as f64,
        end,
        0.0,
    ];
    let mut out = Vec::with_capacity(8 * (HEAD + begins.len() * (1 + signals.len())));
    out.extend(head.into_iter().chain(begins).flat_map(f64::to_le_bytes));
    for &signal in signals {
        if partition.block == 1 {
            let values = series.values(file, signal, partition.samples.clone())?;
            out.extend(values.into_iter().flat_map(f64::to_le_bytes));
        } else {
            let blocks = series.blocks(file, partition.level, signal, partition.blocks())?;
            let pairs = blocks.chunks(partition.of).map(extremes_of);
            out.extend(pairs.flatten().flat_map(|x| (x as f32).to_le_bytes()));
        }
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_are_powers_of_two_and_stay_in_place() {
        for (from, to) in [(0, 1000), (777, 100_000), (5_000_001, 99_000_000), (0, 100_000_000)] {
            let partition = Partition::new(from..to, 100_000_000, 1000);
            assert!(partition.samples.start <= from && partition.samples.end >= to);
            assert_eq!(partition.block, block_length(partition.level) * partition.of);
            assert_eq!(partition.samples.start % partition.block, 0);
            let blocks = partition.samples.len().div_ceil(partition.block);
            assert!((500..=1002).contains(&blocks), "{blocks}");
            // What is read for them stays within bounds.
            assert!(partition.blocks().len() <= 16 * 1002, "{}", partition.blocks().len());
        }
    }

    #[test]
    fn few_samples_are_shown_as_they_are() {
        let partition = Partition::new(10..20, 100, 1000);
        assert_eq!((partition.samples, partition.block, partition.level), (10..20, 1, 0));
        let partition = Partition::new(0..0, 0, 1000);
        assert_eq!((partition.samples, partition.block), (0..0, 1));
    }
}
