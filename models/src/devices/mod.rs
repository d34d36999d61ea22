//! The catalogue: a `mod` line and a line of the list for every model, and nothing else.

use crate::model::Entry;

pub mod capacitor;
pub mod cascode;
pub mod constant_power;
pub mod controlled_sources;
pub mod coupled_inductors;
pub mod current_source;
pub mod diode;
pub mod ideal_diode;
pub mod inductor;
pub mod jfet;
pub mod mosfet;
pub mod nonlinear_capacitor;
pub mod resistor;
pub mod saturable_inductor;
pub mod square_law_jfet;
pub mod square_law_mosfet;
pub mod switch;
pub mod varistor;
pub mod voltage_source;

#[rustfmt::skip]
const ALL: &[Entry] = &[
    resistor::entry(),
    capacitor::entry(),
    inductor::entry(),
    saturable_inductor::entry(),
    coupled_inductors::entry(),
    voltage_source::entry(),
    current_source::entry(),
    controlled_sources::voltage_by_voltage(),
    controlled_sources::current_by_voltage(),
    controlled_sources::voltage_by_current(),
    controlled_sources::current_by_current(),
    switch::entry(),
    ideal_diode::entry(),
    nonlinear_capacitor::entry(),
    varistor::entry(),
    constant_power::entry(),
    diode::entry(),
    mosfet::entry(),
    jfet::entry(),
    cascode::entry(),
    square_law_jfet::entry(),
    square_law_mosfet::entry(),
];

/// Every model.
pub const fn catalogue() -> &'static [Entry] {
    ALL
}
