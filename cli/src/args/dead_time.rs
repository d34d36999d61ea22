//! Arguments of `dead-time`.

use clap::Args;

use super::OutputArgs;

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
