//! Arguments of `rating`.

use clap::Args;

use super::OutputArgs;

/// Ways to ask for ratings.
pub(super) const RATING: &str = "\
Examples:
  joulestep rating cascode-700v-7m --on board-700v-7m --heatsink \"45 degC\"
  joulestep rating cascode-700v-7m --interface \"0.3 K/W\" --shape half-sine --plot surge.svg
  joulestep rating cascode-700v-7m mosfet-sj-620v-49m --on board-700v-7m --on board-sj-620v-49m
  joulestep rating cascode-700v-22m --fault \"150 A\" --required-time \"10 us\" --required-current \"20 A\"
  joulestep rating cascode-700v-22m --parallel 4 --total \"200 A\" --resistance-spread 10%

Widths: square, its length; half-sine, its base; exponential, its time constant; inrush (critically
damped into a capacitor), the time to its peak. A rating holds for one pulse from the steady state
before it; its numbers are as good as the part's data and the heat path behind them.";

/// Arguments of `rating`.
#[derive(Debug, Args)]
pub struct RatingArgs {
    /// Shipped parts by name, or part files ending in .toml; the first is the reference.
    #[arg(required = true)]
    pub parts: Vec<String>,
    /// Package (shipped name or file) on which a part sits, once for each part in their order, or once for all;
    /// without it the part's own impedance to the case and `--interface`.
    #[arg(long, value_name = "PACKAGE")]
    pub on: Vec<String>,
    /// Temperature of the heatsink: of every fixed temperature of the package.
    #[arg(long, value_name = "QUANTITY", default_value = "45 degC", allow_hyphen_values = true)]
    pub heatsink: String,
    /// Thermal resistance from case to heatsink, without a package.
    #[arg(long, value_name = "QUANTITY", default_value = "0 K/W", conflicts_with = "on")]
    pub interface: String,
    /// Junction temperature that no die may pass; without it the part's own.
    #[arg(long, value_name = "QUANTITY")]
    pub hottest: Option<String>,
    /// Gate-source voltage; without it the one at which the part states its on-resistance.
    #[arg(long, value_name = "QUANTITY", allow_hyphen_values = true)]
    pub gate_on: Option<String>,
    /// Current that flows in steady state before the pulse.
    #[arg(long, value_name = "QUANTITY", default_value = "0 A")]
    pub before: String,
    /// Shape of the pulses.
    #[arg(long, default_value = "square", value_parser = ["square", "half-sine", "exponential", "inrush"])]
    pub shape: String,
    /// Shortest width.
    #[arg(long, value_name = "QUANTITY", default_value = "10 us")]
    pub from: String,
    /// Longest width.
    #[arg(long, value_name = "QUANTITY", default_value = "100 s")]
    pub to: String,
    /// Widths, evenly spread over the decades.
    #[arg(long, default_value_t = 36, value_parser = clap::value_parser!(u16).range(2..=500))]
    pub points: u16,
    /// Fault currents for which the longest square pulse is told; a list.
    #[arg(long, value_name = "QUANTITIES", value_delimiter = ',')]
    pub fault: Vec<String>,
    /// Continuous current that every part must carry; a part that does not, by more than the error, fails.
    #[arg(long, value_name = "QUANTITY")]
    pub required_current: Option<String>,
    /// Time for which every part must withstand every `--fault` current.
    #[arg(long, value_name = "QUANTITY", requires = "fault")]
    pub required_time: Option<String>,
    /// Devices of the first part in parallel, one of which differs by the spreads.
    #[arg(long, value_name = "NUMBER", requires = "total", value_parser = clap::value_parser!(u8).range(2..=64))]
    pub parallel: Option<u8>,
    /// Current of all of them together.
    #[arg(long, value_name = "QUANTITY", requires = "parallel")]
    pub total: Option<String>,
    /// By how much the on-resistance of the odd one is lower.
    #[arg(long, value_name = "QUANTITY", default_value = "10%")]
    pub resistance_spread: String,
    /// By how much the threshold of the odd one is lower.
    #[arg(long, value_name = "QUANTITY", default_value = "0.3 V")]
    pub threshold_spread: String,
    /// Thermal resistance of the heatsink that they share, to an ambient at the temperature of `--heatsink`.
    #[arg(long, value_name = "QUANTITY", default_value = "0 K/W")]
    pub shared: String,
    /// Cells of the mesh, at most.
    #[arg(long, default_value_t = 120_000, value_parser = clap::value_parser!(u32).range(1_000..=2_000_000))]
    pub cells: u32,
    /// Leave out what tells the error of every number: coarser computations, and two of the three meshes.
    #[arg(long)]
    pub no_estimate: bool,
    /// Repeat with finer steps, tables and meshes until every judged number stands still within its margin.
    ///
    /// Each round doubles the steps of a pulse and the nodes of the tabulated law, and the cells of the mesh. Two or three
    /// rounds; if they are not enough, the verdict is "not proven".
    #[arg(long, conflicts_with = "no_estimate")]
    pub prove: bool,
    /// What is printed or written.
    #[command(flatten)]
    pub output: OutputArgs,
}
