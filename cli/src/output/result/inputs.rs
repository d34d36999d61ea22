//! `/inputs`: the files that went in, `name` and `text` of each; apart, so that no text can pass for a name.

use super::archive::Archive;
use super::error::ResultError;
use super::store::Store;
use crate::diagnostic::Sources;

pub(super) fn write(store: &Store, inputs: &Sources) -> Result<(), ResultError> {
    store.group("inputs")?;
    // The library writes a column of no texts in a way that others do not read.
    if inputs.files.is_empty() {
        return Ok(());
    }
    let names: Vec<String> = inputs.files.iter().map(|f| f.0.display().to_string()).collect();
    let texts: Vec<String> = inputs.files.iter().map(|f| f.1.clone()).collect();
    store.texts("inputs", "name", &names, "path of a file that went in, as it was typed")?;
    store.texts("inputs", "text", &texts, "its text")?;
    store.scale("inputs/name", "name")?;
    store.attach("inputs/text", 0, "inputs/name")
}

/// Reads them; none where a file has no such group.
pub(super) fn read(archive: &Archive) -> Result<Sources, ResultError> {
    if !archive.has("inputs/name") || !archive.has("inputs/text") {
        return Ok(Sources::default());
    }
    let (names, texts) = (archive.texts("inputs/name")?, archive.texts("inputs/text")?);
    Ok(Sources { files: names.into_iter().map(Into::into).zip(texts).collect() })
}
