//! What a command is to write, held against what it reads and against itself before any work begins: nothing is
//! overwritten by mistake, and hours of work do not end at a missing folder.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::exit::INPUT_OUTPUT;
use crate::input::access::reason;
use crate::input::identity::{Identity, folder_of, place};

/// Something that a command writes.
#[derive(Clone, Debug)]
pub struct Output {
    /// The option that names it.
    pub option: String,
    /// Where.
    pub path: PathBuf,
    /// Whether it is a folder, made when it is not there.
    pub folder: bool,
}

impl Output {
    /// A file.
    pub fn file(option: &str, path: &Path) -> Self {
        Self { option: option.into(), path: path.into(), folder: false }
    }

    /// A folder.
    pub fn folder(option: &str, path: &Path) -> Self {
        Self { option: option.into(), path: path.into(), folder: true }
    }
}

/// What a command line names.
#[derive(Debug, Default)]
pub struct Named {
    /// Files that are read.
    pub inputs: Vec<PathBuf>,
    /// Files and folders that are written.
    pub outputs: Vec<Output>,
}

impl Named {
    /// A part or package: a file where its name ends in `.toml`, else it is shipped.
    pub(crate) fn shelved<'a>(mut self, names: impl IntoIterator<Item = &'a String>) -> Self {
        let files = names.into_iter().filter(|name| name.ends_with(".toml"));
        self.inputs.extend(files.map(PathBuf::from));
        self
    }

    /// Files that are read.
    pub(crate) fn read<'a>(mut self, paths: impl IntoIterator<Item = &'a PathBuf>) -> Self {
        self.inputs.extend(paths.into_iter().cloned());
        self
    }

    /// A file that is written, where it is named.
    pub(crate) fn file(mut self, option: &str, path: Option<&PathBuf>) -> Self {
        self.outputs.extend(path.map(|path| Output::file(option, path)));
        self
    }

    /// A folder that is written, where it is named.
    pub(crate) fn folder(mut self, option: &str, path: Option<&PathBuf>) -> Self {
        self.outputs.extend(path.map(|path| Output::folder(option, path)));
        self
    }
}

/// Holds outputs against inputs and each other, and tries whether they can be written. Nothing is made or changed.
///
/// # Errors
/// What is wrong, and the exit code: an output that is an input or another output, a folder that is missing, no
/// permission.
pub fn examine(outputs: &[Output], inputs: &[PathBuf]) -> Result<Vec<(String, Identity)>, (String, u8)> {
    let mut seen: Vec<(String, Identity)> = Vec::new();
    let inputs: Vec<(&PathBuf, Identity)> =
        inputs.iter().filter_map(|path| Some((path, Identity::of(path).ok()?))).collect();
    for output in outputs {
        let Output { option, path, folder } = output;
        let shown = path.display();
        // A terminal, /dev/null or a pipe takes what comes, from as many as like.
        if !folder && fs::metadata(path).is_ok_and(|about| !about.is_file() && !about.is_dir()) {
            continue;
        }
        let cannot = |e: &io::Error| (format!("cannot write `{shown}`: {}", folder_reason(e)), INPUT_OUTPUT);
        tried(output).map_err(|e| cannot(&e))?;
        if *folder {
            continue;
        }
        let identity = Identity::of(path).map_err(|e| cannot(&e))?;
        if let Some((input, _)) = inputs.iter().find(|i| i.1 == identity) {
            let named =
                if *input == path { String::new() } else { format!(" under the name `{}`", input.display()) };
            let why =
                format!("{option}: `{shown}` is an input of this command{named}; expected another file");
            return Err((why, INPUT_OUTPUT));
        }
        if let Some((other, _)) = seen.iter().find(|s| s.1 == identity) {
            let why = format!("{option}: `{shown}` is the file of {other} too; expected a file of its own");
            return Err((why, INPUT_OUTPUT));
        }
        seen.push((option.clone(), identity));
    }
    Ok(seen)
}

/// Holds files whose names a command makes up (in folders that it may still have to make) against inputs and each
/// other.
///
/// # Errors
/// What is wrong, and the exit code.
pub fn apart(outputs: &[PathBuf], inputs: &[PathBuf]) -> Result<(), (String, u8)> {
    let mut seen: BTreeMap<Identity, String> = BTreeMap::new();
    for path in inputs {
        seen.extend(Identity::of(path).map(|identity| (identity, "an input of this command".to_string())));
    }
    for path in outputs {
        let Ok(identity) = Identity::of(path) else { continue };
        if let Some(other) = seen.get(&identity) {
            return Err((
                format!("`{}` is {other}; expected a file of its own", path.display()),
                INPUT_OUTPUT,
            ));
        }
        seen.insert(identity, "another output too".into());
    }
    Ok(())
}

fn folder_reason(e: &io::Error) -> String {
    match e.kind() {
        ErrorKind::NotFound => "its folder does not exist".into(),
        _ => reason(e),
    }
}

/// Whether it can be written, as far as the file system tells without writing.
fn tried(output: &Output) -> io::Result<()> {
    let path = &output.path;
    match fs::metadata(path) {
        Ok(about) if output.folder => {
            if about.is_dir() {
                may_write(path, true)
            } else {
                Err(ErrorKind::NotADirectory.into())
            }
        }
        Ok(about) if about.is_dir() => Err(ErrorKind::IsADirectory.into()),
        Ok(_) => may_write(path, false),
        Err(e) if e.kind() == ErrorKind::NotFound && output.folder => {
            // Missing folders are made: the nearest that exists must take them.
            let existing = path.ancestors().skip(1).find(|p| p.as_os_str().is_empty() || p.exists());
            let existing = existing.filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
            if existing.is_dir() { may_write(existing, true) } else { Err(ErrorKind::NotADirectory.into()) }
        }
        Err(e) if e.kind() == ErrorKind::NotFound => {
            // Through a link that leads nowhere yet as well.
            let place = place(path)?;
            may_write(folder_of(&place), true)
        }
        Err(e) => Err(e),
    }
}

/// Whether this process may write a file, or make files in a folder.
fn may_write(path: &Path, folder: bool) -> io::Result<()> {
    #[cfg(unix)]
    {
        use rustix::fs::Access;
        let wanted = if folder { Access::WRITE_OK | Access::EXEC_OK } else { Access::WRITE_OK };
        Ok(rustix::fs::access(path, wanted)?)
    }
    #[cfg(not(unix))]
    {
        let read_only = !folder && fs::metadata(path)?.permissions().readonly();
        if read_only { Err(ErrorKind::PermissionDenied.into()) } else { Ok(()) }
    }
}

/// Writes a whole file in one move: a full disk leaves what was there, never an empty file. A link stays a link to the
/// new file; a terminal, a device or a pipe is written straight.
///
/// # Errors
/// Those of the file system.
pub fn write(path: &Path, content: &[u8]) -> io::Result<()> {
    write_with(path, |file| file.write_all(content))
}

/// The same for what writes itself.
///
/// # Errors
/// Those of the file system and of `content`.
pub fn write_with<E: From<io::Error>>(
    path: &Path,
    content: impl FnOnce(&mut File) -> Result<(), E>,
) -> Result<(), E> {
    let old = fs::metadata(path).ok();
    let handed_over = ["/dev", "/proc"].iter().any(|system| path.starts_with(system));
    if handed_over || old.as_ref().is_some_and(|about| !about.is_file()) {
        return content(&mut File::create(path)?);
    }
    let place = place(path)?;
    let _writing = crate::signals::writing();
    let mut hidden = OsString::from(".");
    hidden.push(place.file_name().unwrap_or_default());
    hidden.push(format!(".{}.part", std::process::id()));
    let workshop = place.with_file_name(hidden);
    let mut file = match File::create(&workshop) {
        // A file may be writable where its folder is not.
        Err(e) if e.kind() == ErrorKind::PermissionDenied && old.is_some() => {
            return content(&mut File::create(&place)?);
        }
        made => made?,
    };
    let written = content(&mut file).and_then(|()| {
        if let Some(old) = old {
            file.set_permissions(old.permissions())?;
        }
        fs::rename(&workshop, &place)?;
        Ok(())
    });
    if written.is_err() {
        // Nobody waits for an answer.
        let _ = fs::remove_file(&workshop);
    }
    written
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;
    use std::os::unix::fs::{PermissionsExt, symlink};

    #[test]
    fn outputs_are_nobody_elses() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("in.toml"), "x").unwrap();
        fs::hard_link(at("in.toml"), at("hard.toml")).unwrap();
        symlink(at("in.toml"), at("soft.toml")).unwrap();
        symlink(at("new.h5"), at("dangling.h5")).unwrap();
        symlink(folder.path(), at("here")).unwrap();
        let inputs = [at("in.toml")];
        let describe = |outputs: &[(&str, &str)]| {
            let all: Vec<Output> =
                outputs.iter().map(|(option, name)| Output::file(option, &at(name))).collect();
            examine(&all, &inputs).map(|seen| seen.len())
        };
        for name in ["in.toml", "hard.toml", "soft.toml", "here/in.toml", "here/./soft.toml"] {
            let (why, code) = describe(&[("--out", name)]).unwrap_err();
            assert!(why.contains("is an input of this command"), "{name}: {why}");
            assert_eq!(code, INPUT_OUTPUT);
        }
        let (why, code) = describe(&[("--out", "new.h5"), ("--csv", "dangling.h5")]).unwrap_err();
        assert!(why.contains("is the file of --out too") && code == INPUT_OUTPUT, "{why}");
        assert_eq!(describe(&[("--out", "new.h5"), ("--csv", "here/new.csv")]).unwrap(), 2);
        let (why, code) = describe(&[("--out", "none/new.h5")]).unwrap_err();
        assert!(why.contains("its folder does not exist") && code == INPUT_OUTPUT, "{why}");
        assert!(describe(&[("--out", "here")]).unwrap_err().0.contains("it is a directory"));
        assert!(describe(&[("--out", "in.toml/x")]).unwrap_err().0.contains("not a directory"));
        let null = Output::file("--out", Path::new("/dev/null"));
        assert!(examine(&[null.clone(), null], &inputs).is_ok());
        assert!(examine(&[Output::folder("--pictures", &at("a/b/c"))], &inputs).is_ok());
        assert!(examine(&[Output::folder("--pictures", &at("in.toml/c"))], &inputs).is_err());
    }

    #[test]
    fn a_file_is_written_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("a"), "old").unwrap();
        fs::set_permissions(at("a"), fs::Permissions::from_mode(0o600)).unwrap();
        symlink("a", at("link")).unwrap();
        write(&at("link"), b"new").unwrap();
        assert_eq!(fs::read(at("a")).unwrap(), b"new");
        assert_eq!(fs::metadata(at("a")).unwrap().permissions().mode() & 0o777, 0o600);
        assert!(fs::symlink_metadata(at("link")).unwrap().is_symlink());
        let broken: io::Result<()> = write_with(&at("a"), |file| {
            file.write_all(b"half")?;
            Err(ErrorKind::StorageFull.into())
        });
        assert_eq!(broken.unwrap_err().kind(), ErrorKind::StorageFull);
        assert_eq!(fs::read(at("a")).unwrap(), b"new");
        let _ = write_with(&at("b"), |_| Err::<(), io::Error>(ErrorKind::StorageFull.into()));
        let mut names: Vec<_> =
            fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        names.sort();
        assert_eq!(names, ["a", "link"]);
    }
}
