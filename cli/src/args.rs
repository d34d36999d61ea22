//! The command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// Where completion scripts go.
const COMPLETIONS: &str = "\
Examples:
  joulestep completions bash > ~/.local/share/bash-completion/completions/joulestep
  joulestep completions zsh > ~/.zfunc/_joulestep    (with ~/.zfunc in fpath, before compinit)
  joulestep completions fish > ~/.config/fish/completions/joulestep.fish";

/// Ways to ask for thermal impedances.
const IMPEDANCE: &str = "\
Examples:
  joulestep impedance board-750v-5m4
  joulestep impedance board-750v-5m4 --against board-750v-5m4-soldered --svg both.svg
  joulestep impedance my-stack.toml --json > my-stack.json
  joulestep impedance --points measured.csv --terms 5

Points: a line per point, seconds and K/W, divided by comma, semicolon or blanks; `#` begins a comment.";

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
    0  done
    1  done, and a limit that the scenario sets is exceeded: the verdict is \"fails\"
    2  bad input: the command line, the scenario or a file that it includes
    3  numerical failure: the equations could not be solved further
    4  a file cannot be read or written
  130  interrupted by Ctrl-C; the partial result is closed";

/// Joulestep: voltages, currents, energies and junction temperatures of power switches in their circuit.
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
    /// Solves the circuit, coupled to the thermal network, from the scenario's start to its end, and writes waveforms,
    /// junction temperatures and events to an HDF5 file as it goes. Then prints what happened, the extremes of the
    /// recorded signals, the hottest junctions, the energies with the ledger's residual, and the verdict: ratings of
    /// the parts, and the limits that the scenario sets. Only those limits decide the exit code.
    ///
    /// Progress goes to standard error. Ctrl-C ends the run at once and keeps what was computed: the file is closed
    /// with its attribute `complete` at 0.
    #[command(after_long_help = "Example:\n  joulestep run examples/ferry-breaker.toml --out ferry.h5")]
    Run(RunArgs),
    /// Check a scenario without running it.
    ///
    /// Reads the scenario with the files it includes and connects the circuit. Tells every error with file, line and
    /// column: unknown keys and names, missing or wrong units, values out of range, floating nodes, loops of ideal
    /// sources. Also notes nodes that only one pin touches. No equation is solved, so a circuit that passes may still
    /// have no operating point.
    #[command(after_long_help = "Example:\n  joulestep check examples/ferry-breaker.toml")]
    Check(CheckArgs),
    /// Transient thermal impedance of a package stack, or of measured points.
    ///
    /// Solves the layers of a package stack in three dimensions on three meshes, reduces them to a compact network and
    /// tells Zth(t) of every die, junction to case and junction to the boundaries, what dies do to one another,
    /// repeated pulses by duty, Foster and Cauer coefficients and the structure function; with the error of the mesh
    /// and of the reduction. With `--points` it fits a Foster network to measured points instead.
    #[command(after_long_help = IMPEDANCE)]
    Impedance(ImpedanceArgs),
    /// Print the JSON Schema of scenario files.
    ///
    /// Lists every key with its unit and a line of help; editors use it to complete and check scenario files while
    /// they are typed. Names, dimensions and everything physical are for `check`.
    #[command(after_long_help = "Example:\n  joulestep schema > scenario.schema.json")]
    Schema(SchemaArgs),
    /// Print a completion script for a shell.
    #[command(after_long_help = COMPLETIONS)]
    Completions(CompletionsArgs),
}

/// Arguments of `run`.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Scenario file (TOML).
    pub scenario: PathBuf,
    /// Result file to write (HDF5); it must not exist yet.
    #[arg(long, short, value_name = "FILE.h5")]
    pub out: PathBuf,
    /// Replace the result file if it exists.
    #[arg(long)]
    pub force: bool,
    /// Show no progress; the account is still printed.
    #[arg(long, short)]
    pub quiet: bool,
    /// Print the account as JSON (SI units, temperatures in degC), without progress.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Scenario file (TOML).
    pub scenario: PathBuf,
    /// Print what the scenario holds, or its errors, as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `impedance`.
#[derive(Debug, Args)]
pub struct ImpedanceArgs {
    /// Package stack: a shipped one's name, or a file (TOML).
    #[arg(required_unless_present = "points")]
    pub stack: Option<String>,
    /// Another stack to hold it against.
    #[arg(long, value_name = "STACK", requires = "stack")]
    pub against: Option<String>,
    /// Fit a Foster network to measured points instead.
    #[arg(long, value_name = "FILE", conflicts_with = "stack")]
    pub points: Option<PathBuf>,
    /// Terms of the Foster network, at most; default: as many as it takes, for a stack 8.
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=60))]
    pub terms: Option<u16>,
    /// Cells of the finest mesh, at most: more are slower and more accurate.
    #[arg(long, default_value_t = 120_000, value_parser = clap::value_parser!(u32).range(1_000..=2_000_000))]
    pub cells: u32,
    /// Write a picture (SVG) to this file.
    #[arg(long, value_name = "FILE.svg")]
    pub svg: Option<PathBuf>,
    /// Print everything as JSON (SI units).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// Print the schema of package stacks instead.
    #[arg(long)]
    pub package: bool,
    /// Changes nothing: the schema is JSON anyway.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// Shell to complete for.
    pub shell: clap_complete::Shell,
    /// Print the script as a JSON string.
    #[arg(long)]
    pub json: bool,
}
