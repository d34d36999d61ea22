//! Where results are kept.

use std::env::{self, consts};
use std::ffi::OsString;
use std::path::PathBuf;

/// The environment's word: a folder, or `off`.
pub const VARIABLE: &str = "JOULESTEP_CACHE";

/// Where results are kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// In this folder.
    Folder(PathBuf),
    /// Nowhere, as the user asked.
    Off,
    /// Nowhere: the system names no folder for it.
    Unknown,
}

impl Place {
    /// As [`VARIABLE`] says, else where the platform has such things.
    pub fn of_environment() -> Self {
        Self::of(&|name| env::var_os(name).filter(|value| !value.is_empty()), consts::OS)
    }

    fn of(variable: &dyn Fn(&str) -> Option<OsString>, system: &str) -> Self {
        match variable(VARIABLE) {
            Some(off) if off == "off" => return Self::Off,
            Some(folder) => return Self::Folder(folder.into()),
            None => {}
        }
        // A relative path there means nothing (XDG Base Directory Specification).
        let stated = |name: &str| variable(name).map(PathBuf::from).filter(|path| path.is_absolute());
        let home = || stated("HOME");
        let found = match system {
            "windows" => variable("LOCALAPPDATA").map(PathBuf::from),
            "macos" => stated("XDG_CACHE_HOME").or_else(|| Some(home()?.join("Library").join("Caches"))),
            _ => stated("XDG_CACHE_HOME").or_else(|| Some(home()?.join(".cache"))),
        };
        found.map_or(Self::Unknown, |folder| Self::Folder(folder.join("joulestep")))
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;

    #[test]
    fn the_environment_says_where() {
        let of = |list: &[(&str, &str)], system: &str| {
            let find = |name: &str| list.iter().find(|v| v.0 == name).map(|v| OsString::from(v.1));
            Place::of(&find, system)
        };
        let folder = |path: &str| Place::Folder(path.into());
        let home = ("HOME", "/home/ada");
        assert_eq!(of(&[home], "linux"), folder("/home/ada/.cache/joulestep"));
        assert_eq!(of(&[home], "macos"), folder("/home/ada/Library/Caches/joulestep"));
        assert_eq!(of(&[home, ("XDG_CACHE_HOME", "/var/c")], "linux"), folder("/var/c/joulestep"));
        assert_eq!(of(&[home, ("XDG_CACHE_HOME", "c")], "linux"), folder("/home/ada/.cache/joulestep"));
        assert_eq!(of(&[home, (VARIABLE, "kept")], "linux"), folder("kept"));
        assert_eq!(of(&[home, (VARIABLE, "off")], "linux"), Place::Off);
        assert_eq!(of(&[], "linux"), Place::Unknown);
    }
}
