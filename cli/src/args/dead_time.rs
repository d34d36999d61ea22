//! Arguments of `cycle` and `dead-time`.

use std::path::PathBuf;

use clap::Args;

use super::{AssessArgs, OutputArgs};

/// Arguments of `cycle`.
#[derive(Debug, Args)]
pub struct CycleArgs {
    /// Scenario file (TOML) with an arrangement.
    pub scenario: PathBuf,
    /// Closing error that is good enough: change over a period relative to the largest voltage or current.
    #[arg(long, value_name = "NUMBER", default_value = "1e-5")]
    pub closing: String,
    /// Most periods to run in the search.
    #[arg(long, value_name = "NUMBER", default_value_t = 400)]
    pub periods: u32,
    /// How errors are known.
    #[command(flatten)]
    pub assess: AssessArgs,
    /// Keep everything in this result file (HDF5), from which `report` makes a document; it must not exist yet.
    #[arg(long, short, value_name = "FILE.h5")]
    pub out: Option<PathBuf>,
    /// Replace the result file if it exists.
    #[arg(long)]
    pub force: bool,
    /// Print as JSON (SI units, temperatures in degC).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `dead-time`.
#[derive(Debug, Args)]
pub struct DeadTimeArgs {
    /// A shipped part or part file for both switches of a leg, or a scenario file whose arrangement has an upper and a
    /// lower switch.
    pub subject: String,
    /// Part in the lower place; without it the same part.
    #[arg(long, value_name = "PART")]
    pub lower: Option<String>,
    /// Dead times, separated by commas.
    #[arg(long, value_name = "LIST", value_delimiter = ',', required = true)]
    pub dead_time: Vec<String>,
    /// Load currents out of the leg, separated by commas.
    #[arg(long, value_name = "LIST", value_delimiter = ',', required = true)]
    pub current: Vec<String>,
    /// Supply voltage; without it the scenario's, or 400 V.
    #[arg(long, value_name = "QUANTITY")]
    pub voltage: Option<String>,
    /// Switching frequency; without it the scenario's, or 100 kHz.
    #[arg(long, value_name = "QUANTITY")]
    pub frequency: Option<String>,
    /// Gate resistance outside the parts; without it the scenario's, or 5 ohm.
    #[arg(long, value_name = "QUANTITY")]
    pub gate_resistance: Option<String>,
    /// Junction temperature of both switches; without it the scenario's, or 25 degC.
    #[arg(long, value_name = "QUANTITY", allow_hyphen_values = true)]
    pub temperature: Option<String>,
    /// Stray inductance of the power loop; without it the scenario's, or 20 nH.
    #[arg(long, value_name = "QUANTITY")]
    pub loop_inductance: Option<String>,
    /// Leave out the two coarser runs of each point that tell the errors.
    #[arg(long)]
    pub no_estimate: bool,
    /// Make two rounds of finer steps (one where the second has no solution), and tell the numbers of the last.
    #[arg(long, conflicts_with = "no_estimate")]
    pub prove: bool,
    /// What is printed or written.
    #[command(flatten)]
    pub output: OutputArgs,
    /// Show no progress.
    #[arg(long, short)]
    pub quiet: bool,
}
