//! Intermediate results kept by their content: the tabulated law of a part, the solution of a package.

use std::any::{Any, TypeId};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Results of a type kept at most; then all of that type are let go.
const KEPT: usize = 64;

/// Results by their type and the text of what they were made from. Several threads may ask for one; it is made once.
#[derive(Default)]
pub struct Cache {
    made: Mutex<BTreeMap<(TypeId, String), Arc<dyn Any + Send + Sync>>>,
}

impl fmt::Debug for Cache {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Cache")
    }
}

impl Cache {
    /// The result under a key, made where it is missing. The key must hold all that decides the result.
    ///
    /// # Errors
    /// What making it says; that is kept too.
    pub fn get<T, E>(&self, key: String, make: impl FnOnce() -> Result<T, E>) -> Result<Arc<T>, E>
    where
        T: Send + Sync + 'static,
        E: Clone + Send + Sync + 'static,
    {
        type Slot<T, E> = OnceLock<Result<Arc<T>, E>>;
        let slot = {
            let mut all = self.made.lock().unwrap_or_else(PoisonError::into_inner);
            let key = (TypeId::of::<Slot<T, E>>(), key);
            // Many laws must not drive out the package that they share: a type makes room among its own.
            let of_type = all.keys().filter(|k| k.0 == key.0).count();
            if of_type >= KEPT && !all.contains_key(&key) {
                all.retain(|k, _| k.0 != key.0);
            }
            let fresh = || -> Arc<dyn Any + Send + Sync> { Arc::new(Slot::<T, E>::new()) };
            Arc::clone(all.entry(key).or_insert_with(fresh))
        };
        match slot.downcast::<Slot<T, E>>() {
            Ok(slot) => slot.get_or_init(|| make().map(Arc::new)).clone(),
            // The type is part of the key.
            Err(_) => make().map(Arc::new),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_result_is_made_once_for_each_key_and_type() {
        let cache = Cache::default();
        let count = std::cell::Cell::new(0);
        let make = |x: f64| {
            count.set(count.get() + 1);
            Ok::<f64, String>(x)
        };
        assert_eq!(cache.get("a".into(), || make(1.0)).map(|x| *x), Ok(1.0));
        assert_eq!(cache.get("a".into(), || make(2.0)).map(|x| *x), Ok(1.0));
        assert_eq!(cache.get("b".into(), || make(3.0)).map(|x| *x), Ok(3.0));
        assert_eq!(cache.get("a".into(), || Ok::<i32, String>(7)).map(|x| *x), Ok(7));
        assert_eq!(count.get(), 2);
    }

    #[test]
    fn many_results_of_one_type_leave_those_of_others() {
        let cache = Cache::default();
        let package = |x: i32| cache.get("package".into(), || Ok::<i32, String>(x)).map(|x| *x);
        assert_eq!(package(1), Ok(1));
        for k in 0..3 * KEPT {
            assert_eq!(cache.get(k.to_string(), || Ok::<usize, String>(k)).map(|x| *x), Ok(k));
        }
        assert_eq!(package(2), Ok(1));
    }
}
