//! Device and passive models, and the catalogue that registers them.
//!
//! The modules are layers, lowest first: what a model is; shapes that several laws share; the models; what
//! finds them.
//!
//! ```
//! use joulestep_engine::circuit::graph::{Circuit, GROUND};
//! use joulestep_models::lookup::find;
//! use joulestep_models::model::{Value, Values};
//!
//! let mut circuit = Circuit::<f64>::new();
//! let bus = circuit.node("bus");
//! let resistor = find::<f64>("resistor").unwrap();
//! let mut values = Values::with_defaults(resistor.params);
//! values.0.insert("resistance", Value::Number(8.0));
//! let built = (resistor.build)(&mut circuit, "R1", &[bus, GROUND], &values).unwrap();
//! assert_eq!(circuit.components[built.components[0].0 as usize].name, "R1");
//! ```

// what a model is
pub mod model;

// shapes that laws share
pub mod channel;
pub mod charge;
pub mod course;
pub mod junction;
pub mod table;

// the models
pub mod devices;

// above the catalogue
pub mod lookup;
pub mod parts;
