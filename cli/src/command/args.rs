//! The command line.

use std::path::PathBuf;
use std::sync::OnceLock;

use clap::{Args, Parser, Subcommand};

use crate::command::new::Starter;
use crate::processor::{BUILT_IN, MORE, TARGET, baseline};

mod batch;
mod files;
mod report;
mod view;

pub use batch::{BatchArgs, BatchCommand, BatchOutputArgs, MergeArgs, ProgressAs};
pub use files::{named, of_study};
pub use report::{ReportArgs, ReportFormat};
pub use view::ViewArgs;

/// Where completion scripts go.
const COMPLETIONS: &str = "\
Examples:
  joulestep completions bash > ~/.local/share/bash-completion/completions/joulestep
  joulestep completions zsh > ~/.zfunc/_joulestep    (with ~/.zfunc in fpath, before compinit)
  joulestep completions fish > ~/.config/fish/completions/joulestep.fish";

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
    1  done, and a limit or a rating is exceeded: the verdict is \"fails\"
    5  done, no limit is shown to be exceeded, but not all are shown to be kept: \"not proven\"
    2  bad input: the command line, the scenario or a file that it names
    3  numerical failure: the equations could not be solved
    4  a file cannot be read or written
    6  this processor lacks instructions that the program was built for
  130  interrupted by Ctrl-C; the partial result is closed. The same by SIGTERM: 143, by SIGHUP: 129";

/// What `-V` and `--version` tell: the version and what the program was built for; in full also every extension of the
/// instruction set that a processor must have.
fn version(full: bool) -> &'static str {
    static SHORT: OnceLock<String> = OnceLock::new();
    static FULL: OnceLock<String> = OnceLock::new();
    let (version, number) = (if full { &FULL } else { &SHORT }, env!("CARGO_PKG_VERSION"));
    let level = if baseline().is_empty() { std::env::consts::ARCH } else { baseline() };
    let level = format!("{level}{}", if MORE { " and more" } else { "" });
    version.get_or_init(|| match full {
        false => format!("{number} ({TARGET}, {level})"),
        true => {
            let features = BUILT_IN.replace(',', " ");
            format!("{number}\ntarget: {TARGET}\nprocessor: {level}\nmust have: {features}")
        }
    })
}

/// Joulestep: voltages, currents, energies and junction temperatures of power switches in their circuit.
#[derive(Debug, Parser)]
#[command(name = "joulestep", version = version(false), long_version = version(true), after_long_help = CAUTIONS, after_help = "`joulestep --help` shows more, with cautions and exit codes.")]
#[command(max_term_width = 100)]
pub struct Cli {
    /// Let files name others in this folder too.
    ///
    /// What a scenario, plan or points file names (includes, parts, packages, courses, lists) must lie in the folder of
    /// a file of the command line, or below it; symbolic links are followed before this is asked. Shipped names always
    /// work. May be given more than once.
    #[arg(long, global = true, value_name = "DIR")]
    pub allow_outside: Vec<PathBuf>,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
#[expect(clippy::large_enum_variant, reason = "made once, for the command line")]
pub enum Command {
    /// Write a commented scenario to begin with: a breaker, a leg, a part of your own.
    ///
    /// The file runs as it is; its comments say what each table is for. Nothing that exists is replaced.
    #[command(
        after_long_help = "Examples:\n  joulestep new --list\n  joulestep new breaker\n  joulestep new leg --out my-leg.toml"
    )]
    New(NewArgs),
    /// Check a scenario without running it.
    ///
    /// Reads the scenario with the files it includes and connects the circuit. Reports every error with file, line and
    /// column: unknown keys and names, missing or wrong units, values out of range, floating nodes, loops of ideal
    /// sources. Also notes nodes that only one pin touches. No equation is solved, so a circuit that passes may still
    /// have no operating point.
    #[command(after_long_help = "Example:\n  joulestep check examples/ferry-breaker.toml")]
    Check(CheckArgs),
    /// Parts: list those shipped, show one, extract one from points of a data sheet.
    #[command(subcommand)]
    Parts(PartsCommand),
    /// Run the variants of a plan: grids, lists, tolerances, sensitivities, searches; one table of all of them.
    ///
    /// A plan varies numbers of a scenario: over a full grid, as listed in a CSV file, by named distributions with
    /// correlations (Monte Carlo, Latin hypercube, Sobol sequence), for Sobol indices, or to the value at which a limit
    /// is just met. Every variant is a row of the table with its inputs, extremes, temperatures, energies and verdict;
    /// a failed one has the reason in its row. Finished rows are in the journal beside the table before they count, so
    /// a batch that was killed goes on with `--resume`. The table is the same for any number of threads and shards.
    #[command(after_long_help = batch::BATCH)]
    Batch(BatchArgs),
    /// Make a report of a result file: question, verdict, evidence, in one HTML file that prints well.
    ///
    /// Tells what was asked and the verdict first, then what happened, the waveforms around each thing of note,
    /// energies and losses with the ledger's closure, limits and ratings, the definitions of the quantities,
    /// assumptions, cautions, and the scenario and part data used. Studies and batches have their tables and curves
    /// instead.
    #[command(after_long_help = report::REPORT)]
    Report(ReportArgs),
    /// Look at results in the browser: waveforms, temperatures, cursors, integrals, events.
    ///
    /// Serves a page on loopback and prints its address. Results of any length open at once: the page gets what its
    /// pixels can show, down to single samples. Values at the cursors are samples of the file, and integrals between
    /// them are taken over all samples. Nothing is loaded from a network.
    #[command(after_long_help = view::VIEW)]
    View(ViewArgs),
    /// Print the JSON Schema of scenario, part, points, package or plan files.
    ///
    /// Lists every key with its unit and a line of help; editors use it to complete and check files while they are
    /// typed. `check` also checks names, dimensions and physics.
    #[command(
        after_long_help = "Examples:\n  joulestep schema > scenario.schema.json\n  joulestep schema part > part.schema.json"
    )]
    Schema(SchemaArgs),
    /// Show what is kept between runs, or remove it.
    ///
    /// A package's layers, reduced to a small thermal network, take seconds to solve and follow from the layers alone.
    /// `impedance`, `rating`, `run` and every other study on a package keep the network in a folder and find it there
    /// the next time, under a check sum of everything that decides it: geometry, materials, cooling, mesh, version.
    /// Results are the same to the last digit with and without. A damaged file there is ignored and made anew; beyond
    /// 256 MB those go that were not used for the longest time. Removing all of it costs time only.
    ///
    /// The folder is $XDG_CACHE_HOME/joulestep, else ~/.cache/joulestep; on macOS ~/Library/Caches/joulestep, on Windows
    /// %LOCALAPPDATA%\joulestep. JOULESTEP_CACHE=DIR names another, JOULESTEP_CACHE=off keeps nothing.
    #[command(
        after_long_help = "Examples:\n  joulestep cache\n  joulestep cache --clear\n  JOULESTEP_CACHE=off joulestep impedance board-700v-7m"
    )]
    Cache(CacheArgs),
    /// Print a completion script for a shell.
    #[command(after_long_help = COMPLETIONS)]
    Completions(CompletionsArgs),
}

/// Arguments of `cache`.
#[derive(Debug, Args)]
pub struct CacheArgs {
    /// Remove everything that is kept
    #[arg(long)]
    pub clear: bool,
    /// Print it as JSON: folder, bytes, what is kept
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// What to begin with.
    #[arg(value_enum, required_unless_present = "list")]
    pub name: Option<Starter>,
    /// List what there is.
    #[arg(long, conflicts_with = "name")]
    pub list: bool,
    /// Scenario file to write, which must not exist yet; default: NAME.toml in this folder.
    #[arg(long, short, value_name = "FILE.toml")]
    pub out: Option<PathBuf>,
    /// Print what was written as JSON.
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

/// Commands on parts.
#[derive(Debug, Subcommand)]
pub enum PartsCommand {
    /// List the shipped parts with their technology and ratings. All of them are invented.
    List(PartsListArgs),
    /// Show everything of a part: ratings, values at two temperatures, parameters, dies, package, heat, curves.
    #[command(
        after_long_help = "Examples:\n  joulestep parts show cascode-700v-22m\n  joulestep parts show my-part.toml --temperature \"150 degC\""
    )]
    Show(PartsShowArgs),
}

/// Arguments of `parts list`.
#[derive(Debug, Args)]
pub struct PartsListArgs {
    /// Print the list as JSON (SI units, temperatures in degC).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `parts show`.
#[derive(Debug, Args)]
pub struct PartsShowArgs {
    /// Name of a shipped part, or path of a part file ending in .toml.
    pub part: String,
    /// Working junction temperature, beside 25 degC.
    #[arg(long, value_name = "QUANTITY", default_value = "125 degC")]
    pub temperature: String,
    /// Print the part as JSON (SI units, temperatures in degC).
    #[arg(long)]
    pub json: bool,
}

/// What a schema is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum SchemaOf {
    /// Scenario files.
    Scenario,
    /// Part files.
    Part,
    /// Files of points for `parts extract`.
    Points,
    /// Packages.
    Package,
    /// Plans of batches.
    Plan,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// What the schema is of.
    #[arg(value_enum, default_value = "scenario")]
    pub of: SchemaOf,
    /// No effect: the schema is JSON.
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
