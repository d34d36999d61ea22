//! What the page receives about a file before it draws.

use serde::Serialize;

use super::http::Answer;
use super::shown::{Shown, unread};
use super::window::extremes;
use crate::result::{Channel, ResultFile, StoredEvent, exact};

use super::track::Track;

/// Most happenings in one answer; edges are left out first.
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

/// A file but its samples.
#[derive(Serialize)]
pub(super) struct Meta {
    name: String,
    path: String,
    title: String,
    producer: String,
    created: String,
    complete: bool,
    writing: bool,
    w: Group,
    t: Group,
}

#[derive(Serialize)]
pub(super) struct Events {
    all: usize,
    events: Vec<StoredEvent>,
}

/// The title that the scenario gives itself.
fn title(scenario: &str) -> String {
    let line = scenario.lines().find(|line| line.trim_start().starts_with("title"));
    let table = line.and_then(|line| line.parse::<toml::Table>().ok());
    table.and_then(|table| table.get("title")?.as_str().map(String::from)).unwrap_or_default()
}

fn group(track: &mut Track, file: &ResultFile) -> Result<Group, Answer> {
    let channels: Vec<Channel> = track.channels(file).to_vec();
    let mut signals = Vec::new();
    for (signal, channel) in channels.into_iter().enumerate() {
        let [min, max] = extremes(track, file, signal).map_err(unread)?.map(Number);
        signals.push(Signal { channel, min, max });
    }
    let mut ends = (f64::NAN, f64::NAN);
    if let Some(last) = track.length.checked_sub(1) {
        ends = (track.instant(file, 0).map_err(unread)?, track.instant(file, last).map_err(unread)?);
    }
    Ok(Group { samples: track.length, from: Number(ends.0), to: Number(ends.1), signals })
}

/// Everything but the samples.
pub(super) fn meta(shown: &mut Shown) -> Result<Meta, Answer> {
    let about = shown.file.about().clone();
    Ok(Meta {
        name: shown.path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        path: shown.path.display().to_string(),
        title: title(&about.scenario),
        producer: format!("{} {}", about.producer, about.producer_version),
        created: about.created,
        complete: shown.file.complete(),
        writing: shown.writing,
        w: group(&mut shown.waveforms, &shown.file)?,
        t: group(&mut shown.thermal, &shown.file)?,
    })
}

/// What happened.
pub(super) fn events(shown: &mut Shown) -> Result<Events, Answer> {
    let events = shown.events()?;
    let many = events.len() > EVENTS;
    let kept = events.iter().filter(|event| !many || event.kind != "edge").take(EVENTS);
    Ok(Events { all: events.len(), events: kept.cloned().collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_title_is_found_below_what_comes_before_it() {
        let text = "# file: a.toml\nformat = 2\ntitle = \"Fähre \\\"<b>\\\"\"\n[[component]]\n";
        assert_eq!(title(text), "Fähre \"<b>\"");
        assert_eq!(title("title = 7"), "");
        assert_eq!(title("title = \"open"), "");
    }
}
