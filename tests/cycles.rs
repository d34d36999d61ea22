//! Cycles that repeat: shipped arrangements and their periodic steady states against textbooks.

mod bridges;
mod converters;
mod heat;
mod leg;
mod losses;
mod mission;
mod own;
mod own_leg;
mod program;
