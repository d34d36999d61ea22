//! Parts from points: round trips, noise, published formulas, what points do not determine, the program.

mod made;
mod outside;
mod program;
mod round_trip;
