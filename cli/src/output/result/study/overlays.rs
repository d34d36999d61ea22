//! `/measured`: records beside the signals of the run.

use super::super::archive::Archive;
use super::super::error::ResultError;
use super::super::names::{self, no_nul};
use super::super::store::Store;
use crate::output::answer::overlay::Overlay;

/// The group of a record's channel, by its number from 0.
pub(in super::super) fn group(number: usize) -> String {
    format!("measured/{}", number + 1)
}

/// Writes those that have an instant in common with the run.
pub(super) fn write(store: &Store, all: &[Overlay]) -> Result<(), ResultError> {
    let all: Vec<&Overlay> = all.iter().filter(|o| !o.times.is_empty()).collect();
    if all.is_empty() {
        return Ok(());
    }
    store.group("measured")?;
    for (k, o) in all.into_iter().enumerate() {
        let group = group(k);
        store.group(&group)?;
        store.group_text(&group, "record", &no_nul(&o.record))?;
        store.group_text(&group, "signal", &no_nul(&o.signal))?;
        store.reals(&group, "time", &o.times, "s", "instant of the run")?;
        store.scale(&format!("{group}/time"), "time")?;
        for (name, values) in [("measured", &o.measured), ("simulated", &o.simulated)] {
            store.reals(&group, name, values, names::unit(&o.unit), &format!("{} {name}", o.signal))?;
            store.attach(&format!("{group}/{name}"), 0, &format!("{group}/time"))?;
        }
    }
    Ok(())
}

/// Reads all of them.
pub(in super::super) fn read(archive: &Archive) -> Result<Vec<Overlay>, ResultError> {
    let mut all = Vec::new();
    loop {
        let group = group(all.len());
        let Some(signal) = archive.group_text(&group, "signal") else { return Ok(all) };
        let column = |name: &str| {
            let path = format!("{group}/{name}");
            archive.reals(&path, 0..archive.length(&path)?)
        };
        all.push(Overlay {
            record: archive.group_text(&group, "record").unwrap_or_default(),
            signal,
            unit: archive.unit(&format!("{group}/measured")),
            times: column("time")?,
            measured: column("measured")?,
            simulated: column("simulated")?,
        });
    }
}
