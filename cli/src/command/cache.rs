//! `cache`: what is kept between runs, and an end to it.

use std::io;
use std::time::SystemTime;

use joulestep_engine::units::people_digits;
use serde::Serialize;

use crate::cache::{Entry, LIMIT, Place, Store, VARIABLE};
use crate::command::args::CacheArgs;
use crate::exit::{DONE, INPUT_OUTPUT};
use crate::output::streams::Streams;
use crate::output::written::refused;

/// Entries that are listed for people.
const LISTED: usize = 20;

#[derive(Serialize)]
struct Document {
    folder: Option<String>,
    limit_bytes: u64,
    bytes: u64,
    removed: usize,
    entries: Vec<Kept>,
}

#[derive(Serialize)]
struct Kept {
    what: String,
    bytes: u64,
    unused_seconds: u64,
}

/// Shows what is kept, or removes it.
///
/// # Errors
/// When a stream cannot be written.
pub fn cache(args: &CacheArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let folder = match Place::of_environment() {
        Place::Folder(folder) => folder,
        none => {
            if args.json {
                let (entries, limit_bytes) = (Vec::new(), LIMIT);
                streams.json(&Document { folder: None, limit_bytes, bytes: 0, removed: 0, entries })?;
            } else if none == Place::Off {
                writeln!(streams.out, "Nothing is kept: {VARIABLE} is `off`.")?;
            } else {
                writeln!(streams.out, "Nothing is kept: the system names no folder for it. Set {VARIABLE}.")?;
            }
            return Ok(DONE);
        }
    };
    let store = Store::new(folder.clone(), LIMIT);
    let mut entries = store.entries();
    let mut removed = 0;
    if args.clear {
        if let Err(e) = store.clear() {
            let why = format!("cannot clear `{}`: {}", folder.display(), crate::input::access::reason(&e));
            return refused(&(why, INPUT_OUTPUT), args.json, streams);
        }
        removed = entries.len();
        entries.clear();
    }
    let bytes = entries.iter().map(|e| e.size).sum();
    if args.json {
        let kept = |e: &Entry| Kept { what: e.what.clone(), bytes: e.size, unused_seconds: unused(e) };
        let entries = entries.iter().map(kept).collect();
        let folder = Some(folder.display().to_string());
        streams.json(&Document { folder, limit_bytes: LIMIT, bytes, removed, entries })?;
        return Ok(DONE);
    }
    writeln!(streams.out, "Folder:  {}", folder.display())?;
    if args.clear {
        writeln!(streams.out, "Removed: {}", counted(removed))?;
        return Ok(DONE);
    }
    let (all, most) = (size(bytes), size(LIMIT));
    writeln!(streams.out, "Kept:    {}, {all} of at most {most}", counted(entries.len()))?;
    if !entries.is_empty() {
        writeln!(streams.out, "\n{:>9}  {:>12}  What", "Size", "Last used")?;
    }
    for entry in entries.iter().take(LISTED) {
        let what = if entry.what.is_empty() { "(damaged)" } else { &entry.what };
        let what = crate::diagnostic::printable(what);
        writeln!(streams.out, "{:>9}  {:>12}  {what}", size(entry.size), ago(unused(entry)))?;
    }
    if entries.len() > LISTED {
        writeln!(streams.out, "and {} more", entries.len() - LISTED)?;
    }
    Ok(DONE)
}

fn counted(entries: usize) -> String {
    if entries == 1 { "1 result".into() } else { format!("{entries} results") }
}

fn size(bytes: u64) -> String {
    match bytes {
        0..1000 => format!("{bytes} B"),
        1000..1_000_000 => format!("{} kB", people_digits(bytes as f64 / 1e3, "1", 3)),
        _ => format!("{} MB", people_digits(bytes as f64 / 1e6, "1", 3)),
    }
}

/// Seconds since it was last used.
fn unused(entry: &Entry) -> u64 {
    SystemTime::now().duration_since(entry.used).map_or(0, |age| age.as_secs())
}

fn ago(seconds: u64) -> String {
    match seconds {
        0..120 => format!("{seconds} s ago"),
        120..7200 => format!("{} min ago", seconds / 60),
        7200..172_800 => format!("{} h ago", seconds / 3600),
        _ => format!("{} d ago", seconds / 86400),
    }
}
