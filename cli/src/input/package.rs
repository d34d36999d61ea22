//! Package files: read, checked against their key tables, as resolved.

pub mod sections;

mod resolved;

use joulestep_models::devices::catalogue;
use joulestep_models::package::{Package, shipped};

use crate::diagnostic::{Diagnostic, FileId, Refusal, Sources, Span};
use crate::input::keys::InputError;
use crate::input::keys::conform::Conform;
use crate::input::keys::fields::Fields;
use crate::input::keys::include::Open;
use crate::input::keys::raw::{self, RawTable};
use crate::input::library::Library;

const LIBRARY: Library = Library { what: "package", file: "file", path: "a package", shipped };

/// The package that a command line asks for: a shipped one by name, or a file.
///
/// # Errors
/// A file that cannot be opened; everything that is wrong with it.
pub fn read(name: &str, open: Open<'_>) -> Result<Package, InputError> {
    read_with_text(name, open).map(|found| found.0)
}

/// The same, with the text of its file.
///
/// # Errors
/// Those of [`read`].
pub fn read_with_text(name: &str, open: Open<'_>) -> Result<(Package, Sources), InputError> {
    let (sources, file) = LIBRARY.alone(name, open)?;
    let mut diagnostics = Vec::new();
    match convert(file, &sources, &mut diagnostics) {
        Some(package) if diagnostics.is_empty() => Ok((package, sources)),
        _ => Err(InputError::Refused(Refusal::sorted(sources, diagnostics))),
    }
}

/// The package that a file names at a span; errors are reported.
pub(crate) fn load(
    name: &str,
    at: (&Span, &str),
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<Package> {
    let file = LIBRARY.beside(name, at, sources, open, diagnostics)?;
    convert(file, sources, diagnostics)
}

/// The same with the table as typed.
pub(crate) fn load_typed(
    name: &str,
    at: (&Span, &str),
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<(RawTable, Package)> {
    let file = LIBRARY.beside(name, at, sources, open, diagnostics)?;
    let package = convert(file, sources, diagnostics)?;
    Some((raw::read(sources, file).0, package))
}

/// The package of a checked root table.
pub(crate) fn of_fields(root: &Fields, diagnostics: &mut Vec<Diagnostic>) -> Option<Package> {
    resolved::package(root, diagnostics)
}

fn convert(file: FileId, sources: &Sources, diagnostics: &mut Vec<Diagnostic>) -> Option<Package> {
    let (table, errors) = raw::read(sources, file);
    if !errors.is_empty() {
        diagnostics.extend(errors);
        return None;
    }
    let none = |_: &Span, _: &str| None;
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &none, diagnostics: Vec::new() };
    let empty = Fields::empty(&table.span, String::new(), String::new());
    let root = conform.against(&table, sections::PACKAGE.keys, "a package", empty);
    if !conform.diagnostics.is_empty() {
        diagnostics.append(&mut conform.diagnostics);
        return None;
    }
    resolved::package(&root, diagnostics)
}
