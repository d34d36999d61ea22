//! Shapes of current pulses.

use std::f64::consts::{E, PI};

/// The course of a pulse over its width; its peak is 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Constant over the width.
    Square,
    /// Half a sine; the width is its base.
    HalfSine,
    /// e^(−t/τ) from the start; the width is the time constant τ.
    Exponential,
    /// The current into a discharged capacitor through inductance and just enough resistance not to ring (critically
    /// damped): e·(t/τ)·e^(−t/τ); the width is the time τ to the peak.
    Inrush,
}

impl Shape {
    /// Key on the command line, and the shape in words.
    pub const ALL: &'static [(&'static str, Self, &'static str)] = &[
        ("square", Self::Square, "constant over its width"),
        ("half-sine", Self::HalfSine, "half a sine, the width is its base"),
        ("exponential", Self::Exponential, "falling exponential, the width is its time constant"),
        (
            "inrush",
            Self::Inrush,
            "critically damped inrush into a capacitor, the width is the time to its peak",
        ),
    ];

    /// The shape of a key.
    pub fn of_key(key: &str) -> Option<Self> {
        Self::ALL.iter().find(|s| s.0 == key).map(|s| s.1)
    }

    /// Its key.
    pub fn key(self) -> &'static str {
        Self::ALL.iter().find(|s| s.1 == self).map_or("square", |s| s.0)
    }

    /// In words.
    pub fn words(self) -> &'static str {
        Self::ALL.iter().find(|s| s.1 == self).map_or("", |s| s.2)
    }

    /// Value at a time in widths.
    pub fn at(self, x: f64) -> f64 {
        match self {
            Self::Square => f64::from(x <= 1.0),
            Self::HalfSine => (PI * x.clamp(0.0, 1.0)).sin(),
            Self::Exponential => (-x).exp(),
            Self::Inrush => E * x * (-x).exp(),
        }
    }

    /// How many widths have to be looked at: no junction gets hotter later.
    pub fn lasts(self) -> f64 {
        match self {
            Self::Square | Self::HalfSine => 1.0,
            // The heat that still comes is below e⁻⁶ of the peak.
            Self::Exponential => 3.0,
            Self::Inrush => 6.0,
        }
    }

    /// ∫ i² dt over peak² · width: 1, ½, ½ (the same for the half sine and the exponential: IEC 60747-2's surge
    /// convention, from memory, and elementary), e²/4.
    pub fn square_integral(self) -> f64 {
        match self {
            Self::Square => 1.0,
            Self::HalfSine | Self::Exponential => 0.5,
            Self::Inrush => E * E / 4.0,
        }
    }

    /// Instants in widths, from 0 to [`Shape::lasts`]: dense at the start where the current begins with a jump.
    pub(super) fn grid(self, steps: usize) -> impl Iterator<Item = f64> {
        let jumps = matches!(self, Self::Square | Self::Exponential);
        (1..=steps).map(move |k| {
            let share = k as f64 / steps as f64;
            self.lasts() * if jumps { share.powi(3) } else { share }
        })
    }
}
