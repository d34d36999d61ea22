//! What is compiled here once: the ratings, generic over what conducts, for the parts' own law. How that works is said
//! in the engine's module of the same name.

use std::hint::black_box;

use crate::rating::area::{Area, Drifts};
use crate::rating::conduction::Conduction;
use crate::rating::output::Characteristics;
use crate::rating::sizing::Fleet;
use crate::rating::surge::Surge;
use crate::rating::{sharing, steady};

/// A compiled function.
type Code = *const ();

/// Names all of them. Of no use at run time: that it is here has them compiled.
#[inline(never)]
pub fn kernels() {
    let all = [
        Surge::<Conduction>::new as Code,
        Surge::<Conduction>::with_steps as Code,
        Surge::<Conduction>::pulse as Code,
        Surge::<Conduction>::largest as Code,
        Surge::<Conduction>::largest_within as Code,
        Surge::<Conduction>::ride_through as Code,
        Area::<Characteristics>::at as Code,
        Area::<Characteristics>::border as Code,
        Drifts::new::<Characteristics> as Code,
        Fleet::<Conduction>::carry as Code,
        steady::steady::<Conduction> as Code,
        steady::continuous::<Conduction> as Code,
        steady::runaway::<Conduction> as Code,
        sharing::steady::<&Conduction> as Code,
        sharing::course::<&Conduction> as Code,
    ];
    black_box(all);
}
