//! `completions`: a completion script for a shell.

use std::io;

use serde::Serialize;

use crate::command::args::CompletionsArgs;
use crate::exit::DONE;
use crate::output::streams::Streams;

#[derive(Serialize)]
struct Document<'a> {
    shell: String,
    script: &'a str,
}

/// Prints the script.
///
/// # Errors
/// When a stream cannot be written.
pub fn completions(args: &CompletionsArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    // The generator panics when its stream fails, so it writes into memory.
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut crate::command_line(), "joulestep", &mut script);
    if args.json {
        let script = String::from_utf8_lossy(&script);
        let report = Document { shell: args.shell.to_string(), script: &script };
        writeln!(streams.out, "{}", serde_json::to_string(&report)?)?;
    } else {
        streams.out.write_all(&script)?;
    }
    Ok(DONE)
}
