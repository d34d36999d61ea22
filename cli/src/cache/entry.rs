//! The bytes of an entry: what it is, its key, its content, and a check sum over all of them.

use joulestep_engine::arithmetic::packed::Packed;
use sha2::{Digest, Sha256};

/// How every entry begins.
const BEGIN: &[u8] = b"joulestep kept 1\n";
/// Bytes of a key and of a check sum.
const SUM: usize = 32;

/// An entry's file.
pub(super) fn sealed(key: &[u8; SUM], what: &str, content: &[u8]) -> Vec<u8> {
    let mut bytes = BEGIN.to_vec();
    bytes.extend(key);
    what.to_string().pack(&mut bytes);
    bytes.extend(content);
    let sum = Sha256::digest(&bytes);
    bytes.extend(sum);
    bytes
}

/// What it is, and its content; `None` where its bytes are not what was written, or are of another key.
pub(super) fn opened<'a>(bytes: &'a [u8], key: Option<&[u8; SUM]>) -> Option<(String, &'a [u8])> {
    let (all, sum) = bytes.split_last_chunk::<SUM>()?;
    if Sha256::digest(all).as_slice() != sum {
        return None;
    }
    let (own, mut rest) = all.strip_prefix(BEGIN)?.split_first_chunk::<SUM>()?;
    if key.is_some_and(|key| key != own) {
        return None;
    }
    Some((String::unpack(&mut rest)?, rest))
}
