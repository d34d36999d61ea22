//! What comes in: files that may be read, their tables of keys, and what they hold, in SI units and with names found.

// Which files may be read.
pub mod access;
pub mod identity;
// Files as typed, and tables of keys.
pub mod keys;
// What is shipped by name or read from a file.
mod library;
pub mod package;
pub mod parts;
pub mod record;
// The scenario.
pub mod scenario;
// Where a value stands in the tables.
pub mod parameter_path;
