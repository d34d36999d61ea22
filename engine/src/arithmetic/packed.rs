//! Values as bytes and back, to the last bit, for what is kept between runs of a program.

use std::sync::Arc;

/// What can be packed. What was packed by the same program is unpacked as it was; other bytes give `None` or a value of
/// the type, never a panic.
pub trait Packed: Sized {
    /// Appends it.
    fn pack(&self, to: &mut Vec<u8>);
    /// Takes it from the front.
    fn unpack(from: &mut &[u8]) -> Option<Self>;
}

impl Packed for u64 {
    fn pack(&self, to: &mut Vec<u8>) {
        to.extend(self.to_le_bytes());
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        let (own, rest) = from.split_first_chunk()?;
        *from = rest;
        Some(Self::from_le_bytes(*own))
    }
}

impl Packed for f64 {
    fn pack(&self, to: &mut Vec<u8>) {
        self.to_bits().pack(to);
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        u64::unpack(from).map(Self::from_bits)
    }
}

impl Packed for usize {
    fn pack(&self, to: &mut Vec<u8>) {
        (*self as u64).pack(to);
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        u64::unpack(from)?.try_into().ok()
    }
}

impl Packed for String {
    fn pack(&self, to: &mut Vec<u8>) {
        self.len().pack(to);
        to.extend(self.as_bytes());
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        let length = usize::unpack(from)?;
        let (own, rest) = from.split_at_checked(length)?;
        *from = rest;
        Self::from_utf8(own.to_vec()).ok()
    }
}

impl<T: Packed> Packed for Option<T> {
    fn pack(&self, to: &mut Vec<u8>) {
        to.push(u8::from(self.is_some()));
        self.iter().for_each(|value| value.pack(to));
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        let (some, rest) = from.split_first()?;
        *from = rest;
        match some {
            0 => Some(None),
            1 => T::unpack(from).map(Some),
            _ => None,
        }
    }
}

impl<T: Packed> Packed for Vec<T> {
    fn pack(&self, to: &mut Vec<u8>) {
        self.len().pack(to);
        self.iter().for_each(|value| value.pack(to));
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        // No room is made for what a wrong length announces: the bytes end before.
        let length = usize::unpack(from)?;
        (0..length).map(|_| T::unpack(from)).collect()
    }
}

impl<T: Packed> Packed for Arc<T> {
    fn pack(&self, to: &mut Vec<u8>) {
        (**self).pack(to);
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        T::unpack(from).map(Self::new)
    }
}

/// Packs a type field by field: `packed!(Name: field, field)`.
#[macro_export]
macro_rules! packed {
    ($name:ident: $($field:ident),*) => {
        impl $crate::arithmetic::packed::Packed for $name {
            fn pack(&self, to: &mut Vec<u8>) {
                let Self { $($field),* } = self;
                $($crate::arithmetic::packed::Packed::pack($field, to);)*
            }
            fn unpack(from: &mut &[u8]) -> Option<Self> {
                Some(Self { $($field: $crate::arithmetic::packed::Packed::unpack(from)?),* })
            }
        }
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_packed_comes_back_and_damage_gives_nothing() {
        let value = vec![Some(("a".to_string()).repeat(3)), None, Some("Ω".into())];
        let numbers = vec![0.1, -0.0, f64::NEG_INFINITY, f64::MIN_POSITIVE];
        let mut bytes = Vec::new();
        value.pack(&mut bytes);
        numbers.pack(&mut bytes);
        let mut from = bytes.as_slice();
        assert_eq!(Vec::unpack(&mut from), Some(value));
        let back = Vec::<f64>::unpack(&mut from).unwrap();
        assert!(from.is_empty() && back.iter().zip(&numbers).all(|(a, b)| a.to_bits() == b.to_bits()));
        for k in 0..bytes.len() {
            assert!(<(Vec<Option<String>>, Vec<f64>)>::whole(&bytes[..k]).is_none());
            let mut damaged = bytes.clone();
            damaged[k] = 0xff;
            let _ = <(Vec<Option<String>>, Vec<f64>)>::whole(&damaged);
        }
    }

    trait Whole: Sized {
        fn whole(from: &[u8]) -> Option<Self>;
    }

    impl<A: Packed, B: Packed> Whole for (A, B) {
        fn whole(mut from: &[u8]) -> Option<Self> {
            Some((A::unpack(&mut from)?, B::unpack(&mut from)?)).filter(|_| from.is_empty())
        }
    }
}
