//! Part files: from a name or path to a [`Part`].

mod resolved;
pub mod sections;
pub mod write;

pub use resolved::Spots;
pub(crate) use resolved::given;

use std::path::Path;

use joulestep_models::devices::catalogue;
use joulestep_models::model::Values;
use joulestep_models::part::Part;
use joulestep_models::parts::shipped;

use crate::diagnostic::{Diagnostic, FileId, Refusal, Sources, Span};
use crate::input::keys::InputError;
use crate::input::keys::conform::Conform;
use crate::input::keys::fields::Fields;
use crate::input::keys::include::Open;
use crate::input::keys::raw::{self, Raw, RawTable};
use crate::input::keys::shape::Section;
use crate::input::library::Library;

/// A part and where it stands.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// The part.
    pub part: Part,
    /// The files read.
    pub sources: Sources,
    /// Where its curves stand.
    pub spots: Vec<Spots>,
    /// Start values of a file of points.
    pub start: Values,
    /// Its own file among those read.
    pub file: FileId,
}

const LIBRARY: Library = Library { what: "part", file: "part file", path: "a part file", shipped };

/// Loads a shipped part by its name, or a part file by its path (which ends in `.toml`).
///
/// # Errors
/// [`InputError`]; all that is wrong with the file at once.
pub fn load(name: &str, open: Open<'_>) -> Result<Loaded, InputError> {
    let (sources, file) = LIBRARY.alone(name, open)?;
    finish(sources, file, &sections::PART)
}

/// Loads a file of points.
///
/// # Errors
/// [`InputError`]; all that is wrong with the file at once.
pub fn points(path: &Path, open: Open<'_>) -> Result<Loaded, InputError> {
    let text = open(path).map_err(InputError::Unreadable)?;
    let mut sources = Sources::default();
    let file = sources.add(path.to_path_buf(), text);
    finish(sources, file, &sections::POINTS)
}

fn finish(sources: Sources, file: FileId, section: &Section) -> Result<Loaded, InputError> {
    let mut diagnostics = Vec::new();
    let read = read(&sources, file, section, &mut diagnostics);
    match read {
        Some((part, spots, start)) if diagnostics.is_empty() => {
            Ok(Loaded { part, sources, spots, start, file })
        }
        _ => Err(InputError::Refused(Refusal::sorted(sources, diagnostics))),
    }
}

/// Reads the part that another file names under a key, relative to that file. Errors are reported.
pub(crate) fn read_named(
    name: &str,
    at: (&Span, &str),
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<Part> {
    let file = LIBRARY.beside(name, at, sources, open, diagnostics)?;
    read(sources, file, &sections::PART, diagnostics).map(|p| p.0)
}

/// The first shipped part of a kind.
pub(crate) fn shipped_of_kind(kind: &str) -> Option<Part> {
    let nothing = |_: &Path| Err(std::io::ErrorKind::NotFound.into());
    let mut parts = shipped().iter().filter_map(|(name, _)| Some(load(name, &nothing).ok()?.part));
    parts.find(|part| part.kind == kind)
}

/// The same with the table as typed.
pub(crate) fn read_typed(
    name: &str,
    at: (&Span, &str),
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<(RawTable, Part)> {
    let file = LIBRARY.beside(name, at, sources, open, diagnostics)?;
    let part = read(sources, file, &sections::PART, diagnostics)?.0;
    Some((raw::read(sources, file).0, part))
}

/// The table of a file of points, after a check of all of it.
pub(crate) fn read_points(
    file: FileId,
    sources: &Sources,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<RawTable> {
    read(sources, file, &sections::POINTS, diagnostics)?;
    Some(raw::read(sources, file).0)
}

/// The points of a checked root table.
pub(crate) fn points_of(root: &Fields, name: &str, diagnostics: &mut Vec<Diagnostic>) -> Option<Loaded> {
    let (part, spots, start) = resolved::part(root, name, diagnostics)?;
    Some(Loaded { part, sources: Sources::default(), spots, start, file: root.span.file })
}

/// The part of a checked root table.
pub(crate) fn of_fields(root: &Fields, name: &str, diagnostics: &mut Vec<Diagnostic>) -> Option<Part> {
    resolved::part(root, name, diagnostics).map(|p| p.0)
}

fn read(
    sources: &Sources,
    file: FileId,
    section: &Section,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<(Part, Vec<Spots>, Values)> {
    let (table, errors) = raw::read(sources, file);
    if !errors.is_empty() {
        diagnostics.extend(errors);
        return None;
    }
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics: Vec::new() };
    let root = conform.table(&table, section, "part");
    let params = table.get("params").map(|n| &n.value);
    let wrong = !conform.diagnostics.is_empty();
    diagnostics.append(&mut conform.diagnostics);
    // Without its parameters there is no part; with them, what the curves say of themselves is reported as well.
    if wrong && !matches!(params, Some(Raw::Table(_)) | None) {
        return None;
    }
    let path = sources.files.get(file.0).map(|f| f.0.clone()).unwrap_or_default();
    let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    resolved::part(&root, &name, diagnostics)
}
