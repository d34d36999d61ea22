//! The program: see the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    let (mut out, mut err) = (std::io::stdout().lock(), std::io::stderr());
    ExitCode::from(joulestep::run(std::env::args_os(), &mut out, &mut err))
}
