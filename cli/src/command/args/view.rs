//! Arguments of `view`.

use std::path::PathBuf;

use clap::Args;

/// How it is used.
pub(super) const VIEW: &str = "\
Examples:
  joulestep view ferry.h5
  joulestep view before.h5 --beside after.h5
  joulestep view ferry.h5 --no-open --port 8750

In the page:
  Each unit has its axis, with a common time below; `Signals` chooses what is shown.
  Wheel or pinch zooms, dragging moves, a click sets cursor t₁, Shift and a click cursor t₂.
  Readings stand beside each panel at its legend: values at t₁ and t₂, and between them integral,
  rms, I²t and energy, from all samples of the file; D adds difference, mean and extremes.
  `?` lists the keys.

On a server: start it there with --no-open --port 8750, and on your own machine
  ssh -L 8750:127.0.0.1:8750 SERVER
then open the printed address. The page is served on loopback only; whoever has the address with its
token can read the results while the program runs. Ctrl-C ends it.

A file that a run still writes can be looked at: the page shows what is safe in it, and goes on with it.";

/// Arguments of `view`.
#[derive(Debug, Args)]
pub struct ViewArgs {
    /// Result files of runs (HDF5); more than one are drawn over each other.
    #[arg(required = true, value_name = "FILE.h5", num_args = 1..=4)]
    pub files: Vec<PathBuf>,
    /// Another result to draw over the first.
    #[arg(long, value_name = "FILE.h5")]
    pub beside: Vec<PathBuf>,
    /// Port of 127.0.0.1; 0 takes one that is free.
    #[arg(long, default_value_t = 0)]
    pub port: u16,
    /// Print the address only; do not open a browser.
    #[arg(long)]
    pub no_open: bool,
    /// Print the address as JSON.
    #[arg(long)]
    pub json: bool,
}
