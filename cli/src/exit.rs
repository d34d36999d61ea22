//! Exit codes, and output that survives a closed pipe.

use std::ffi::OsString;
use std::io::{self, Write};

use serde::Serialize;

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

/// Where a command writes: results to one stream, errors and progress to the other.
pub struct Streams<'a> {
    /// Results.
    pub out: &'a mut dyn Write,
    /// Errors.
    pub err: &'a mut dyn Write,
    /// The command line as it was typed, for the files that keep it.
    pub command: String,
}

impl Streams<'_> {
    /// Writes a result for programs: JSON in which a number that is not finite is null.
    ///
    /// # Errors
    /// When the stream cannot be written.
    pub fn json(&mut self, report: &impl Serialize) -> io::Result<()> {
        serde_json::to_writer_pretty(&mut *self.out, report)?;
        writeln!(self.out)
    }
}

/// A command line as one types it into a shell; the program by its name, wherever it lies.
pub fn typed(args: &[OsString]) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "_-./=,:+@%".contains(c);
    let quoted = |arg: &OsString| {
        let text = arg.to_string_lossy();
        match !text.is_empty() && text.chars().all(plain) {
            true => text.into_owned(),
            false => format!("'{}'", text.replace('\'', r"'\''")),
        }
    };
    let rest = args.iter().skip(1).map(quoted);
    std::iter::once(env!("CARGO_PKG_NAME").to_string()).chain(rest).collect::<Vec<_>>().join(" ")
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_are_not_finite_are_null() {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let mut streams = Streams { out: &mut out, err: &mut err, command: String::new() };
        streams.json(&[f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1.5]).unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), "[\n  null,\n  null,\n  null,\n  1.5\n]\n");
    }
}
