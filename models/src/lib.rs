//! Device and passive models, and the catalogue that registers them.
//!
//! The modules are layers, lowest first: what a model is; shapes that several laws share; the models; what
//! finds them.
//!
//! A cascode from the catalogue, fully on at 40 A:
//!
//! ```
//! use joulestep_engine::circuit::graph::{Circuit, GROUND};
//! use joulestep_engine::circuit::wave::Wave;
//! use joulestep_engine::run::setup::Setup;
//! use joulestep_models::lookup::find;
//! use joulestep_models::model::{Value, Values};
//!
//! let mut circuit = Circuit::<f64>::new();
//! let (drain, gate) = (circuit.node("drain"), circuit.node("gate"));
//! let cascode = find("cascode").expect("it is in the catalogue");
//! let mut values = Values::with_defaults(cascode.params);
//! for (key, value) in [
//!     ("jfet-on-resistance", 19.5e-3),
//!     ("jfet-saturation-current", 210.0),
//!     ("jfet-pinch-off", -7.2),
//!     ("mosfet-on-resistance", 2.5e-3),
//!     ("mosfet-threshold", 3.4),
//!     ("mosfet-threshold-drift", -7e-3),
//! ] {
//!     values.0.insert(key, Value::Number(value));
//! }
//! let built = cascode.place(&mut circuit, "Q1", &[drain, gate, GROUND], &values)?;
//! let level = circuit.wave(Wave::Constant(12.0));
//! circuit.voltage_source("gate-supply", gate, GROUND, level)?;
//! let load = circuit.wave(Wave::Constant(20.0));
//! circuit.current_source("load", GROUND, drain, load)?;
//!
//! // The operating point: 22 mohm in all, a little more as the JFET nears saturation.
//! let run = Setup::new(circuit).ready()?;
//! let (_, _, voltage) = built.quantities.iter().find(|q| q.0 == "voltage").expect("a cascode has it");
//! let resistance = run.read(voltage) / 20.0;
//! assert!((21e-3..25e-3).contains(&resistance), "{resistance} ohm");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

/// The texts of what makes bodies of packages, and heat paths and impedances of these: who keeps such holds these
/// against those that made them.
pub const SOURCES: [&str; 11] = [
    include_str!("impedance.rs"),
    include_str!("materials.rs"),
    include_str!("materials/library.rs"),
    include_str!("package.rs"),
    include_str!("package/agree.rs"),
    include_str!("package/extent.rs"),
    include_str!("package/error.rs"),
    include_str!("package/place.rs"),
    include_str!("package/solid.rs"),
    include_str!("package/vias.rs"),
    include_str!("rating/heat.rs"),
];

// what a model is
pub mod model;

// shapes that laws share
pub mod base;
pub mod channel;
pub mod charge;
pub mod course;
pub mod emission;
pub mod junction;
pub mod recovery;
pub mod table;

// the models
pub mod devices;

// above the catalogue
pub mod lookup;
pub mod part;
pub mod parts;

// heat: what packages are made of and how
pub mod materials;
pub mod package;

// what follows from a package
pub mod impedance;

// what follows from a part
pub mod budget;
pub mod capacitances;
pub mod extract;
pub mod operating;
pub mod rating;

// how parts stand against each other
pub mod merit;

// circuits around parts, ready to run
pub mod arrangement;

// what is compiled here
#[doc(hidden)]
pub mod kernels;
