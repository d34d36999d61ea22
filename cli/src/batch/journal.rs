//! The journal of a batch: one line per finished variant, each with a checksum, safe on disk before the variant counts
//! as finished. The table is made from it, so whatever ends a batch costs only the variants under way.
//!
//! The first line states which plan, scenario and shard it belongs to. A line that a killed process left unfinished, or
//! a full disk cut, fails its checksum and is taken off when the journal is continued.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::batch::row::Row;

/// Version of the journal's layout.
pub const FORMAT: u64 = 4;

/// Which batch a journal belongs to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    /// [`FORMAT`].
    pub format: u64,
    /// Digest of program, plan and scenario.
    #[serde(rename = "plan")]
    pub digest: String,
    /// Number of variants of the whole plan.
    pub variants: usize,
    /// Numbers in a row.
    pub outputs: usize,
    /// The k of "k of n" shards, from 1.
    pub shard: usize,
    /// The n.
    pub shards: usize,
}

/// What every first line has had.
#[derive(Deserialize)]
struct Versioned {
    format: u64,
}

/// An error of a journal.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The operating system refused.
    #[error("cannot {doing} {}: {source}", path.display())]
    System {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// It is not what was expected.
    #[error("{}: found {found}, expected {expected}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
}

/// The journal of a table.
pub fn path_of(table: &Path) -> PathBuf {
    let mut name = OsString::from(table);
    name.push(".journal");
    name.into()
}

/// A journal open for appending.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
}

/// What a journal holds.
#[derive(Debug)]
pub struct Held {
    /// Which batch it belongs to.
    pub head: Head,
    /// Finished variants, by number.
    pub rows: BTreeMap<usize, Row>,
    /// Length of what is whole, bytes.
    sound: u64,
}

fn system(path: &Path, doing: &'static str) -> impl Fn(io::Error) -> JournalError {
    let path = path.to_path_buf();
    move |source| JournalError::System { path: path.clone(), doing, source }
}

/// A line: a JSON object that ends in the CRC-32 of its other member as it is written.
fn line(what: &str, value: &impl Serialize) -> Result<String, io::Error> {
    let body = serde_json::to_string(value)?;
    Ok(format!("{{\"{what}\":{body},\"crc32\":\"{:08x}\"}}\n", crc32fast::hash(body.as_bytes())))
}

/// The member of a line whose checksum is right.
fn sound<T: DeserializeOwned>(line: &[u8], what: &str) -> Option<T> {
    let text = std::str::from_utf8(line).ok()?;
    let inner = text.strip_prefix(&format!("{{\"{what}\":"))?.strip_suffix("\"}")?;
    let (body, sum) = inner.rsplit_once(",\"crc32\":\"")?;
    let right = u32::from_str_radix(sum, 16).ok()? == crc32fast::hash(body.as_bytes());
    right.then(|| serde_json::from_str(body).ok()).flatten()
}

/// Reads a journal, up to the first line that is not whole.
///
/// # Errors
/// When it cannot be read or its first line is no head.
pub fn read(path: &Path) -> Result<Held, JournalError> {
    let mut bytes = Vec::new();
    let opened = File::open(path).and_then(|mut file| file.read_to_end(&mut bytes));
    opened.map_err(system(path, "read"))?;
    let mut lines =
        bytes.split_inclusive(|b| *b == b'\n').filter_map(|l| Some((l.strip_suffix(b"\n")?, l.len())));
    let first = lines.next();
    let head = first.and_then(|(l, n)| Some((sound::<Head>(l, "batch")?, n)));
    let Some((head, length)) = head.filter(|(head, _)| head.format == FORMAT) else {
        let other = first.and_then(|(l, _)| sound::<Versioned>(l, "batch")).filter(|v| v.format != FORMAT);
        let (found, expected) = match other {
            Some(Versioned { format }) => (
                format!("a batch's journal of format {format}, of another version of this program"),
                format!("format {FORMAT} (each variant at steps of its own); --force begins anew"),
            ),
            None => ("no first line of a batch's journal".into(), "the journal of a batch".into()),
        };
        return Err(JournalError::Content { path: path.to_path_buf(), found, expected });
    };
    let mut held = Held { rows: BTreeMap::new(), sound: length as u64, head };
    for (line, length) in lines {
        let outputs = held.head.outputs;
        let fits = |row: &Row| {
            let estimate = row.estimate.as_ref().is_none_or(|e| e.fits(outputs));
            row.variant < held.head.variants && row.outputs.len() == outputs && estimate
        };
        let Some(row) = sound(line, "row").filter(fits) else { break };
        held.rows.entry(row.variant).or_insert(row);
        held.sound += length as u64;
    }
    Ok(held)
}

/// Whether a journal was killed, or its disk full, before its first line was whole: what there is begins that line.
pub fn is_unbegun(path: &Path, head: &Head) -> bool {
    let Ok(first) = line("batch", head) else { return false };
    std::fs::read(path).is_ok_and(|bytes| bytes.len() < first.len() && first.as_bytes().starts_with(&bytes))
}

impl Journal {
    /// Begins a journal; `force` replaces one that is there.
    ///
    /// # Errors
    /// When it exists or cannot be written.
    pub fn create(path: &Path, head: &Head, force: bool) -> Result<Self, JournalError> {
        let mut options = OpenOptions::new();
        options.write(true).create(true).truncate(false).create_new(!force);
        let is_new = !path.exists();
        let file = options.open(path).map_err(system(path, "create"))?;
        let mut journal = Self::locked(path, file)?;
        journal.file.set_len(0).map_err(system(path, "create"))?;
        if let Err(error) = journal.put(line("batch", head)) {
            if is_new {
                // A full disk leaves no empty file behind.
                let _ = std::fs::remove_file(path);
            }
            return Err(error);
        }
        // The name must be safe too, not only the content.
        if let Some(folder) = path.parent() {
            let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
            let _ = File::open(folder).and_then(|f| f.sync_all());
        }
        Ok(journal)
    }

    /// Goes on with a journal that was read; what follows its last whole line is taken off.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn resume(path: &Path, held: &Held) -> Result<Self, JournalError> {
        let file = OpenOptions::new().write(true).open(path).map_err(system(path, "write"))?;
        let mut journal = Self::locked(path, file)?;
        let cut = journal.file.set_len(held.sound).and_then(|()| journal.file.seek(SeekFrom::End(0)));
        cut.map_err(system(path, "write"))?;
        Ok(journal)
    }

    fn locked(path: &Path, file: File) -> Result<Self, JournalError> {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => {
                let (found, expected) = ("a batch that is writing it".into(), "one batch at a time".into());
                Err(JournalError::Content { path: path.to_path_buf(), found, expected })
            }
            // A file system without locks is no reason not to run.
            _ => Ok(Self { path: path.to_path_buf(), file }),
        }
    }

    /// Appends rows; they are safe on disk when this returns.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn append(&mut self, rows: &[Row]) -> Result<(), JournalError> {
        self.put(rows.iter().map(|row| line("row", row)).collect())
    }

    fn put(&mut self, text: Result<String, io::Error>) -> Result<(), JournalError> {
        let done = text.and_then(|text| self.file.write_all(text.as_bytes()));
        done.and_then(|()| self.file.sync_data()).map_err(system(&self.path, "write"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::batch::row::Status;

    fn head() -> Head {
        Head { format: FORMAT, digest: "00ff".into(), variants: 9, outputs: 3, shard: 1, shards: 1 }
    }

    fn row(variant: usize) -> Row {
        let outputs = vec![0.1 + variant as f64, f64::NAN, f64::NEG_INFINITY];
        Row { variant, doubts: "x \"".into(), ..Row::new(Status::Failed, "a \"b\"\n,µ".into(), outputs) }
    }

    #[test]
    fn rows_come_back_to_the_bit_and_torn_lines_are_taken_off() {
        let path = std::env::temp_dir().join(format!("joulestep-journal-{}", std::process::id()));
        let _ = std::fs::remove_file(&path);
        let mut journal = Journal::create(&path, &head(), false).unwrap();
        assert!(Journal::create(&path, &head(), false).is_err());
        journal.append(&[row(4), row(2)]).unwrap();
        drop(journal);
        let whole = std::fs::read(&path).unwrap();
        let last = whole[..whole.len() - 1].iter().rposition(|b| *b == b'\n').unwrap() + 1;
        let first = whole.iter().position(|b| *b == b'\n').unwrap() + 1;
        // Cut within the first line, nothing was begun.
        for cut in 0..=first {
            std::fs::write(&path, &whole[..cut]).unwrap();
            assert_eq!(is_unbegun(&path, &head()), cut < first, "cut at {cut}");
        }
        // Cut anywhere within the last line, only that line is lost; a changed byte is noticed.
        for cut in last..whole.len() {
            std::fs::write(&path, &whole[..cut]).unwrap();
            assert_eq!(read(&path).unwrap().rows.keys().copied().collect::<Vec<_>>(), [4], "cut at {cut}");
        }
        let mut changed = whole.clone();
        changed[last + 30] ^= 1;
        std::fs::write(&path, &changed).unwrap();
        let held = read(&path).unwrap();
        assert_eq!(held.rows.len(), 1);
        Journal::resume(&path, &held).unwrap().append(&[row(2)]).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), whole);
        let held = read(&path).unwrap();
        assert_eq!(held.head, head());
        for (variant, back) in &held.rows {
            let there = row(*variant);
            let bits = |r: &Row| r.outputs.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
            assert_eq!(bits(back), bits(&there));
            assert_eq!((back.status, &back.doubts, &back.error), (there.status, &there.doubts, &there.error));
        }
        std::fs::write(&path, "nothing of the kind\n").unwrap();
        assert!(read(&path).is_err());
        let earlier = Head { format: 2, ..head() };
        std::fs::write(&path, line("batch", &earlier).unwrap()).unwrap();
        let report = read(&path).unwrap_err().to_string();
        assert!(report.contains("journal of format 2") && report.contains("expected format 4"), "{report}");
        std::fs::remove_file(&path).unwrap();
    }
}
