//! A stretch of time as the page draws it: the samples where there are few, else minima and maxima of blocks.

use std::ops::Range;

use super::track::{Track, merged};
use crate::result::{LEVELS, ResultError, ResultFile, block_length};

/// Most blocks in an answer, for each signal.
pub(super) const MOST: usize = 16384;

/// Numbers at the front of an answer.
const HEAD: usize = 8;

/// How the samples of a window are gathered.
struct Cut {
    samples: Range<usize>,
    /// Samples in a block.
    block: usize,
    /// The level from which blocks are made, and how many of its blocks make one.
    level: u32,
    of: usize,
}

impl Cut {
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
fn samples(track: &Track, file: &ResultFile, from: f64, to: f64) -> Result<Range<usize>, ResultError> {
    let begin = track.before(file, from)?.saturating_sub(1);
    let end = (track.before(file, to)? + 2).min(track.length);
    Ok(begin..end.max(begin))
}

/// Smallest and largest value of a signal in the whole record.
pub(super) fn extremes(track: &mut Track, file: &ResultFile, signal: usize) -> Result<[f64; 2], ResultError> {
    track.prepare(file, signal)?;
    let cut = Cut::new(0..track.length, track.length, 1024);
    Ok(merged(&track.blocks(file, cut.level, signal, cut.blocks())?))
}

/// The window from one instant to another (s) as little-endian numbers: eight of 64 bits (samples in a block, 1 for
/// the samples themselves; entries; signals; the first sample; the sample after the last; samples in the record; the
/// instant at which the last block ends; 0), then the instant at which each entry begins (64 bits), then for each
/// signal its samples (64 bits), or minimum and maximum of each block (32 bits).
pub(super) fn window(
    track: &mut Track,
    file: &ResultFile,
    signals: &[usize],
    from: f64,
    to: f64,
    count: usize,
) -> Result<Vec<u8>, ResultError> {
    let range = samples(track, file, from, to)?;
    let cut = Cut::new(range, track.length, count.clamp(1, MOST));
    for &signal in signals {
        if cut.level > 0 {
            track.prepare(file, signal)?;
        }
    }
    let mut begins = track.begins(file, cut.level, cut.blocks())?;
    if cut.of > 1 {
        begins = begins.into_iter().step_by(cut.of).collect();
    }
    let end = match cut.samples.end {
        0 => f64::NAN,
        end if end < track.length => track.instant(file, end)?,
        end => track.instant(file, end - 1)?,
    };
    let (first, after) = (cut.samples.start as f64, cut.samples.end as f64);
    let head: [f64; HEAD] = [
        cut.block as f64,
        begins.len() as f64,
        signals.len() as f64,
        first,
        after,
        track.length as f64,
        end,
        0.0,
    ];
    let mut out = Vec::with_capacity(8 * (HEAD + begins.len() * (1 + signals.len())));
    out.extend(head.into_iter().chain(begins).flat_map(f64::to_le_bytes));
    for &signal in signals {
        if cut.block == 1 {
            let values = track.values(file, signal, cut.samples.clone())?;
            out.extend(values.into_iter().flat_map(f64::to_le_bytes));
        } else {
            let blocks = track.blocks(file, cut.level, signal, cut.blocks())?;
            let pairs = blocks.chunks(cut.of).map(merged);
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
            let cut = Cut::new(from..to, 100_000_000, 1000);
            assert!(cut.samples.start <= from && cut.samples.end >= to);
            assert_eq!(cut.block, block_length(cut.level) * cut.of);
            assert_eq!(cut.samples.start % cut.block, 0);
            let blocks = cut.samples.len().div_ceil(cut.block);
            assert!((500..=1002).contains(&blocks), "{blocks}");
            // What is read for them stays within bounds.
            assert!(cut.blocks().len() <= 16 * 1002, "{}", cut.blocks().len());
        }
    }

    #[test]
    fn few_samples_are_shown_as_they_are() {
        let cut = Cut::new(10..20, 100, 1000);
        assert_eq!((cut.samples, cut.block, cut.level), (10..20, 1, 0));
        let cut = Cut::new(0..0, 0, 1000);
        assert_eq!((cut.samples, cut.block), (0..0, 1));
    }
}
