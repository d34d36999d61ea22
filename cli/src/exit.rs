//! Exit codes.

/// The processor lacks what the program was built for.
pub use crate::processor::UNSUITED;

/// Done.
pub const DONE: u8 = 0;
/// Done, and a limit or a rating is exceeded: the verdict is "fails".
pub const FAILS: u8 = 1;
/// Bad input: command line or files.
pub const BAD_INPUT: u8 = 2;
/// Numerical failure.
pub const NUMERICAL: u8 = 3;
/// A file or stream cannot be read or written.
pub const INPUT_OUTPUT: u8 = 4;
/// Done, and nothing is shown to be exceeded, but not all is shown to be kept: the verdict is "not proven".
pub const NOT_PROVEN: u8 = 5;
/// Interrupted; the partial result is closed.
pub const INTERRUPTED: u8 = 130;
