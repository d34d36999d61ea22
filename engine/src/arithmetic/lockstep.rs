//! Variants in lockstep: what several values of one type have in common, with their numbers in the lanes of one.
//!
//! Each type says field by field what lies in lanes and what lanes share ([`lockstep!`](crate::lockstep)); what they
//! share (topology, everything that decides which operations follow on which) must be equal, else they do not run in
//! lockstep. Of time nothing is shared: only the operations of a step go in lockstep, each lane at its own instant.

use super::lane::Lane;

/// What can be put in lockstep.
pub trait Lockstep: Sized {
    /// The same with its numbers in the lanes of `K`.
    type Of<K: Lane>;

    /// One for each lane of `K` put in lockstep; `None` where they differ in what lanes share.
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Self::Of<K>>;
}

/// What all have in common, if they have.
pub fn shared<'a, T: PartialEq + Clone + 'a, M: 'a>(
    each: &[&'a M],
    of: impl Fn(&'a M) -> &'a T,
) -> Option<T> {
    let (first, rest) = each.split_first()?;
    let first = of(first);
    rest.iter().all(|one| of(one) == first).then(|| first.clone())
}

/// A part of each put in lockstep.
pub fn lanes<'a, T: Lockstep + 'a, M: 'a, K: Lane>(
    each: &[&'a M],
    of: impl Fn(&'a M) -> &'a T,
) -> Option<T::Of<K>> {
    let parts: Vec<&T> = each.iter().map(|one| of(one)).collect();
    T::lockstep::<K>(&parts)
}

/// Lists of equal length put in lockstep member by member.
fn members<T: Lockstep, K: Lane>(each: &[&[T]]) -> Option<Vec<T::Of<K>>> {
    let length = each.first()?.len();
    if each.iter().any(|list| list.len() != length) {
        return None;
    }
    (0..length).map(|k| T::lockstep::<K>(&each.iter().map(|list| &list[k]).collect::<Vec<_>>())).collect()
}

impl<L: Lane> Lockstep for L {
    type Of<K: Lane> = K;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<K> {
        Some(K::from_fn(|k| each[k].lane(0)))
    }
}

impl<T: Lockstep> Lockstep for Vec<T> {
    type Of<K: Lane> = Vec<T::Of<K>>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Self::Of<K>> {
        members(&each.iter().map(|list| list.as_slice()).collect::<Vec<_>>())
    }
}

impl<T: Lockstep, const N: usize> Lockstep for [T; N] {
    type Of<K: Lane> = [T::Of<K>; N];
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Self::Of<K>> {
        members(&each.iter().map(|list| list.as_slice()).collect::<Vec<_>>())?.try_into().ok()
    }
}

impl<T: Lockstep> Lockstep for Option<T> {
    type Of<K: Lane> = Option<T::Of<K>>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Self::Of<K>> {
        let there: Vec<&T> = each.iter().filter_map(|one| one.as_ref()).collect();
        match there.len() {
            0 => Some(None),
            n if n == each.len() => T::lockstep::<K>(&there).map(Some),
            _ => None,
        }
    }
}

/// What lanes share (an instant, a place), and a value in lanes.
impl<S: PartialEq + Clone, T: Lockstep> Lockstep for (S, T) {
    type Of<K: Lane> = (S, T::Of<K>);
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Self::Of<K>> {
        Some((shared(each, |one| &one.0)?, lanes::<_, _, K>(each, |one| &one.1)?))
    }
}

/// The same with two places.
impl<R: PartialEq + Clone, S: PartialEq + Clone, T: Lockstep> Lockstep for (R, S, T) {
    type Of<K: Lane> = (R, S, T::Of<K>);
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Self::Of<K>> {
        let (r, s) = (shared(each, |one| &one.0)?, shared(each, |one| &one.1)?);
        Some((r, s, lanes::<_, _, K>(each, |one| &one.2)?))
    }
}

/// How a struct with one lane type runs in lockstep: the fields that lie in lanes, then those that lanes share.
///
/// ```
/// use joulestep_engine::lockstep;
/// use joulestep_engine::arithmetic::lockstep::Lockstep;
/// use joulestep_engine::arithmetic::lane::Lane;
///
/// struct Pulse<L> {
///     height: L,
///     at: f64,
/// }
/// lockstep!(Pulse: height; shared at);
///
/// let all: Vec<_> = (0..4).map(|k| Pulse { height: f64::from(k), at: 1e-6 }).collect();
/// let each: Vec<_> = all.iter().collect();
/// let four = Pulse::lockstep::<wide::f64x4>(&each).expect("they share the instant");
/// assert_eq!((four.height.lane(2), four.at), (2.0, 1e-6));
/// ```
#[macro_export]
macro_rules! lockstep {
    ($name:ident: $($lane:ident),* $(; shared $($shared:ident),*)?) => {
        impl<L: $crate::arithmetic::lane::Lane> $crate::arithmetic::lockstep::Lockstep for $name<L> {
            type Of<K: $crate::arithmetic::lane::Lane> = $name<K>;
            fn lockstep<K: $crate::arithmetic::lane::Lane>(each: &[&Self]) -> Option<$name<K>> {
                Some($name {
                    $($lane: $crate::arithmetic::lockstep::lanes::<_, _, K>(each, |one| &one.$lane)?,)*
                    $($($shared: $crate::arithmetic::lockstep::shared(each, |one| &one.$shared)?,)*)?
                })
            }
        }
    };
}

#[cfg(test)]
mod tests {
    use super::*;
    use wide::f64x4;

    #[test]
    fn what_is_shared_must_be_equal() {
        let all = [1.0, 2.0, 3.0, 4.0].map(|x| vec![(0.5, x)]);
        let each: Vec<&Vec<(f64, f64)>> = all.iter().collect();
        let together = Vec::lockstep::<f64x4>(&each).unwrap();
        assert_eq!(together, [(0.5, f64x4::new([1.0, 2.0, 3.0, 4.0]))]);
        let other = vec![(0.6, 1.0)];
        let each = [&all[0], &all[1], &all[2], &other];
        assert!(Vec::lockstep::<f64x4>(&each).is_none());
        let mixed = [Some(1.0), None, Some(1.0), Some(1.0)];
        assert!(Option::lockstep::<f64x4>(&mixed.iter().collect::<Vec<_>>()).is_none());
        let lengths = [vec![1.0], vec![1.0], vec![1.0], vec![]];
        assert!(Vec::lockstep::<f64x4>(&lengths.iter().collect::<Vec<_>>()).is_none());
    }
}
