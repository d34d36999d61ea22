//! Ratings that follow from a part on its heat path: the largest current of a pulse, let-through I²t, the continuous
//! current and its margin to thermal runaway, and how devices in parallel share a current as they heat.
//!
//! All of it is solved electro-thermally: the drop of the part's own model at the junction temperatures of the moment,
//! its heat through the thermal network, the temperatures back into the drop. Junction temperatures in °C.
//!
//! A resistor that heats itself, and the current beyond which it has no steady state:
//!
//! ```
//! use joulestep_engine::thermal::modal::Modal;
//! use joulestep_engine::thermal::network::{FosterTerm, Network};
//! use joulestep_models::rating::steady::{runaway, steady};
//! use joulestep_models::rating::{Carried, Conducts, HeatPath};
//!
//! struct Resistor;
//! impl Conducts for Resistor {
//!     fn dies(&self) -> usize {
//!         1
//!     }
//!     fn carry(&self, amperes: f64, celsius: &[f64]) -> Option<Carried> {
//!         let drop = amperes * 8e-3 * (1.0 + 6e-3 * (celsius[0] - 25.0));
//!         Some(Carried::one(drop, amperes))
//!     }
//!     fn hottest_known(&self) -> f64 {
//!         1e9
//!     }
//! }
//!
//! let term = FosterTerm { resistance: 1.2, time_constant: 0.5 };
//! let network = Network::foster("die", &[term], 40.0)?;
//! let path = HeatPath::new(Modal::new(&network)?, &["die"])?;
//! let at_60 = steady(&Resistor, &path, 60.0, &[0.0]).expect("it has a steady state");
//! assert!((at_60.celsius[0] - 87.525).abs() < 1e-3);
//! assert!((runaway(&Resistor, &path, &[0.0]).unwrap() - 131.76).abs() < 0.01);
//! # Ok::<(), joulestep_models::rating::RatingError>(())
//! ```

pub mod area;
pub mod conduction;
pub mod heat;
pub mod output;
pub mod pulse;
pub mod sharing;
pub mod sizing;
mod sourced;
pub mod steady;
pub mod surge;
pub mod trajectory;

use std::sync::Arc;

use joulestep_engine::thermal::column::{Column, Plate};
use joulestep_engine::thermal::error::ThermalError;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::run::Thermal;

/// Most dies of a part.
pub const MOST_DIES: usize = 2;

/// Why there is no rating.
#[derive(Debug, thiserror::Error)]
pub enum RatingError {
    /// The thermal network.
    #[error(transparent)]
    Thermal(#[from] ThermalError),
    /// Something is asked that cannot be.
    #[error("{found}; expected {expected}")]
    Asked {
        /// What was asked.
        found: String,
        /// What is possible.
        expected: String,
    },
    /// The part's model.
    #[error("{part}: {what}")]
    Part {
        /// Name of the part.
        part: String,
        /// What is wrong.
        what: String,
    },
}

/// A current carried: the drop, and the heat of each die.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Carried {
    /// Voltage drop, V.
    pub drop: f64,
    /// Heat of each die, W; zero beyond the last.
    pub power: [f64; MOST_DIES],
}

impl Carried {
    /// By a single die that takes all the heat.
    pub fn one(drop: f64, amperes: f64) -> Self {
        Self { drop, power: [drop * amperes, 0.0] }
    }
}

/// What conducts and heats itself.
pub trait Conducts {
    /// How many dies it has, 1 or 2.
    fn dies(&self) -> usize;
    /// Carries a current, A, at the dies' junction temperatures, °C. `None`: it saturates below that current.
    fn carry(&self, amperes: f64, celsius: &[f64]) -> Option<Carried>;
    /// Junction temperature up to which the law is known, °C.
    fn hottest_known(&self) -> f64;
}

impl<C: Conducts + ?Sized> Conducts for &C {
    fn dies(&self) -> usize {
        (**self).dies()
    }
    fn carry(&self, amperes: f64, celsius: &[f64]) -> Option<Carried> {
        (**self).carry(amperes, celsius)
    }
    fn hottest_known(&self) -> f64 {
        (**self).hottest_known()
    }
}

/// Where the heat of the dies goes: a network at its boundary temperatures, and the input of each die.
#[derive(Clone, Debug)]
pub struct HeatPath {
    modal: Arc<Modal<f64>>,
    /// Number of the input of each die.
    inputs: Vec<usize>,
    /// Without power, °C, of each die.
    cold: Vec<f64>,
    /// Of all rises.
    factor: f64,
    /// Dies whose properties follow their temperature.
    columns: Vec<Column>,
}

/// How fast dies whose properties follow their temperature depart from what the network says.
#[derive(Clone, Copy, Debug, Default)]
struct Ahead {
    /// K/s.
    slope: [f64; MOST_DIES],
}

impl HeatPath {
    /// The heat of die k goes into the input named `dies[k]`.
    ///
    /// # Errors
    /// No input of that name.
    pub fn new(modal: Modal<f64>, dies: &[&str]) -> Result<Self, RatingError> {
        let modal = Arc::new(modal);
        let input = |die: &&str| {
            modal.inputs().iter().position(|i| i == die).ok_or_else(|| RatingError::Asked {
                found: format!("the heat path has no input for the die `{die}`"),
                expected: modal.inputs().join(", "),
            })
        };
        let inputs = dies.iter().map(input).collect::<Result<Vec<_>, _>>()?;
        let rest = Thermal::new(Arc::clone(&modal));
        let cold = inputs.iter().map(|&k| rest.temperatures()[k]).collect();
        Ok(Self { modal, inputs, cold, factor: 1.0, columns: Vec::new() })
    }

    /// With dies whose conductivity and heat capacity follow their temperature during pulses, in the order of the dies;
    /// what stands still is the network's.
    ///
    /// # Errors
    /// An impedance that makes no ladder.
    pub fn with_plates(mut self, plates: Vec<Option<Plate>>) -> Result<Self, RatingError> {
        for (&input, plate) in self.inputs.iter().zip(plates) {
            let Some(plate) = plate else { continue };
            let terms = self.modal.foster_terms(input, input);
            self.columns.push(Column::new(input, plate, &terms)?.unchecked());
        }
        Ok(self)
    }

    /// The same without dies whose properties follow their temperature.
    #[must_use]
    pub fn linear(&self) -> Self {
        Self { columns: Vec::new(), ..self.clone() }
    }

    /// Whether some die's properties follow its temperature.
    fn follows(&self) -> bool {
        !self.columns.is_empty()
    }

    /// Those of some dies whose properties follow their temperature in pulses and courses.
    pub fn followed<'n>(&self, dies: &[&'n str]) -> Vec<&'n str> {
        let follows = |input: &usize| self.columns.iter().any(|c| c.input() == *input);
        dies.iter().zip(&self.inputs).filter(|(_, input)| follows(input)).map(|d| *d.0).collect()
    }

    /// The same with all rises, at any time, larger by a factor: what an error of the impedances would do.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self { factor: self.factor * factor, ..self.clone() }
    }

    /// Junction temperatures without power, °C: those of the boundary.
    pub fn cold(&self) -> &[f64] {
        &self.cold
    }

    /// The network at rest, or (with a heat already flowing, W per die) in the steady state of that.
    pub fn start(&self, heat: &[f64]) -> Thermal<f64> {
        let mut thermal = Thermal::new(Arc::clone(&self.modal)).with_columns(self.columns.clone());
        thermal.start_steady(&self.powers(heat));
        thermal
    }

    /// The temperatures after the advance of `dt` s attempted last, in which dies have not been followed: these go on as in
    /// the step before.
    fn foresee(&self, thermal: &Thermal<f64>, ahead: &Ahead, dt: f64, celsius: &mut [f64]) {
        for ((t, &input), slope) in celsius.iter_mut().zip(&self.inputs).zip(&ahead.slope) {
            *t = thermal.attempted(input) + slope * dt;
        }
    }

    /// Follows the dies over the `dt` s of the last advance and reads the temperatures; whether there are such dies.
    fn follow(&self, thermal: &mut Thermal<f64>, ahead: &mut Ahead, dt: f64, celsius: &mut [f64]) -> bool {
        if !self.follows() || dt <= 0.0 {
            return false;
        }
        self.read(thermal, celsius);
        let mut before = [0.0; MOST_DIES];
        before[..celsius.len()].copy_from_slice(celsius);
        thermal.follow();
        self.read(thermal, celsius);
        for (slope, (after, before)) in ahead.slope.iter_mut().zip(celsius.iter().zip(before)) {
            *slope = (after - before) / dt;
        }
        true
    }

    /// Powers of all inputs from the heat of the dies.
    fn powers(&self, heat: &[f64]) -> Vec<f64> {
        let mut powers = vec![0.0; self.modal.inputs().len()];
        self.set_powers(heat, &mut powers);
        powers
    }

    /// The same into a list.
    fn set_powers(&self, heat: &[f64], powers: &mut [f64]) {
        powers.fill(0.0);
        for (&input, heat) in self.inputs.iter().zip(heat) {
            powers[input] += self.factor * heat;
        }
    }

    /// Temperature of each die, °C.
    fn read(&self, thermal: &Thermal<f64>, celsius: &mut [f64]) {
        for (t, &input) in celsius.iter_mut().zip(&self.inputs) {
            *t = thermal.temperatures()[input];
        }
    }

    /// Steady rise of die `at` per watt in die `from`, K/W.
    pub fn resistance(&self, at: usize, from: usize) -> f64 {
        self.factor * self.modal.steady_resistance(self.inputs[at], self.inputs[from])
    }

    /// Rise of die `at` after `t` s of one watt in die `from`, K/W.
    pub fn impedance(&self, t: f64, at: usize, from: usize) -> f64 {
        self.factor * self.modal.step_response(t, self.inputs[at], self.inputs[from])
    }
}
