//! Hardship.
