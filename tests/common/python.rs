//! Python for the tests that read from outside. The build script looks for it and its packages; a test whose packages
//! were not found is ignored.

use std::ffi::OsString;
use std::process::Command;

/// The interpreter that the build script asked.
pub fn interpreter() -> OsString {
    std::env::var_os("JOULESTEP_PYTHON").unwrap_or_else(|| "python3".into())
}

/// A command that runs a script of Python.
pub fn python() -> Command {
    Command::new(interpreter())
}

/// What a script says; it must end well.
pub fn output_of(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|e| panic!("{:?}: {e}", interpreter()));
    let printed = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{printed}{}", String::from_utf8_lossy(&output.stderr));
    printed
}
