//! Arguments of the thermal commands.

use std::path::PathBuf;

use clap::Args;

/// Ways to ask for thermal impedances.
pub(super) const IMPEDANCE: &str = "\
Examples:
  joulestep impedance board-700v-7m
  joulestep impedance board-700v-7m --against board-700v-7m-soldered --plot both.svg
  joulestep impedance my-package.toml --json > my-package.json
  joulestep impedance --points measured.csv --terms 5

Points: a line per point, seconds and K/W, divided by comma, semicolon or blanks; `#` begins a comment.
`joulestep schema package` describes the files of packages.";

/// Arguments of `impedance`.
#[derive(Debug, Args)]
pub struct ImpedanceArgs {
    /// Package: a shipped one's name, or a file ending in .toml.
    #[arg(required_unless_present = "points")]
    pub package: Option<String>,
    /// Another package to hold it against.
    #[arg(long, value_name = "PACKAGE", requires = "package")]
    pub against: Option<String>,
    /// Fit a Foster network to measured points instead.
    #[arg(long, value_name = "FILE", conflicts_with = "package")]
    pub points: Option<PathBuf>,
    /// Terms of the Foster network, at most; without it as many as it takes, for a package 8.
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=60))]
    pub terms: Option<u16>,
    /// Cells of the finest mesh, at most: more are slower and more accurate.
    #[arg(long, default_value_t = 120_000, value_parser = clap::value_parser!(u32).range(1_000..=2_000_000))]
    pub cells: u32,
    /// Draw the curves into this file: SVG, or PNG where its name ends in .png; it must not exist yet.
    #[arg(long = "plot", alias = "svg", value_name = "FILE.svg")]
    pub svg: Option<PathBuf>,
    /// Keep everything in this result file (HDF5), from which `report` makes a document; it must not exist yet.
    #[arg(long, short, value_name = "FILE.h5")]
    pub out: Option<PathBuf>,
    /// Replace files that exist.
    #[arg(long)]
    pub force: bool,
    /// Print everything as JSON (SI units, temperatures in degC).
    #[arg(long)]
    pub json: bool,
}
