//! What is kept between runs of the program: results that take seconds and follow from their content alone.
//!
//! An entry is a file named after the SHA-256 of everything that decides it. It is written whole in one move, and held
//! against its own check sum when it is read: what is damaged, cut short or something else counts as missing and is
//! written anew. Nothing depends on an entry being there, so no failure of the folder is an error.

mod entry;
mod place;

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, SystemTime};

use joulestep_engine::arithmetic::packed::Packed;
use sha2::{Digest, Sha256};

pub use place::{Place, VARIABLE};

/// Bytes of all entries together, at most.
pub const LIMIT: u64 = 256_000_000;
/// Entries that a process writes between two looks at the whole folder.
const BETWEEN_LOOKS: u64 = 64;
/// Age from which on a file that somebody began to write is abandoned.
const ABANDONED: Duration = Duration::from_secs(3600);
/// Ends of the names of entries, and of files that are being written.
const ENDINGS: [&str; 2] = ["kept", "part"];

static OF_PROGRAM: OnceLock<Option<Store>> = OnceLock::new();

/// Lets the process keep results where the environment says. Before this, and in libraries, nothing is kept.
pub fn turn_on() {
    let _ = OF_PROGRAM.set(match Place::of_environment() {
        Place::Folder(folder) => Some(Store::new(folder, LIMIT)),
        Place::Off | Place::Unknown => None,
    });
}

/// The result of this content, from what is kept, else made, and kept then. `what` tells in a few words what it is.
///
/// # Errors
/// What making it says.
pub fn kept<T: Packed, E>(what: &str, content: &str, make: impl FnOnce() -> Result<T, E>) -> Result<T, E> {
    match OF_PROGRAM.get().and_then(Option::as_ref) {
        Some(store) => store.kept(what, content, make),
        None => make(),
    }
}

/// A folder of entries.
#[derive(Debug)]
pub struct Store {
    folder: PathBuf,
    limit: u64,
    written: AtomicU64,
}

/// An entry as the folder shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What it is, in a few words; empty where it cannot be read.
    pub what: String,
    /// Bytes.
    pub size: u64,
    /// When it was last used.
    pub used: SystemTime,
    path: PathBuf,
}

impl Store {
    /// In this folder, which is made when something is to be kept; `limit` bytes at most.
    pub fn new(folder: PathBuf, limit: u64) -> Self {
        Self { folder, limit, written: AtomicU64::new(0) }
    }

    /// See [`kept`].
    ///
    /// # Errors
    /// What making it says.
    pub fn kept<T: Packed, E>(
        &self,
        what: &str,
        content: &str,
        make: impl FnOnce() -> Result<T, E>,
    ) -> Result<T, E> {
        let key = key(content);
        let path = self.folder.join(format!("{}.{}", hexadecimal(&key), ENDINGS[0]));
        if let Some(found) = self.read(&path, &key) {
            return Ok(found);
        }
        let made = make()?;
        let mut content = Vec::new();
        made.pack(&mut content);
        // A full disk or a folder of somebody else: it is made again next time.
        let _ = self.write(&path, &entry::sealed(&key, what, &content));
        Ok(made)
    }

    fn read<T: Packed>(&self, path: &Path, key: &[u8; 32]) -> Option<T> {
        let bytes = whole(path, self.limit)?;
        let (_, mut content) = entry::opened(&bytes, Some(key))?;
        let found = T::unpack(&mut content).filter(|_| content.is_empty())?;
        // The oldest go first: what is used is young.
        let _ = File::options().append(true).open(path).and_then(|file| file.set_modified(SystemTime::now()));
        Some(found)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        if bytes.len() as u64 > self.limit {
            return Ok(());
        }
        make_folder(&self.folder)?;
        let count = self.written.fetch_add(1, Ordering::Relaxed);
        if count.is_multiple_of(BETWEEN_LOOKS) || count < 2 || self.limit < LIMIT {
            self.make_room(bytes.len() as u64);
        }
        // Of its own for every process and every entry in it.
        let part = path.with_extension(format!("{}-{count}.{}", std::process::id(), ENDINGS[1]));
        let written = File::create(&part).and_then(|mut file| file.write_all(bytes));
        let moved = written.and_then(|()| fs::rename(&part, path));
        if moved.is_err() {
            let _ = fs::remove_file(&part);
        }
        moved
    }

    /// Removes the entries that were not used for the longest time until `more` bytes have room, and what was begun and
    /// never finished.
    fn make_room(&self, more: u64) {
        let now = SystemTime::now();
        let old = |used: SystemTime| now.duration_since(used).is_ok_and(|age| age > ABANDONED);
        let (parts, mut entries): (Vec<Entry>, Vec<Entry>) =
            self.files().into_iter().partition(|e| e.path.extension().is_some_and(|x| x == ENDINGS[1]));
        for part in parts.iter().filter(|part| old(part.used)) {
            let _ = fs::remove_file(&part.path);
        }
        entries.sort_by(|a, b| (a.used, &a.path).cmp(&(b.used, &b.path)));
        let mut all: u64 = entries.iter().map(|e| e.size).sum::<u64>() + more;
        // With some to spare where entries come in numbers.
        let goal = if self.limit < LIMIT { self.limit } else { self.limit - self.limit / 8 };
        if all > self.limit {
            for entry in &entries {
                if all <= goal {
                    break;
                }
                if fs::remove_file(&entry.path).is_ok() {
                    all -= entry.size;
                }
            }
        }
    }

    /// Entries and unfinished ones, as far as the folder can be read; nothing else that lies there.
    fn files(&self) -> Vec<Entry> {
        let Ok(listed) = fs::read_dir(&self.folder) else { return Vec::new() };
        let one = |path: PathBuf| {
            let name = path.file_name()?.to_str()?;
            let (key, _) = name.split_once('.')?;
            let own = key.len() == 64 && key.bytes().all(|b| b.is_ascii_hexdigit());
            let ending = ENDINGS.iter().any(|e| path.extension().is_some_and(|x| x == *e));
            let about = fs::symlink_metadata(&path).ok().filter(|about| about.is_file() && own && ending)?;
            let used = about.modified().unwrap_or(SystemTime::UNIX_EPOCH);
            Some(Entry { what: String::new(), size: about.len(), used, path })
        };
        listed.flatten().filter_map(|file| one(file.path())).collect()
    }

    /// What is kept, last used first.
    pub fn entries(&self) -> Vec<Entry> {
        let mut all = self.files();
        all.retain(|e| e.path.extension().is_some_and(|x| x == ENDINGS[0]));
        all.sort_by(|a, b| (b.used, &b.path).cmp(&(a.used, &a.path)));
        for entry in &mut all {
            let bytes = whole(&entry.path, self.limit).unwrap_or_default();
            entry.what = entry::opened(&bytes, None).map_or_else(String::new, |(what, _)| what);
        }
        all
    }

    /// Removes everything that is kept, and nothing else.
    ///
    /// # Errors
    /// The first file that cannot be removed.
    pub fn clear(&self) -> io::Result<()> {
        for entry in self.files() {
            match fs::remove_file(&entry.path) {
                // Somebody else was faster.
                Err(e) if e.kind() == io::ErrorKind::NotFound => {}
                done => done?,
            }
        }
        Ok(())
    }

    /// Bytes at most.
    pub fn limit(&self) -> u64 {
        self.limit
    }
}

/// The bytes of a plain file of bounded size.
fn whole(path: &Path, most: u64) -> Option<Vec<u8>> {
    // A pipe would be waited for.
    fs::symlink_metadata(path).ok().filter(|about| about.is_file() && about.len() <= most)?;
    let mut bytes = Vec::new();
    File::open(path).ok()?.take(most + 1).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

/// Makes a folder, for nobody else to look into.
fn make_folder(folder: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}

/// Everything that decides a result: its content, and what makes results of contents.
fn key(content: &str) -> [u8; 32] {
    static MAKER: OnceLock<[u8; 32]> = OnceLock::new();
    let maker = MAKER.get_or_init(|| {
        let mut hash = Sha256::new();
        let program = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"));
        let sources = joulestep_engine::thermal::field::SOURCES.iter().chain(&joulestep_models::SOURCES);
        for text in [program, std::env::consts::OS, std::env::consts::ARCH, fused()].iter().chain(sources) {
            // With lengths, so that no two lists are one text.
            hash.update((text.len() as u64).to_le_bytes());
            hash.update(text);
        }
        hash.finalize().into()
    });
    let mut hash = Sha256::new();
    hash.update(maker);
    hash.update(content);
    hash.finalize().into()
}

/// Without fused multiplication last bits differ.
fn fused() -> &'static str {
    #[cfg(target_arch = "x86_64")]
    if !std::arch::is_x86_feature_detected!("fma") {
        return "no fma";
    }
    "fma"
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
mod tests;
