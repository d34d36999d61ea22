//! The command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// What every user should have read once.
const CAUTIONS: &str = "\
Cautions:
  A simulation is no proof of safety. Its numbers are as good as the models and parameters
  behind them; measure before you rely on them.
  High voltage kills. A charged capacitor bank stays dangerous after the source is
  disconnected, and an inductor forces its current through whatever opens it. Fault
  currents melt conductors and throw arcs.
  Protection of people needs devices approved for it, installed by licensed people under
  the codes that hold at the place. This program replaces neither.

Exit codes:
  0 done   1 done, a limit is exceeded   2 bad input   3 numerical failure
  4 a file cannot be read or written   130 interrupted, the partial result is closed";

/// Joulestep: electro-thermal answers about power switches: inrush, faults, losses, ratings.
#[derive(Debug, Parser)]
#[command(name = "joulestep", version, after_long_help = CAUTIONS, after_help = "`joulestep --help` tells more, with cautions and exit codes.")]
#[command(max_term_width = 100)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run a scenario and write the result file.
    ///
    /// Solves the circuit, coupled to the heat network, from the scenario's start to its end; writes waveforms,
    /// temperatures, events and the energy ledger to an HDF5 file as it goes; then prints what happened, peak
    /// voltages and currents, the hottest junctions, the energies and the verdict against the limits set.
    /// Ctrl-C closes the file with what it holds by then.
    #[command(after_long_help = "Example:\n  joulestep run examples/ferry-breaker.toml --out ferry.h5")]
    Run(RunArgs),
    /// Check a scenario without running it.
    ///
    /// Reads the scenario with all it includes, connects the circuit in memory and looks for floating nodes, loops of
    /// ideal sources, unknown names and quantities of the wrong kind. Tells every error with file, line and column.
    #[command(after_long_help = "Example:\n  joulestep check examples/ferry-breaker.toml")]
    Check(CheckArgs),
    /// Print the JSON Schema of scenario files.
    ///
    /// Editors use it to complete and check scenario files while they are typed. It knows keys and forms; units,
    /// names and everything physical is for `check`.
    #[command(after_long_help = "Example:\n  joulestep schema > scenario.schema.json")]
    Schema(SchemaArgs),
    /// Print a completion script for a shell.
    #[command(
        after_long_help = "Example:\n  joulestep completions bash > ~/.local/share/bash-completion/completions/joulestep"
    )]
    Completions(CompletionsArgs),
}

/// Arguments of `run`.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Scenario file (TOML).
    pub scenario: PathBuf,
    /// Result file (HDF5).
    #[arg(long, short, value_name = "FILE.h5")]
    pub out: PathBuf,
    /// Replace the result file where it exists.
    #[arg(long)]
    pub force: bool,
    /// Show no progress.
    #[arg(long, short)]
    pub quiet: bool,
    /// Print the outcome as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Scenario file (TOML).
    pub scenario: PathBuf,
    /// Print the outcome as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// The schema is JSON with or without this; accepted so that every command takes it.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell.
    pub shell: clap_complete::Shell,
    /// Print the script as a JSON string.
    #[arg(long)]
    pub json: bool,
}
