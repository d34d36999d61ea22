//! What studies write.

use std::path::PathBuf;

use clap::Args;

/// What a comparison prints or writes.
#[derive(Debug, Args)]
pub struct OutputArgs {
    /// Print as JSON (SI units, temperatures in degC).
    #[arg(long, conflicts_with = "csv")]
    pub json: bool,
    /// Print as CSV (SI units, temperatures in degC).
    #[arg(long)]
    pub csv: bool,
    /// Draw the chart into this file: SVG, or PNG where its name ends in .png; it must not exist yet.
    #[arg(long = "plot", alias = "svg", value_name = "FILE.svg")]
    pub svg: Option<PathBuf>,
    /// Keep everything in this result file (HDF5), from which `report` makes a document; it must not exist yet.
    #[arg(long, short, value_name = "FILE.h5")]
    pub out: Option<PathBuf>,
    /// Replace files that exist.
    #[arg(long)]
    pub force: bool,
}
