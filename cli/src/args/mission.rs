//! Arguments of `mission`.

use std::path::PathBuf;

use clap::Args;

use super::{AssessArgs, OutputArgs};

/// What every user of `mission` should know.
pub(super) const MISSION: &str = "\
What is done:
  The laws of the devices are held at each junction's mean temperature over a cycle; the ripple
  within a cycle follows exactly from the power of every step, but does not act back on the laws.
  The first load begins in its electrical periodic state. After every later step of a parameter,
  cycles are stepped through with the temperatures coupled, until what is left of the settling
  could move no temperature by 5 % of the tolerance; then (or after --resolve cycles, which is printed)
  the rest is solved by shooting. A settling between the same two loads at about the same
  temperatures (15 K) is resolved once and used again. While a parameter ramps, the circuit counts
  as in the periodic state of each moment; its lag is part of the estimated error.
  A leap extrapolates the power of a cycle, linear in the temperatures and, in a ramp, in time. A
  cycle solved at its end gives the power that was missed, hence the error in temperature. One
  leap may add a fifth of the tolerance. The estimated error that is printed sums what every leap
  may have missed, passed through the thermal network, without the correction that is applied.
  Where a cycle is a line period (inverter, totem pole), cycles are line periods.

Damage:
  This program has no damage law of its own. [mission.damage] states the user's law, and what is
  printed follows from that law.

Examples:
  joulestep mission examples/ferry-mission.toml
  joulestep mission examples/ferry-mission.toml --out mission.h5 --plot mission.svg --tolerance \"0.02 K\"";

/// Arguments of `mission`.
#[derive(Debug, Args)]
pub struct MissionArgs {
    /// Scenario file (TOML) with an arrangement, a thermal network and a `[mission]`.
    pub scenario: PathBuf,
    /// Tolerance of the temperatures.
    #[arg(long, value_name = "QUANTITY", default_value = "0.1 K")]
    pub tolerance: String,
    /// Most cycles to resolve after a step of the load.
    #[arg(long, value_name = "NUMBER", default_value_t = 2000)]
    pub resolve: u32,
    /// Resolve every cycle, without leaps: slow, to compare with.
    #[arg(long)]
    pub every_cycle: bool,
    /// Closing error of a periodic state that is good enough.
    #[arg(long, value_name = "NUMBER", default_value = "1e-5")]
    pub closing: String,
    /// Count temperature cycles as of a mission that begins anew again and again (ASTM E1049-85, 5.4.5).
    #[arg(long)]
    pub repeating: bool,
    /// How errors are known.
    #[command(flatten)]
    pub assess: AssessArgs,
    /// What is printed or written; the chart shows load, temperatures, ripple and counted cycles.
    #[command(flatten)]
    pub output: OutputArgs,
    /// Show no progress.
    #[arg(long, short)]
    pub quiet: bool,
}
