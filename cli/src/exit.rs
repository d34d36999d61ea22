//! Exit codes, and output that survives a closed pipe.

use std::io::{self, Write};

/// Done.
pub const DONE: u8 = 0;
/// Done, and a limit that the user set is exceeded.
pub const FAILS: u8 = 1;
/// Bad input: command line or files.
pub const BAD_INPUT: u8 = 2;
/// Numerical failure.
pub const NUMERICAL: u8 = 3;
/// A file or stream cannot be read or written.
pub const INPUT_OUTPUT: u8 = 4;
/// Interrupted; the partial result is closed.
pub const INTERRUPTED: u8 = 130;

/// Where a command writes: results to one stream, trouble and progress to the other.
pub struct Streams<'a> {
    /// Results.
    pub out: &'a mut dyn Write,
    /// Trouble.
    pub err: &'a mut dyn Write,
}

/// The exit code of a command that may fail to write: whoever reads may stop reading (`| head`), which is success.
pub fn code(outcome: io::Result<u8>, err: &mut dyn Write) -> u8 {
    match outcome {
        Ok(code) => code,
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => DONE,
        Err(error) => {
            // Nothing is left to be done when even this cannot be written.
            let _ = writeln!(err, "cannot write: {error}");
            INPUT_OUTPUT
        }
    }
}
