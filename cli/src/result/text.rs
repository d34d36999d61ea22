//! Texts in columns that grow.

use hdf5::{DatatypeMessage, H5Type};

use super::names::no_nul;

/// Codes of the HDF5 string datatype.
const NUL_PADDED: u8 = 1;
const UTF_8: u8 = 1;

/// A text of fixed width, UTF-8 filled up with NUL. Texts of any length are stored through a heap that the library
/// rewrites in place and reads back whole: not for columns that grow for ever.
#[derive(Clone, Copy)]
#[repr(transparent)]
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
            let end = clean.floor_char_boundary(N - MARK.len());
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
