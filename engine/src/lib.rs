//! Fixed-step switched-circuit solution of power switches, coupled to thermal networks. Pure computation: this crate
//! opens no file, reads no clock and prints nothing.
//!
//! The equations are charge-oriented modified nodal analysis, `d/dt q(x) + f(x, t) = 0`: x holds node voltages (V)
//! and branch currents (A); a current counts positive *into* a component's pin. SI units throughout; temperatures in
//! K inside device laws, in °C where people read them.
//!
//! The module groups below are layers, lowest first: a module uses its own and lower groups only.

// names and trouble
pub mod trouble;

// arithmetic
pub mod arithmetic;
pub mod units;

// the circuit
pub mod circuit;

// the compiled equations
pub mod equations;

// what a run tells the outside
pub mod recorder;

// drives, guards, controllers
pub mod control;

// heat: networks of thermal resistances and capacitances
pub mod thermal;

// what can be read off a state
pub mod readout;

// one step
pub mod step;

// accounts
pub mod accounts;

// the loop
pub mod run;
