//! What columns that grow are made of: numbers, and texts of fixed width.

use hdf5::{DatatypeMessage, H5Type};

use super::names::no_nul;

/// Codes of the HDF5 string datatype.
const NUL_PADDED: u8 = 1;
const UTF_8: u8 = 1;

/// What a growing column can hold.
pub(super) trait Stored: H5Type {
    /// Adds the value as the file holds it.
    fn put(self, bytes: &mut Vec<u8>);
}

macro_rules! stored_numbers {
    ($($number:ty),*) => {
        $(impl Stored for $number {
            fn put(self, bytes: &mut Vec<u8>) {
                bytes.extend_from_slice(&self.to_le_bytes());
            }
        })*
    };
}

stored_numbers!(f64, f32, i64);

impl<const N: usize> Stored for Text<N> {
    fn put(self, bytes: &mut Vec<u8>) {
        bytes.extend_from_slice(&self.0);
    }
}

/// A text of fixed width, UTF-8 filled up with NUL. Texts of any length are stored through a heap that the library
/// rewrites in place: not for columns that grow under the eyes of readers.
#[derive(Clone, Copy)]
pub(super) struct Text<const N: usize>([u8; N]);

impl<const N: usize> H5Type for Text<N> {
    fn hdf5_type() -> DatatypeMessage {
        DatatypeMessage::FixedString { size: N as u32, padding: NUL_PADDED, charset: UTF_8 }
    }

    fn element_size() -> usize {
        N
    }
}

impl<const N: usize> Text<N> {
    /// The text, cut and ended with "…" where it is too long.
    pub(super) fn cut(text: &str) -> Self {
        const MARK: &str = "…";
        let clean = no_nul(text);
        let mut bytes = [0; N];
        if clean.len() <= N {
            bytes[..clean.len()].copy_from_slice(clean.as_bytes());
        } else {
            let fits = |&end: &usize| clean.is_char_boundary(end);
            let end = (0..=N - MARK.len()).rev().find(fits).unwrap_or(0);
            bytes[..end].copy_from_slice(&clean.as_bytes()[..end]);
            bytes[end..end + MARK.len()].copy_from_slice(MARK.as_bytes());
        }
        Self(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_texts_are_cut_between_characters_and_marked() {
        let text = |wanted| String::from_utf8(Text::<16>::cut(wanted).0.to_vec()).unwrap();
        assert_eq!(text("lock-out"), "lock-out\0\0\0\0\0\0\0\0");
        assert_eq!(text("sixteen letters!"), "sixteen letters!");
        assert_eq!(text("seventeen letters"), "seventeen let…");
        assert_eq!(text("ΩΩΩΩΩΩΩΩΩ"), "ΩΩΩΩΩΩ…\0");
    }
}
