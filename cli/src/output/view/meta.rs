//! Metadata of a file: its signals, their ranges, its events.

use std::collections::BTreeMap;

use joulestep_engine::recorder::EventKind;
use serde::Serialize;

use super::http::Response;
use super::source::{Source, read_error};
use super::window::extremes;
use crate::diagnostic::Sources;
use crate::output::result::{Channel, ResultFile, StoredEvent, exact};

use super::series::Series;

/// Most events in one response; edges are left out first.
const EVENTS: usize = 20_000;

/// A number, or a text where JSON has none.
#[derive(Serialize)]
pub(super) struct Number(#[serde(serialize_with = "exact")] pub f64);

#[derive(Serialize)]
struct Signal {
    #[serde(flatten)]
    channel: Channel,
    min: Number,
    max: Number,
}

#[derive(Serialize)]
struct Group {
    samples: usize,
    from: Number,
    to: Number,
    signals: Vec<Signal>,
}

/// A file without its samples.
#[derive(Serialize)]
pub(super) struct Meta {
    name: String,
    path: String,
    title: String,
    producer: String,
    created: String,
    complete: bool,
    writing: bool,
    /// Keys of the groups in their order.
    groups: Vec<String>,
    #[serde(flatten)]
    by_key: BTreeMap<String, Group>,
}

#[derive(Serialize)]
pub(super) struct Events {
    all: usize,
    events: Vec<StoredEvent>,
}

/// The title that the scenario gives itself.
fn title(inputs: &Sources) -> String {
    let scenario = inputs.files.first().map_or("", |file| file.1.as_str());
    let line = scenario.lines().find(|line| line.trim_start().starts_with("title"));
    let table = line.and_then(|line| line.parse::<toml::Table>().ok());
    table.and_then(|table| table.get("title")?.as_str().map(String::from)).unwrap_or_default()
}

fn group(series: &mut Series, file: &ResultFile) -> Result<Group, Response> {
    let channels: Vec<Channel> = series.channels(file).to_vec();
    let mut signals = Vec::new();
    for (signal, channel) in channels.into_iter().enumerate() {
        let [min, max] = extremes(series, file, signal).map_err(read_error)?.map(Number);
        signals.push(Signal { channel, min, max });
    }
    let mut ends = (f64::NAN, f64::NAN);
    if let Some(last) = series.length.checked_sub(1) {
        ends =
            (series.instant(file, 0).map_err(read_error)?, series.instant(file, last).map_err(read_error)?);
    }
    Ok(Group { samples: series.length, from: Number(ends.0), to: Number(ends.1), signals })
}

/// The metadata of a file.
pub(super) fn meta(source: &mut Source) -> Result<Meta, Response> {
    let about = source.file.about().clone();
    let Source { waveforms, thermal, measured, file, .. } = source;
    let numbered = measured.iter_mut().enumerate().map(|(k, series)| (format!("m{}", k + 1), series));
    let all = [("w".to_string(), waveforms), ("t".to_string(), thermal)].into_iter().chain(numbered);
    let mut by_key = BTreeMap::new();
    let mut groups = Vec::new();
    for (key, series) in all {
        groups.push(key.clone());
        by_key.insert(key, group(series, file)?);
    }
    Ok(Meta {
        name: source.path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        path: source.path.display().to_string(),
        title: title(&about.inputs),
        producer: format!("{} {}", about.producer, about.producer_version),
        created: about.created,
        complete: source.file.complete(),
        writing: source.writing,
        groups,
        by_key,
    })
}

/// The events of a file.
pub(super) fn events(source: &mut Source) -> Result<Events, Response> {
    let events = source.events()?;
    let many = events.len() > EVENTS;
    let kept = events.iter().filter(|event| !many || !event.is(EventKind::Edge)).take(EVENTS);
    Ok(Events { all: events.len(), events: kept.cloned().collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_title_is_found_below_what_comes_before_it() {
        let title = |text: &str| super::title(&Sources::of_text(text));
        let text = "# a\nformat = 2\ntitle = \"Fähre \\\"<b>\\\"\"\n[[component]]\n";
        assert_eq!(title(text), "Fähre \"<b>\"");
        assert_eq!(title("title = 7"), "");
        assert_eq!(title("title = \"open"), "");
    }
}
