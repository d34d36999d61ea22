//! Which file a path leads to, by whatever name.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Links that are followed one after the other, as systems do.
const LINKS: usize = 40;

/// Which file it is, by whatever name: links, symbolic and hard, have the identity of their file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Identity {
    /// Device and number of a file that exists.
    Number(u64, u64),
    /// Where it is, or would be, with links followed.
    Path(PathBuf),
}

impl Identity {
    /// The identity of a file that exists, or of one that would be made under this path.
    ///
    /// # Errors
    /// When its folder cannot be looked at.
    pub fn of(path: &Path) -> io::Result<Self> {
        #[cfg(unix)]
        if let Ok(about) = fs::metadata(path) {
            use std::os::unix::fs::MetadataExt;
            return Ok(Self::Number(about.dev(), about.ino()));
        }
        place(path).map(Self::Path)
    }
}

/// Where a file is, or would be made: its folder with all links followed, and its name.
pub(crate) fn place(path: &Path) -> io::Result<PathBuf> {
    if let Ok(real) = fs::canonicalize(path) {
        return Ok(real);
    }
    let mut path = path.to_path_buf();
    for _ in 0..LINKS {
        let Ok(to) = fs::read_link(&path) else { break };
        path = folder_of(&path).join(to);
    }
    let name = path.file_name().ok_or(ErrorKind::IsADirectory)?;
    Ok(fs::canonicalize(folder_of(&path))?.join(name))
}

/// The folder of a file.
pub(crate) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}
