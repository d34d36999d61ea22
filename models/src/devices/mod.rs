//! The catalogue: a `mod` line and a line of the list for every model, and nothing else.

use std::marker::PhantomData;

use joulestep_engine::arithmetic::lane::Lane;

use crate::model::Entry;

pub mod diode;
pub mod square_law_jfet;
pub mod square_law_mosfet;

struct Catalogue<L>(PhantomData<L>);

impl<L: Lane> Catalogue<L> {
    const ALL: &'static [Entry<L>] = &[diode::entry(), square_law_jfet::entry(), square_law_mosfet::entry()];
}

/// Every model.
pub const fn catalogue<L: Lane>() -> &'static [Entry<L>] {
    Catalogue::<L>::ALL
}
