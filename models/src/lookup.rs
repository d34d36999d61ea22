//! Finds a model by its kind.

use crate::devices::catalogue;
use crate::model::Entry;

/// The name among `names` that was probably meant, if one is near enough.
pub fn nearest<'a>(typed: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = typed.to_lowercase();
    names
        .into_iter()
        .map(|name| (strsim::jaro_winkler(&typed, name), name))
        .filter(|(likeness, _)| *likeness > 0.8)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

/// The model of this kind.
///
/// # Errors
/// When there is none: the kind that was probably meant, if one is near enough.
pub fn find(kind: &str) -> Result<&'static Entry, Option<&'static str>> {
    let all = catalogue();
    all.iter()
        .find(|entry| entry.kind == kind)
        .ok_or_else(|| nearest(kind, all.iter().map(|entry| entry.kind)))
}
