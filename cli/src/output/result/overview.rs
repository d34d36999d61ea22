//! `/overview/<level>`: minimum and maximum per block of 16^level samples, for drawing long records fast.

use std::ops::Range;

use joulestep_engine::recorder::Column;

use super::archive::Archive;
use super::error::ResultError;
use super::names::{self, Names};
use super::store::Store;
use super::structure::{Form, Growing};
use super::waveforms::{Rows, append_reals};
use super::writer::WriterOptions;

/// How many levels a file has; the last takes 65536 samples a block.
pub const LEVELS: u32 = 4;

/// Blocks of one level that make a block of the next.
const FAN: usize = 16;

/// Blocks in a chunk.
const CHUNK: usize = 512;

/// Samples in a block of the level.
pub fn block_length(level: u32) -> usize {
    FAN.pow(level)
}

/// Blocks read from a level.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OverviewBlocks {
    /// Time of each block's first sample, s.
    pub begin: Vec<f64>,
    /// Smallest value of each block; NaN where no sample was a number.
    pub minimum: Vec<f64>,
    /// Largest value of each block.
    pub maximum: Vec<f64>,
}

/// Minimum and maximum of what came so far; samples that are not numbers are passed over.
#[derive(Clone, Copy)]
struct Extremes([f64; 2]);

impl Extremes {
    const NONE: Self = Self([f64::NAN; 2]);

    fn add(&mut self, other: [f64; 2]) {
        self.0 = [self.0[0].min(other[0]), self.0[1].max(other[1])];
    }
}

/// A level being built.
struct Level {
    group: String,
    /// Blocks of the level below in the block being built.
    below: usize,
    begin: f64,
    building: Vec<Extremes>,
    /// Blocks not yet in the file: their times, and their pairs by channel.
    times: Vec<f64>,
    pairs: Vec<Vec<f64>>,
}

/// The group being written.
pub(super) struct Overview {
    datasets: Vec<String>,
    form: Form,
    levels: Vec<Level>,
}

impl Overview {
    /// Makes all levels.
    pub(super) fn create(
        store: &mut Store,
        columns: &[Column],
        form: Form,
        options: &WriterOptions,
    ) -> Result<Self, ResultError> {
        let mut names = Names::reserving(&["time", "extreme"]);
        let datasets: Vec<String> = columns.iter().map(|column| names.take(&column.name)).collect();
        let described = columns.iter().zip(&datasets);
        let words: Vec<String> = described.map(|(column, name)| names::description(column, name)).collect();
        let mut levels = Vec::new();
        for level in 1..=LEVELS {
            let group = format!("overview/{level}");
            store.group(&group)?;
            let growing = |name, width, units, long_name| Growing {
                group: &group,
                name,
                width,
                chunk: CHUNK,
                deflate: options.deflate,
                units,
                long_name,
            };
            let (time, extreme) = (format!("{group}/time"), format!("{group}/extreme"));
            store
                .grow_reals(Form::Double, &growing("time", None, "s", "time of the block's first sample"))?;
            store.scale(&time, "time")?;
            store.number_attribute(&time, "samples_per_block", block_length(level) as f64)?;
            store.texts(&group, "extreme", &["minimum".into(), "maximum".into()], "")?;
            store.scale(&extreme, "extreme")?;
            for ((column, dataset), words) in columns.iter().zip(&datasets).zip(&words) {
                store.grow_reals(form, &growing(dataset, Some(2), names::unit(&column.unit), words))?;
                let path = format!("{group}/{dataset}");
                store.column_attributes(&path, column)?;
                store.attach(&path, 0, &time)?;
                store.attach(&path, 1, &extreme)?;
            }
            levels.push(Level {
                group,
                below: 0,
                begin: 0.0,
                building: vec![Extremes::NONE; columns.len()],
                times: Vec::new(),
                pairs: vec![Vec::new(); columns.len()],
            });
        }
        Ok(Self { datasets, form, levels })
    }

    /// Takes in the rows and appends the chunks that are full.
    pub(super) fn append(&mut self, store: &mut Store, rows: &Rows) -> Result<(), ResultError> {
        let width = self.datasets.len();
        for (k, &time) in rows.time.iter().enumerate() {
            let level = &mut self.levels[0];
            if level.below == 0 {
                level.begin = time;
            }
            for (building, &value) in level.building.iter_mut().zip(&rows.values[k * width..]) {
                building.add([value, value]);
            }
            level.below += 1;
            if level.below == FAN {
                self.close_block(0);
            }
        }
        self.write(store, false)
    }

    /// Ends the block being built at `index` and hands it to the level above.
    fn close_block(&mut self, index: usize) {
        let (lower, upper) = self.levels.split_at_mut(index + 1);
        let level = &mut lower[index];
        level.times.push(level.begin);
        for (pairs, building) in level.pairs.iter_mut().zip(&level.building) {
            pairs.extend(building.0);
        }
        let full = upper.first_mut().is_some_and(|above| {
            if above.below == 0 {
                above.begin = level.begin;
            }
            for (building, part) in above.building.iter_mut().zip(&level.building) {
                building.add(part.0);
            }
            above.below += 1;
            above.below == FAN
        });
        level.below = 0;
        level.building.fill(Extremes::NONE);
        if full {
            self.close_block(index + 1);
        }
    }

    /// Appends whole chunks, or everything at the end.
    fn write(&mut self, store: &mut Store, everything: bool) -> Result<(), ResultError> {
        for level in &mut self.levels {
            let blocks = level.times.len();
            let count = if everything { blocks } else { blocks - blocks % CHUNK };
            if count == 0 {
                continue;
            }
            store.append(&format!("{}/time", level.group), &level.times[..count])?;
            level.times.drain(..count);
            for (dataset, pairs) in self.datasets.iter().zip(&mut level.pairs) {
                let path = format!("{}/{dataset}", level.group);
                append_reals(store, self.form, &path, &pairs[..2 * count])?;
                pairs.drain(..2 * count);
            }
        }
        Ok(())
    }

    /// Ends all blocks and appends what is left.
    pub(super) fn finish(&mut self, store: &mut Store) -> Result<(), ResultError> {
        for index in 0..self.levels.len() {
            if self.levels[index].below > 0 {
                self.close_block(index);
            }
        }
        self.write(store, true)
    }
}

/// Blocks `range` of the dataset at the level.
pub(super) fn read(
    archive: &Archive,
    level: u32,
    dataset: &str,
    range: Range<usize>,
) -> Result<OverviewBlocks, ResultError> {
    let group = format!("overview/{level}");
    let begin = archive.reals(&format!("{group}/time"), range.clone())?;
    let pairs = archive.table(&format!("{group}/{dataset}"), range, 2)?;
    let (minimum, maximum) = pairs.chunks_exact(2).map(|pair| (pair[0], pair[1])).unzip();
    Ok(OverviewBlocks { begin, minimum, maximum })
}
