//! By what a batch is known: its files and the program.

use sha2::{Digest, Sha256};

use crate::diagnostic::Sources;

/// SHA-256 of the program's version and of every file, hexadecimal.
pub(super) fn digest(inputs: &Sources) -> String {
    let mut hash = Sha256::new();
    hash.update(concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"), "\n"));
    for (name, text) in &inputs.files {
        // With lengths, so that no text passes for another file.
        hash.update(format!("{} {}\n", name.as_os_str().len(), text.len()));
        hash.update(name.as_os_str().as_encoded_bytes());
        hash.update(text);
    }
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}
