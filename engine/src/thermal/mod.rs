//! Heat networks with several heat inputs, advanced exactly.
//!
//! - [`network`]: what is connected: nodes, Cauer ladders, or Foster terms; checked as it is built.
//! - [`compact`]: what a reduction keeps of a large network.
//! - [`convert`]: a Foster chain as a Cauer ladder and back.
//! - [`modal`]: the immutable modal form of a network (or of one network per lane) and what can be asked of it:
//!   transient thermal impedance, steady-state resistances, frequency response.
//! - [`field`]: layered bodies solved in three dimensions, and made into compact networks.
//! - [`mod@column`]: dies whose conductivity and heat capacity follow the temperature, in runs.
//! - [`fit`]: a Foster chain through measured points. [`pulses`]: repeated pulses, structure functions. [`separation`]: two
//!   curves of one part on two interfaces, by their derivatives and by their structure functions (`deconvolve`).
//! - [`run`]: temperatures advanced over intervals of constant power, with the account of the heat.
//!
//! ```
//! use std::sync::Arc;
//! use joulestep_engine::thermal::{modal::Modal, network::{CauerCell, NetworkBuilder}, run::Thermal};
//!
//! // Two dies with a ladder each, on a common case, which stands on a heatsink held at 40 °C.
//! let die = [
//!     CauerCell { capacitance: 0.003, resistance: 0.08 },
//!     CauerCell { capacitance: 0.02, resistance: 0.15 },
//! ];
//! let network = NetworkBuilder::new()
//!     .boundary("heatsink", 40.0)
//!     .chain("case", &[CauerCell { capacitance: 3.0, resistance: 0.3 }], "heatsink")
//!     .ladder("jfet", &die, "case")
//!     .ladder("mosfet", &die, "case")
//!     .build()?;
//! let mut heat = Thermal::new(Arc::new(Modal::<f64>::new(&network)?));
//! heat.advance(10e-3, &[100.0, 20.0]);
//! assert!(heat.temperatures()[0] > heat.temperatures()[1]);
//! # Ok::<(), joulestep_engine::thermal::error::ThermalError>(())
//! ```

pub mod column;
pub mod compact;
pub mod convert;
mod decay;
mod deconvolve;
mod eliminate;
pub mod error;
pub mod field;
pub mod fit;
pub mod modal;
pub mod network;
pub mod pulses;
pub mod run;
pub mod separation;
mod spectrum;

#[cfg(test)]
mod tests;
