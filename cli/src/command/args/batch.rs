//! Arguments of `batch`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

/// Ways to run a batch.
pub(super) const BATCH: &str = "\
Examples:
  joulestep batch examples/inrush-tolerances.toml --out tolerances.h5
  joulestep batch examples/inrush-tolerances.toml --out tolerances.h5 --resume
  joulestep batch examples/rating-tolerances.toml --out ratings.h5 --parquet ratings.parquet
  joulestep batch plan.toml --out part-2.h5 --shard 2/4
  joulestep batch merge plan.toml part-1.h5 part-2.h5 part-3.h5 part-4.h5 --out all.h5

`joulestep schema plan` describes the plan file. Exit code 1: at least one variant exceeds a limit
that the scenario sets; failed variants do not change the exit code; the reason stands in their rows.";

/// How progress is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ProgressAs {
    /// A bar on a terminal, a line now and then elsewhere.
    Text,
    /// A JSON object per line on standard error.
    Json,
}

/// Arguments of `batch`.
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct BatchArgs {
    /// Further commands on batches.
    #[command(subcommand)]
    pub command: Option<BatchCommand>,
    /// Plan file (TOML).
    #[arg(required = true)]
    pub plan: Option<PathBuf>,
    /// Where the table and the numbers go.
    #[command(flatten)]
    pub output: BatchOutputArgs,
    /// Threads; without it one for each core.
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub jobs: Option<u16>,
    /// Variants solved side by side, in the lanes of vector arithmetic, at most; without it as the plan says, else 8.
    ///
    /// Each has its own time and steps, so protections and controllers may act when they like, and its numbers are those
    /// that it has alone, to the last bit. One that is over leaves its lane to the next. Variants side by side share
    /// topology and device laws; those stepped by pieces (ideal switches and diodes), searches and studies other than
    /// runs go singly.
    #[arg(long, value_parser = clap::builder::PossibleValuesParser::new(["1", "4", "8"]))]
    pub lanes: Option<String>,
    /// Run only every n-th variant, from the k-th on; those whose errors are estimated count first.
    #[arg(long, value_name = "K/N")]
    pub shard: Option<String>,
    /// Go on with the journal that an earlier run left beside the table.
    #[arg(long, conflicts_with = "force")]
    pub resume: bool,
    /// Print the number of variants, and stop.
    #[arg(long, conflicts_with_all = ["resume", "shard"])]
    pub count: bool,
    /// Show no progress.
    #[arg(long, short)]
    pub quiet: bool,
    /// How progress is shown.
    #[arg(long, value_enum, default_value = "text")]
    pub progress: ProgressAs,
}

/// Where the table and the numbers go.
#[derive(Debug, Args)]
pub struct BatchOutputArgs {
    /// Table to write (HDF5); it must not exist yet. Its journal stands beside it.
    #[arg(long, short, value_name = "TABLE.h5")]
    pub out: Option<PathBuf>,
    /// Write the table as CSV too.
    #[arg(long, value_name = "FILE.csv")]
    pub csv: Option<PathBuf>,
    /// Write the table as Apache Parquet too.
    #[arg(long, value_name = "FILE.parquet")]
    pub parquet: Option<PathBuf>,
    /// Draw an output: histogram, tornado, scatter.
    #[arg(long = "plot", alias = "svg", value_name = "FILE.svg")]
    pub svg: Option<PathBuf>,
    /// The output to draw; without it the first of the summary.
    #[arg(long, value_name = "NAME", requires = "svg")]
    pub show: Option<String>,
    /// Replace files that exist.
    #[arg(long)]
    pub force: bool,
    /// Print the statistics as JSON (SI units, temperatures in degC), without progress.
    #[arg(long)]
    pub json: bool,
}

/// Further commands on batches.
#[derive(Debug, Subcommand)]
pub enum BatchCommand {
    /// Put the shards of a batch together: the table is the one that a single machine would have written.
    Merge(MergeArgs),
}

/// Arguments of `batch merge`.
#[derive(Debug, Args)]
pub struct MergeArgs {
    /// Plan file (TOML) of all shards.
    pub plan: PathBuf,
    /// Tables of the shards; their journals stand beside them.
    #[arg(required = true)]
    pub shards: Vec<PathBuf>,
    /// Where the table and the numbers go.
    #[command(flatten)]
    pub output: BatchOutputArgs,
}
