//! Cycles that repeat: shipped arrangements and their periodic steady states against textbooks.

mod converters;
mod leg;
