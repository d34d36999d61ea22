//! Arithmetic that one value and many lanes share.

pub mod dual;
pub mod lane;
pub mod lockstep;
pub mod matrix;
pub mod packed;
pub mod scalar;
pub mod vector;
