//! Circuits around parts, ready to run.

pub mod double_pulse;
