//! Arguments of `cycle`.

use std::path::PathBuf;

use clap::Args;

use super::AssessArgs;

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
