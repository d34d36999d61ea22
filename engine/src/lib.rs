//! Fixed-step switched-circuit solution of power switches, coupled to thermal networks. Pure computation: this crate
//! opens no file, reads no clock and prints nothing.
//!
//! The equations are charge-oriented modified nodal analysis, `d/dt q(x) + f(x, t) = 0`: x holds node voltages (V)
//! and branch currents (A); a current counts positive *into* a component's pin. SI units throughout; temperatures in
//! K inside device laws, in °C where people read them.
//!
//! The module groups below are layers, lowest first: a module uses its own and lower groups only.
//!
//! A circuit, what a run of it needs, and the run:
//!
//! ```
//! use joulestep_engine::circuit::graph::{Circuit, GROUND};
//! use joulestep_engine::circuit::probe::{Channel, Probe};
//! use joulestep_engine::circuit::wave::Wave;
//! use joulestep_engine::recorder::InMemory;
//! use joulestep_engine::run::setup::Setup;
//!
//! // A step of 10 V at 5 us into 1 kohm and 1 nF.
//! let mut circuit = Circuit::<f64>::new();
//! let (supply, out) = (circuit.node("supply"), circuit.node("out"));
//! let step = circuit.wave(Wave::Points(vec![(5e-6, 0.0), (5e-6, 10.0)]));
//! circuit.voltage_source("supply", supply, GROUND, step)?;
//! circuit.resistor("R1", supply, out, 1e3)?;
//! circuit.capacitor("C1", out, GROUND, 1e-9, None)?;
//!
//! let voltage = Probe::Voltage(out, GROUND);
//! let mut setup = Setup::new(circuit);
//! setup.channels =
//!     vec![Channel { name: "voltage(out)".into(), long_name: "output".into(), probe: voltage.clone() }];
//! let mut run = setup.ready()?;
//! let mut memory = InMemory::default();
//! run.advance(6e-6, &mut memory)?;
//!
//! // One time constant after the step.
//! let expected = 10.0 * (1.0 - (-1f64).exp());
//! assert!((run.read(&voltage) - expected).abs() < 1e-3);
//! assert!(run.ledger().relative() < 1e-4);
//! assert_eq!(memory.time.len(), memory.samples.len());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

// names and errors
pub mod error;

// arithmetic
pub mod arithmetic;
pub mod units;

// the circuit
pub mod circuit;

// the compiled equations
pub mod equations;

// what a run tells the outside
pub mod recorder;

// drives, protections, controllers
pub mod control;

// heat: networks of thermal resistances and capacitances
pub mod thermal;

// what can be read off a state, and off waveforms
pub mod measure;
pub mod readout;

// one step
pub mod step;

// accounts
pub mod accounts;

// the loop
pub mod run;

// cycles that repeat
pub mod cycle;

// what is compiled here
#[doc(hidden)]
pub mod kernels;
