//! Signals with common instants: the samples around an instant, and minima and maxima of blocks of samples.

use std::ops::Range;

use crate::output::result::{Channel, ResultError, ResultFile, block_length};

/// Blocks of one level that make a block of the next.
const FAN: usize = 16;
/// The level that is built here, once, where the file has no overview (as for temperatures).
const BUILT_LEVEL: u32 = 2;
/// Samples read at a time.
pub(super) const CHUNK: usize = 1 << 16;
/// Samples by which the overview of a growing file may lag behind: its next chunk, twice.
const OVERVIEW_LAG: usize = 2 * 512 * FAN;

/// A group of the file.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Group {
    Waveforms,
    Thermal,
    /// Of a measured channel, by its number.
    Measured(usize),
}

/// The signals of a group.
pub(super) struct Series {
    group: Group,
    /// Instants.
    pub length: usize,
    /// Blocks at each level of the file's overview, from level 1 on.
    levels: Vec<usize>,
    /// Whether level [`BUILT_LEVEL`] is built here.
    builds: bool,
    built_begins: Vec<f64>,
    /// By signal; empty until it is asked for.
    built_blocks: Vec<Vec<[f64; 2]>>,
}

/// Minimum and maximum of some blocks; NaN is skipped.
pub(super) fn extremes_of(blocks: &[[f64; 2]]) -> [f64; 2] {
    blocks.iter().fold([f64::NAN; 2], |[a, b], [c, d]| [a.min(*c), b.max(*d)])
}

/// The value at the instant `t` between two samples (instant, value): on the straight line, or the first where it holds.
pub(super) fn interpolate(a: (f64, f64), b: (f64, f64), t: f64, holds: bool) -> f64 {
    match t {
        t if t == b.0 => b.1,
        t if holds || t == a.0 => a.1,
        t => a.1 + (b.1 - a.1) * ((t - a.0) / (b.0 - a.0)),
    }
}

impl Series {
    pub fn new(file: &ResultFile, group: Group) -> Result<Self, ResultError> {
        let (length, signals) = match group {
            Group::Waveforms => (file.samples(), file.channels().len()),
            Group::Thermal => (file.thermal_samples(), file.thermal_channels().len()),
            Group::Measured(k) => file.measured().nth(k).map_or((0, 0), |(all, length)| (length, all.len())),
        };
        let mut levels = Vec::new();
        if group == Group::Waveforms {
            for level in file.overview_levels() {
                match file.overview_length(level) {
                    Ok(blocks) => levels.push(blocks),
                    // Another program may have written the file without an overview.
                    Err(_) => break,
                }
            }
        }
        let covered = levels.first().map_or(0, |&blocks| blocks * FAN);
        let builds = covered + OVERVIEW_LAG < length;
        if builds {
            levels.clear();
        }
        let built_blocks = vec![Vec::new(); signals];
        Ok(Self { group, length, levels, builds, built_begins: Vec::new(), built_blocks })
    }

    pub fn channels<'a>(&self, file: &'a ResultFile) -> &'a [Channel] {
        match self.group {
            Group::Waveforms => file.channels(),
            Group::Thermal => file.thermal_channels(),
            Group::Measured(k) => file.measured().nth(k).map_or(&[], |m| m.0),
        }
    }

    /// Instants of the samples in the range, s.
    pub fn time(&self, file: &ResultFile, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        match self.group {
            Group::Waveforms => file.time(range),
            Group::Thermal => file.thermal_time(range),
            Group::Measured(k) => file.measured_time(k, range),
        }
    }

    /// The instant of one sample, s.
    pub fn instant(&self, file: &ResultFile, sample: usize) -> Result<f64, ResultError> {
        Ok(self.time(file, sample..sample + 1)?.first().copied().unwrap_or(f64::NAN))
    }

    /// Values of a signal.
    pub fn values(
        &self,
        file: &ResultFile,
        signal: usize,
        range: Range<usize>,
    ) -> Result<Vec<f64>, ResultError> {
        let name = self.channels(file).get(signal).map_or("", |channel| &channel.name);
        match self.group {
            Group::Waveforms => file.window(name, range),
            Group::Thermal => file.temperature(name, range),
            Group::Measured(k) => file.measured_values(k, range),
        }
    }

    /// Whether a signal holds its value until the next sample; else its samples are joined by straight lines.
    pub fn holds(&self, file: &ResultFile, signal: usize) -> bool {
        self.channels(file).get(signal).is_some_and(|channel| channel.holds)
    }

    /// How many samples are before the instant `t` (s).
    pub fn count_before(&self, file: &ResultFile, t: f64) -> Result<usize, ResultError> {
        let (mut low, mut high) = (0, self.length);
        while high - low > 4096 {
            let middle = low + (high - low) / 2;
            if self.instant(file, middle)? < t { low = middle + 1 } else { high = middle }
        }
        Ok(low + self.time(file, low..high)?.partition_point(|&instant| instant < t))
    }

    /// The sample nearest to the instant `t` (s); there must be one.
    pub fn nearest(&self, file: &ResultFile, t: f64) -> Result<usize, ResultError> {
        let next = self.count_before(file, t)?.min(self.length.saturating_sub(1));
        let Some(last) = next.checked_sub(1) else { return Ok(next) };
        let around = self.time(file, last..next + 1)?;
        Ok(if around.len() == 2 && t - around[0] < around[1] - t { last } else { next })
    }

    /// The last sample at or before the instant `t` (s) and the first at or after it; the same where one is there, and
    /// the first or last of the record beyond its ends. There must be one.
    pub fn bracket(&self, file: &ResultFile, t: f64) -> Result<[usize; 2], ResultError> {
        let last = self.length.saturating_sub(1);
        let before = self.count_before(file, t)?;
        let after = before.min(last);
        let there = before == 0 || before > last || self.instant(file, after)? == t;
        Ok([if there { after } else { before - 1 }, after])
    }

    /// Blocks at a level.
    fn blocks_at(&self, level: u32) -> usize {
        self.length.div_ceil(block_length(level))
    }

    /// Blocks at a level that need not be made from those below.
    fn available(&self, level: u32) -> usize {
        let stored = (level as usize).checked_sub(1).and_then(|l| self.levels.get(l)).copied().unwrap_or(0);
        let ready = if self.builds && level == BUILT_LEVEL { self.built_begins.len() } else { stored };
        ready.min(self.blocks_at(level))
    }

    /// Makes level [`BUILT_LEVEL`] of a signal where the file has none.
    pub fn prepare(&mut self, file: &ResultFile, signal: usize) -> Result<(), ResultError> {
        let block = block_length(BUILT_LEVEL);
        if !self.builds
            || self.length < 4 * block
            || self.built_blocks[signal].len() == self.blocks_at(BUILT_LEVEL)
        {
            return Ok(());
        }
        let mut times = Vec::new();
        let mut blocks = Vec::new();
        for begin in (0..self.length).step_by(CHUNK) {
            let range = begin..(begin + CHUNK).min(self.length);
            if self.built_begins.is_empty() {
                times.extend(self.time(file, range.clone())?.into_iter().step_by(block));
            }
            let pairs: Vec<[f64; 2]> =
                self.values(file, signal, range)?.into_iter().map(|x| [x, x]).collect();
            blocks.extend(pairs.chunks(block).map(extremes_of));
        }
        if self.built_begins.is_empty() {
            self.built_begins = times;
        }
        self.built_blocks[signal] = blocks;
        Ok(())
    }

    /// Smallest and largest value in each block of the range at a level; level 0 are the samples.
    pub fn blocks(
        &self,
        file: &ResultFile,
        level: u32,
        signal: usize,
        range: Range<usize>,
    ) -> Result<Vec<[f64; 2]>, ResultError> {
        if level == 0 {
            return Ok(self.values(file, signal, range)?.into_iter().map(|x| [x, x]).collect());
        }
        let ready = if self.builds && level == BUILT_LEVEL {
            self.built_blocks[signal].len()
        } else {
            self.available(level)
        };
        let split = ready.clamp(range.start, range.end);
        let mut out = if split == range.start {
            Vec::new()
        } else if self.builds {
            self.built_blocks[signal][range.start..split].to_vec()
        } else {
            let name = &self.channels(file)[signal].name;
            let read = file.overview(level, name, range.start..split)?;
            read.minimum.into_iter().zip(read.maximum).map(|(a, b)| [a, b]).collect()
        };
        // In pieces, so that what is below is never held as a whole.
        for begin in (split..range.end).step_by(CHUNK / FAN) {
            let end = (begin + CHUNK / FAN).min(range.end);
            let below = begin * FAN..(end * FAN).min(self.blocks_at(level - 1));
            out.extend(self.blocks(file, level - 1, signal, below)?.chunks(FAN).map(extremes_of));
        }
        Ok(out)
    }

    /// Instant of the first sample of every block of the range at a level, s.
    pub fn begins(
        &self,
        file: &ResultFile,
        level: u32,
        range: Range<usize>,
    ) -> Result<Vec<f64>, ResultError> {
        if level == 0 {
            return self.time(file, range);
        }
        let split = self.available(level).clamp(range.start, range.end);
        let mut out = if split == range.start {
            Vec::new()
        } else if self.builds {
            self.built_begins[range.start..split].to_vec()
        } else {
            let name = self.channels(file).first().map_or("", |channel| &channel.name);
            file.overview(level, name, range.start..split)?.begin
        };
        for begin in (split..range.end).step_by(CHUNK / FAN) {
            let end = (begin + CHUNK / FAN).min(range.end);
            let below = begin * FAN..(end * FAN).min(self.blocks_at(level - 1));
            out.extend(self.begins(file, level - 1, below)?.into_iter().step_by(FAN));
        }
        Ok(out)
    }
}
