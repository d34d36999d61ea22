//! Reads result files, finished or partial.

use std::fs::File;
use std::ops::Range;
use std::path::Path;

use serde::Serialize;

use super::archive::Archive;
use super::error::ResultError;
use super::events::{self, StoredEvent};
use super::inputs;
use super::ledger::{self, LedgerTable};
use super::overview::{self, LEVELS, OverviewBlocks};
use super::steps::{self, StepTable};
use super::store;
use super::study::overlays;
use super::summary::{self, Summary};
use crate::diagnostic::Sources;

use super::{
    names::{INTERPOLATION, Names},
    of_this_format,
};

/// What a file says about itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct About {
    /// The program that wrote it.
    pub producer: String,
    /// That program's version.
    pub producer_version: String,
    /// Version of the file's layout.
    pub format_version: i64,
    /// The files that went in.
    pub inputs: Sources,
    /// When it was made, UTC, as ISO 8601.
    pub created: String,
}

/// A column of `/waveforms` or `/thermal`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Channel {
    /// The name that the run gave it.
    pub name: String,
    /// The name of its dataset, which differs where HDF5 does not allow the run's.
    #[serde(skip)]
    pub dataset: String,
    /// In words.
    pub long_name: String,
    /// Unit symbol.
    pub unit: String,
    /// Whether a value holds until the next sample; else straight lines join the samples.
    pub holds: bool,
}

/// A group of columns along one time.
struct Group {
    name: String,
    channels: Vec<Channel>,
    length: usize,
}

/// A result file open for reading.
pub struct ResultFile {
    archive: Archive,
    about: About,
    complete: bool,
    waveforms: Group,
    thermal: Group,
    /// A group for each measured channel.
    measured: Vec<Group>,
}

impl ResultFile {
    /// Opens a finished or partial file.
    ///
    /// # Errors
    /// The system's refusal, a run that still writes the file, a file that is no result file, or one of a later format.
    pub fn open(path: &Path) -> Result<Self, ResultError> {
        Self::read(path, Archive::open(path, false)?)
    }

    /// Opens a file also while a run writes it: what is read is what its last checkpoint made safe. A later one is
    /// seen by whoever opens the file again.
    ///
    /// # Errors
    /// Those of [`ResultFile::open`]; a structure that is just being changed may be unreadable for a moment.
    pub fn open_beside_writer(path: &Path) -> Result<Self, ResultError> {
        Self::read(path, Archive::open(path, true)?)
    }

    /// Whether a run is writing the file now.
    pub fn being_written(path: &Path) -> bool {
        File::open(path).is_ok_and(|file| store::written(&file))
    }

    fn read(path: &Path, archive: Archive) -> Result<Self, ResultError> {
        let text = |name: &str| {
            let missing = || {
                let found = format!("an HDF5 file without the attribute {name}");
                ResultError::content(path, found, "a result file")
            };
            archive.group_text("/", name).ok_or_else(missing)
        };
        let number = |name: &str| {
            let missing = || {
                let found = format!("an HDF5 file without the number {name}");
                ResultError::content(path, found, "a result file")
            };
            archive.root_number(name).ok_or_else(missing)
        };
        let about = About {
            producer: text("producer")?,
            producer_version: text("producer_version")?,
            format_version: number("format_version")?,
            inputs: inputs::read(&archive)?,
            created: text("created")?,
        };
        of_this_format(path, about.format_version)?;
        let complete = number("complete")? == 1;
        let waveforms = Group::read(&archive, "waveforms")?;
        let thermal = Group::read(&archive, "thermal")?;
        let mut measured = Vec::new();
        while let group = overlays::group(measured.len())
            && let Some(signal) = archive.group_text(&group, "signal")
        {
            let mut group = Group::read(&archive, &group)?;
            group.channels.retain(|c| c.dataset == "measured");
            group.channels.iter_mut().for_each(|c| c.name = format!("{signal} measured"));
            measured.push(group);
        }
        Ok(Self { about, complete, waveforms, thermal, measured, archive })
    }

    /// Whether the run ended properly.
    pub fn complete(&self) -> bool {
        self.complete
    }

    /// What the file says about itself.
    pub fn about(&self) -> &About {
        &self.about
    }

    /// The recorded channels, in the order of the run.
    pub fn channels(&self) -> &[Channel] {
        &self.waveforms.channels
    }

    /// Instants at which they were recorded.
    pub fn samples(&self) -> usize {
        self.waveforms.length
    }

    /// Times of the samples in `range`, s.
    ///
    /// # Errors
    /// A range beyond the samples; an error of the file.
    pub fn time(&self, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        self.waveforms.values(&self.archive, "time", range)
    }

    /// Values of a channel (by the run's name) at the samples in `range`.
    ///
    /// # Errors
    /// No such channel; a range beyond the samples; an error of the file.
    pub fn window(&self, channel: &str, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        let dataset = &self.waveforms.channel(&self.archive, channel)?.dataset;
        self.waveforms.values(&self.archive, dataset, range)
    }

    /// The thermal nodes, in the order of the run.
    pub fn thermal_channels(&self) -> &[Channel] {
        &self.thermal.channels
    }

    /// Instants at which temperatures were recorded.
    pub fn thermal_samples(&self) -> usize {
        self.thermal.length
    }

    /// Times of the temperatures in `range`, s.
    ///
    /// # Errors
    /// A range beyond the instants; an error of the file.
    pub fn thermal_time(&self, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        self.thermal.values(&self.archive, "time", range)
    }

    /// Temperatures of a thermal node (by the run's name), °C.
    ///
    /// # Errors
    /// No such node; a range beyond the instants; an error of the file.
    pub fn temperature(&self, node: &str, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        let dataset = &self.thermal.channel(&self.archive, node)?.dataset;
        self.thermal.values(&self.archive, dataset, range)
    }

    /// Measured channels: what each is called, and how many instants it has.
    pub fn measured(&self) -> impl Iterator<Item = (&[Channel], usize)> {
        self.measured.iter().map(|g| (&*g.channels, g.length))
    }

    /// Instants of the run at which a channel (by its number) was measured, s.
    ///
    /// # Errors
    /// A range beyond the instants; an error of the file.
    pub fn measured_time(&self, channel: usize, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        self.of_measured(channel, "time", range)
    }

    /// What was measured there.
    ///
    /// # Errors
    /// As of [`ResultFile::measured_time`].
    pub fn measured_values(&self, channel: usize, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        self.of_measured(channel, "measured", range)
    }

    fn of_measured(
        &self,
        channel: usize,
        dataset: &str,
        range: Range<usize>,
    ) -> Result<Vec<f64>, ResultError> {
        self.measured.get(channel).map_or(Ok(Vec::new()), |g| g.values(&self.archive, dataset, range))
    }

    /// The levels of the overview: 1 has 16 samples a block, each next one 16 times as many.
    pub fn overview_levels(&self) -> Range<u32> {
        1..if self.waveforms.channels.is_empty() { 1 } else { LEVELS + 1 }
    }

    /// How many blocks a level holds.
    ///
    /// # Errors
    /// No such level; an error of the file.
    pub fn overview_length(&self, level: u32) -> Result<usize, ResultError> {
        let group = format!("overview/{level}");
        let mut paths = vec![format!("{group}/time")];
        let mut names = Names::reserving(&["time", "extreme"]);
        paths.extend(self.channels().iter().map(|c| format!("{group}/{}", names.take(&c.name))));
        self.archive.shortest(&paths)
    }

    /// Blocks `range` of a channel (by the run's name) at a level of the overview.
    ///
    /// # Errors
    /// No such channel or level; a range beyond the blocks; an error of the file.
    pub fn overview(
        &self,
        level: u32,
        channel: &str,
        range: Range<usize>,
    ) -> Result<OverviewBlocks, ResultError> {
        self.waveforms.channel(&self.archive, channel)?;
        // A channel may be called "extreme", so its dataset here is not always that of the waveforms.
        let mut names = Names::reserving(&["time", "extreme"]);
        let named = self.channels().iter().map(|c| (c.name == channel, names.take(&c.name)));
        let dataset = named.filter_map(|(wanted, name)| wanted.then_some(name)).next().unwrap_or_default();
        overview::read(&self.archive, level, &dataset, range)
    }

    /// What happened, in the order of the run.
    ///
    /// # Errors
    /// An error of the file.
    pub fn events(&self) -> Result<Vec<StoredEvent>, ResultError> {
        events::read(&self.archive)
    }

    /// The rows of the account.
    ///
    /// # Errors
    /// An error of the file.
    pub fn steps(&self) -> Result<StepTable, ResultError> {
        steps::read(&self.archive)
    }

    /// The energy account, where the run came to write it.
    ///
    /// # Errors
    /// An error of the file.
    pub fn ledger(&self) -> Result<Option<LedgerTable>, ResultError> {
        ledger::read(&self.archive)
    }

    /// The summary, where the run came to write it.
    ///
    /// # Errors
    /// An error of the file.
    pub fn summary(&self) -> Result<Option<Summary>, ResultError> {
        summary::read(&self.archive)
    }
}

impl Group {
    fn read(archive: &Archive, name: &str) -> Result<Self, ResultError> {
        let mut channels = Vec::new();
        for dataset in archive.datasets(name)? {
            if dataset == "time" {
                continue;
            }
            let path = format!("{name}/{dataset}");
            channels.push(Channel {
                name: archive.text(&path, "original_name").unwrap_or_else(|| dataset.clone()),
                long_name: archive.text(&path, "long_name").unwrap_or_default(),
                unit: archive.unit(&path),
                holds: archive.text(&path, INTERPOLATION.0).as_deref() == Some(INTERPOLATION.1),
                dataset,
            });
        }
        let length = archive.common_length(name)?;
        Ok(Self { name: name.into(), channels, length })
    }

    fn channel(&self, archive: &Archive, wanted: &str) -> Result<&Channel, ResultError> {
        self.channels.iter().find(|channel| channel.name == wanted).ok_or_else(|| {
            let known: Vec<&str> = self.channels.iter().map(|channel| channel.name.as_str()).collect();
            let found = format!("a request for {wanted:?} of {}", self.name);
            ResultError::content(archive.path(), found, format!("one of {}", known.join(", ")))
        })
    }

    fn values(&self, archive: &Archive, dataset: &str, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        if range.start > range.end || range.end > self.length {
            let found = format!("a request for {}..{} of {}", range.start, range.end, self.name);
            let expected = format!("a range within 0..{}", self.length);
            return Err(ResultError::content(archive.path(), found, expected));
        }
        archive.reals(&format!("{}/{dataset}", self.name), range)
    }
}
