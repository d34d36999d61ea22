//! The program: see the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    // On Linux `gate.rs` has asked before this; elsewhere this is as early as it gets.
    #[cfg(all(target_arch = "x86_64", not(target_os = "linux")))]
    {
        use joulestep::processor::{This, UNSUITED, refused};
        if refused(&This, |feature| feature.built_in, |text| eprint!("{text}")) {
            return ExitCode::from(UNSUITED);
        }
    }
    joulestep::cache::turn_on();
    joulestep::end_in_time();
    let (mut out, mut err) = (std::io::stdout().lock(), std::io::stderr());
    ExitCode::from(joulestep::run(std::env::args_os(), &mut out, &mut err))
}
