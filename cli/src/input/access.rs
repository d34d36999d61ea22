//! Which files a command reads as text: those it is given, and what these name within their own folders.
//!
//! A scenario may come from somebody else. So what it names (includes, parts, packages, courses, lists) must lie in the
//! folder of a file of the command line, or in one that `--allow-outside` permits, with every symbolic link followed.
//! It must be a plain file, never a pipe or a device, and all of them together have a limit. A file that the command is
//! to write is not read.

use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read};
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::exit::{BAD_INPUT, INPUT_OUTPUT};
use crate::input::identity::Identity;

/// No text is longer than this many bytes: more is a mistaken file.
const LONGEST: u64 = 16 << 20;
/// All texts of a command together, bytes.
const TOGETHER: u64 = 128 << 20;
/// Files that a command opens at most.
const FILES: u64 = 50_000;

/// What a command may read.
#[derive(Clone, Debug, Default)]
pub struct Access(Arc<Rules>);

#[derive(Debug, Default)]
struct Rules {
    /// Files of the command line, as typed.
    given: Vec<PathBuf>,
    /// Folders of what may be named: as typed from the root, and with links followed.
    folders: Vec<PathBuf>,
    /// What the command is to write, by option.
    outputs: Vec<(String, Identity)>,
    bytes: AtomicU64,
    files: AtomicU64,
}

impl Access {
    /// Access to the files of a command line and to what lies in their folders or in `outside`; not to what the command
    /// is to write.
    pub fn new(given: &[PathBuf], outside: &[PathBuf], outputs: Vec<(String, Identity)>) -> Self {
        let own = given.iter().map(|path| path.parent().unwrap_or(Path::new("")).to_path_buf());
        let mut folders = Vec::new();
        for folder in own.chain(outside.iter().cloned()) {
            let folder = if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder };
            folders.extend(from_root(&folder));
            folders.extend(fs::canonicalize(&folder));
        }
        folders.dedup();
        Self(Arc::new(Rules { given: given.to_vec(), folders, outputs, ..Rules::default() }))
    }

    /// What opens files for the stages that read.
    pub fn open(&self) -> impl Fn(&Path) -> io::Result<String> + use<> {
        let rules = Arc::clone(&self.0);
        move |path| rules.read(path)
    }
}

impl Rules {
    fn read(&self, path: &Path) -> io::Result<String> {
        let given = self.given.iter().any(|g| g == path);
        if self.files.fetch_add(1, Ordering::Relaxed) >= FILES {
            return Err(io::Error::other(format!("more than {FILES} files")));
        }
        let real = if given { path.to_path_buf() } else { self.inside(path)? };
        if let Ok(identity) = Identity::of(&real)
            && let Some((option, _)) = self.outputs.iter().find(|o| o.1 == identity)
        {
            let why = format!("{option} is to write it");
            return Err(io::Error::new(ErrorKind::InvalidInput, why));
        }
        let text =
            if given && is_handed_over(path) { text_of(File::open(path)?) } else { read_plain(&real) }?;
        let bytes = text.len() as u64;
        if self.bytes.fetch_add(bytes, Ordering::Relaxed) + bytes > TOGETHER {
            let why = format!("all files together are longer than {} MiB", TOGETHER >> 20);
            return Err(io::Error::other(why));
        }
        Ok(text)
    }

    /// The path with links followed, of a file that lies where it may.
    fn inside(&self, path: &Path) -> io::Result<PathBuf> {
        let outside = || {
            io::Error::other(
                "it lies outside the folder of the file given; `--allow-outside DIR` permits another",
            )
        };
        let within = |path: &Path| self.folders.iter().any(|folder| path.starts_with(folder));
        // Asked first: of what lies outside not even its existence is reported.
        if !from_root(path).is_ok_and(|path| within(&path)) {
            return Err(outside());
        }
        let real = fs::canonicalize(path)?;
        if within(&real) { Ok(real) } else { Err(outside()) }
    }
}

/// An absolute path without `.` and `..`, as its text says.
fn from_root(path: &Path) -> io::Result<PathBuf> {
    let mut out = PathBuf::new();
    for part in std::path::absolute(path)?.components() {
        match part {
            Component::ParentDir => drop(out.pop()),
            other => out.push(other),
        }
    }
    Ok(out)
}

/// Whether a shell hands the file over open, so that there is no pipe to wait for: `<(command)`, standard input.
fn is_handed_over(path: &Path) -> bool {
    path == Path::new("/dev/stdin") || ["/dev/fd", "/proc/self/fd"].iter().any(|open| path.starts_with(open))
}

/// Reads a plain file of at most 16 MiB as text; never waits.
///
/// # Errors
/// Those of the file system, something that is no plain file, and a file that is too long or not UTF-8.
pub fn read_plain(path: &Path) -> io::Result<String> {
    let mut options = OpenOptions::new();
    options.read(true);
    #[cfg(unix)]
    {
        // A pipe without a writer keeps whoever opens it waiting.
        use std::os::unix::fs::OpenOptionsExt;
        options.custom_flags(rustix::fs::OFlags::NONBLOCK.bits() as i32);
    }
    // Asked before too: opening a device can do something.
    plain(&fs::metadata(path)?)?;
    let file = options.open(path)?;
    plain(&file.metadata()?)?;
    text_of(file)
}

fn plain(about: &fs::Metadata) -> io::Result<()> {
    if about.is_file() {
        return Ok(());
    }
    if about.is_dir() {
        return Err(ErrorKind::IsADirectory.into());
    }
    Err(io::Error::new(ErrorKind::Unsupported, "it is a pipe or a device"))
}

fn text_of(file: File) -> io::Result<String> {
    let mut text = String::new();
    file.take(LONGEST + 1).read_to_string(&mut text)?;
    if text.len() as u64 > LONGEST {
        return Err(io::Error::new(ErrorKind::InvalidData, "longer than 16 MiB"));
    }
    Ok(text)
}

/// A file system's error in plain words, the same on every machine.
pub fn reason(error: &std::io::Error) -> String {
    use std::io::ErrorKind as K;
    match error.kind() {
        K::NotFound => "no such file".into(),
        K::PermissionDenied => "not permitted".into(),
        K::IsADirectory => "it is a directory".into(),
        K::NotADirectory => "a part of the path is not a directory".into(),
        K::AlreadyExists => "it exists already".into(),
        K::StorageFull => "no space left".into(),
        K::ReadOnlyFilesystem => "the file system is read-only".into(),
        K::InvalidData => format!("not a text file ({error})"),
        K::FileTooLarge => "it would be larger than the system allows this process to write".into(),
        _ => error.to_string(),
    }
}

/// The exit code for a file that was not read: what is no text of ours is bad input, what cannot be opened is not.
pub fn unread(error: &io::Error) -> u8 {
    match error.kind() {
        ErrorKind::InvalidData | ErrorKind::InvalidInput | ErrorKind::Unsupported => BAD_INPUT,
        _ => INPUT_OUTPUT,
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    fn kind_and_words(access: &Access, path: &Path) -> String {
        access.open()(path).map_or_else(|e| e.to_string(), |text| format!("read {text}"))
    }

    #[test]
    fn what_a_file_names_lies_in_its_folder() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir_all(at("in/sub")).unwrap();
        for (name, text) in
            [("in/a.toml", "a"), ("in/sub/b.toml", "b"), ("c.toml", "c"), ("in/out.toml", "o")]
        {
            fs::write(at(name), text).unwrap();
        }
        symlink(at("c.toml"), at("in/link.toml")).unwrap();
        symlink(at("in/sub"), at("in/near")).unwrap();
        fs::hard_link(at("in/out.toml"), at("in/same.toml")).unwrap();
        let out = Identity::of(&at("in/out.toml")).unwrap();
        let access = Access::new(&[at("in/a.toml")], &[], vec![("--out".into(), out)]);
        let requested = |name: &str| kind_and_words(&access, &at(name));
        assert_eq!(requested("in/a.toml"), "read a");
        assert_eq!(requested("in/sub/../sub/b.toml"), "read b");
        assert_eq!(requested("in/near/b.toml"), "read b");
        for outside in ["c.toml", "in/link.toml", "in/../c.toml", "none.toml", "in/../none.toml"] {
            assert!(requested(outside).contains("outside the folder"), "{outside}: {}", requested(outside));
        }
        assert_eq!(requested("in/same.toml"), "--out is to write it");
        let wider = Access::new(&[at("in/a.toml")], &[folder.path().to_path_buf()], Vec::new());
        assert_eq!(kind_and_words(&wider, &at("in/link.toml")), "read c");
        assert!(kind_and_words(&wider, Path::new("/dev/zero")).contains("outside the folder"));
    }

    #[test]
    fn pipes_and_devices_are_not_waited_for() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe.toml");
        let made = std::process::Command::new("mkfifo").arg(&pipe).status().unwrap();
        assert!(made.success());
        for path in [&pipe, Path::new("/dev/zero")] {
            assert_eq!(read_plain(path).unwrap_err().to_string(), "it is a pipe or a device");
        }
        assert_eq!(read_plain(folder.path()).unwrap_err().kind(), ErrorKind::IsADirectory);
    }
}
