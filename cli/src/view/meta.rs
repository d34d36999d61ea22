//! What the page is told about a file before it draws.

use serde_json::{Value, json};

use super::http::Answer;
use super::shown::{Shown, unread};
use super::window::extremes;
use crate::result::{Channel, ResultFile};

use super::track::Track;

/// Most happenings in one answer; edges are left out first.
const EVENTS: usize = 20_000;

/// A number as JSON: its shortest digits, or a text where JSON has none.
pub(super) fn number(x: f64) -> Value {
    if x.is_finite() {
        json!(x)
    } else if x.is_nan() {
        json!("NaN")
    } else {
        json!(if x > 0.0 { "Infinity" } else { "-Infinity" })
    }
}

/// The title that the scenario gives itself.
fn title(scenario: &str) -> String {
    let line = scenario.lines().find(|line| line.trim_start().starts_with("title"));
    let table = line.and_then(|line| line.parse::<toml::Table>().ok());
    table.and_then(|table| table.get("title")?.as_str().map(String::from)).unwrap_or_default()
}

fn group(track: &mut Track, file: &ResultFile) -> Result<Value, Answer> {
    let channels: Vec<Channel> = track.channels(file).to_vec();
    let mut told = Vec::new();
    for (signal, channel) in channels.into_iter().enumerate() {
        let [min, max] = extremes(track, file, signal).map_err(unread)?;
        told.push(json!({
            "name": channel.name,
            "long_name": channel.long_name,
            "unit": channel.unit,
            "min": number(min),
            "max": number(max),
        }));
    }
    let mut ends = (f64::NAN, f64::NAN);
    if let Some(last) = track.length.checked_sub(1) {
        ends = (track.instant(file, 0).map_err(unread)?, track.instant(file, last).map_err(unread)?);
    }
    Ok(json!({
        "samples": track.length,
        "from": number(ends.0),
        "to": number(ends.1),
        "signals": told,
    }))
}

/// Everything but the samples.
pub(super) fn meta(shown: &mut Shown) -> Result<Value, Answer> {
    let about = shown.file.about().clone();
    Ok(json!({
        "name": shown.path.file_name().unwrap_or_default().to_string_lossy(),
        "path": shown.path.display().to_string(),
        "title": title(&about.scenario),
        "producer": format!("{} {}", about.producer, about.producer_version),
        "created": about.created,
        "complete": shown.file.complete(),
        "writing": shown.writing,
        "w": group(&mut shown.waveforms, &shown.file)?,
        "t": group(&mut shown.thermal, &shown.file)?,
    }))
}

/// What happened.
pub(super) fn events(shown: &mut Shown) -> Result<Value, Answer> {
    let events = shown.events()?;
    let many = events.len() > EVENTS;
    let kept = events.iter().filter(|event| !many || event.kind != "edge").take(EVENTS);
    let told: Vec<Value> = kept
        .map(|event| {
            json!({
                "time": number(event.time),
                "kind": event.kind,
                "subject": event.subject,
                "note": event.note,
                "value": number(event.value),
                "unit": event.unit,
            })
        })
        .collect();
    Ok(json!({ "all": events.len(), "events": told }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_title_is_found_below_what_comes_before_it() {
        let text = "# file: a.toml\nformat = 1\ntitle = \"Fähre \\\"<b>\\\"\"\n[[component]]\n";
        assert_eq!(title(text), "Fähre \"<b>\"");
        assert_eq!(title("title = 7"), "");
        assert_eq!(title("title = \"open"), "");
    }
}
