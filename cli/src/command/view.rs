//! `view`: a page on loopback that shows results.

use std::io;
use std::path::PathBuf;

use serde::Serialize;

use crate::command::args::ViewArgs;
use crate::exit::{BAD_INPUT, DONE, INPUT_OUTPUT};
use crate::output::streams::Streams;
use crate::output::view::{SourceError, Viewer, ViewerError};
use crate::output::written::refused;
use crate::signals::stopped;

/// Most files at a time: more cannot be distinguished.
const FILES: usize = 4;

#[derive(Serialize)]
struct Listens<'a> {
    address: &'a str,
    port: u16,
}

/// Whether a browser here would be seen: not through a remote shell, not without a display.
fn is_seen() -> bool {
    let has = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    let display = !cfg!(all(unix, not(target_os = "macos"))) || has("DISPLAY") || has("WAYLAND_DISPLAY");
    display && !has("SSH_CONNECTION")
}

/// Reports an error, for people or as JSON.
fn refuse(error: &ViewerError, json: bool, streams: &mut Streams<'_>) -> io::Result<u8> {
    let code = match error {
        ViewerError::Source(SourceError::Unreadable(error)) if !error.is_input_output() => BAD_INPUT,
        ViewerError::Source(SourceError::Table(_) | SourceError::Empty(_)) => BAD_INPUT,
        _ => INPUT_OUTPUT,
    };
    refused(&(error.to_string(), code), json, streams)
}

/// Serves the page until Ctrl-C.
///
/// # Errors
/// When a stream cannot be written, or the system lets no thread start.
pub fn view(args: &ViewArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let files: Vec<PathBuf> = args.files.iter().chain(&args.beside).cloned().collect();
    if files.len() > FILES {
        writeln!(streams.err, "{} files; expected at most {FILES}", files.len())?;
        return Ok(BAD_INPUT);
    }
    let stop = stopped();
    let viewer = match Viewer::new(&files, args.port) {
        Ok(viewer) => viewer,
        Err(error) => return refuse(&error, args.json, streams),
    };
    let (address, port) = (viewer.address()?, viewer.port()?);
    if args.json {
        writeln!(streams.out, "{}", serde_json::to_string(&Listens { address: &address, port })?)?;
    } else {
        writeln!(streams.out, "{address}")?;
        writeln!(
            streams.out,
            "Through a tunnel: ssh -L {port}:127.0.0.1:{port} SERVER, then the same address."
        )?;
        writeln!(streams.out, "Whoever has the address can read the results. Ctrl-C ends.")?;
    }
    streams.out.flush()?;
    if !args.no_open && is_seen() && open::that_detached(&address).is_err() {
        writeln!(streams.err, "No browser could be started: open the address yourself.")?;
    }
    viewer.serve(stop)?;
    Ok(DONE)
}
