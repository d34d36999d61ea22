//! The two streams that a command writes to, and output that survives a closed pipe.

use std::ffi::OsString;
use std::io::{self, Write};
use std::path::PathBuf;

use serde::Serialize;

use crate::exit::{DONE, INPUT_OUTPUT};
use crate::input::access::Access;
use crate::output::files::{Named, examine};

/// Where a command writes: results to one stream, errors and progress to the other.
pub struct Streams<'a> {
    /// Results.
    pub out: &'a mut dyn Write,
    /// Errors.
    pub err: &'a mut dyn Write,
    /// The command line as it was typed, for the files that keep it.
    pub command: String,
    /// The files that may be read.
    pub access: Access,
}

impl Streams<'_> {
    /// Holds the files of a command line against each other; from then on the command reads those inputs and what lies
    /// in their folders or `outside`.
    ///
    /// # Errors
    /// What is wrong, and the exit code.
    pub fn admit(&mut self, named: &Named, outside: &[PathBuf]) -> Result<(), (String, u8)> {
        let outputs = examine(&named.outputs, &named.inputs)?;
        self.access = Access::new(&named.inputs, outside, outputs);
        Ok(())
    }

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
        let mut streams =
            Streams { out: &mut out, err: &mut err, command: String::new(), access: Access::default() };
        streams.json(&[f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1.5]).unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), "[\n  null,\n  null,\n  null,\n  1.5\n]\n");
    }
}
