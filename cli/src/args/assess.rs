//! How a study knows the errors of its numbers.

use clap::Args;

/// Options of the error estimate.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct AssessArgs {
    /// Leave out the two coarser computations that estimate the error of every number; values are then judged as they
    /// stand.
    #[arg(long)]
    pub no_estimate: bool,
    /// Repeat with finer and finer steps until every judged number is converged within its margin; the results are
    /// those of the last round.
    ///
    /// Each round halves the base and the finest step and divides the error bounds by 16; it costs about twice the one
    /// before. Two to five rounds; if they are not enough, the verdict is "not proven".
    #[arg(long, conflicts_with = "no_estimate")]
    pub prove: bool,
}
