//! Arguments of `report`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

/// Ways to ask for a report.
pub(super) const REPORT: &str = "\
Examples:
  joulestep run examples/ferry-breaker.toml --out ferry.h5
  joulestep report ferry.h5 -o ferry.html
  joulestep rating cascode-700v-7m --fault \"420 A\" --out rating.h5
  joulestep report rating.h5 -o rating.md
  joulestep report ferry.h5 --figures pictures --format png

Any result file serves: of `run`, of a study with `--out` (rating, dead-time, cycle, mission, impedance,
double-pulse, parts compare, parts resistance), and the table of a `batch`. The HTML file holds
everything itself: it opens offline, prints on A4 and runs no script. The same file gives the same
report. The verdict does not change the exit code.";

/// Forms of a report and its figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ReportFormat {
    /// Report: one self-contained file.
    Html,
    /// Report: Markdown, its figures in files beside it.
    Md,
    /// Figures: scalable.
    Svg,
    /// Figures: pixels.
    Png,
}

/// Arguments of `report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// Result file (HDF5) of a run, a study or a batch.
    pub result: PathBuf,
    /// Report to write; it must not exist yet.
    #[arg(long, short, value_name = "FILE", required_unless_present = "figures")]
    pub out: Option<PathBuf>,
    /// Form of the report (html, md) or of its figures (svg, png). Without it, a report is Markdown where its name ends
    /// in .md, else HTML, and figures are SVG.
    #[arg(long, value_enum)]
    pub format: Option<ReportFormat>,
    /// Write each figure as a file of its own into this folder.
    #[arg(long, value_name = "FOLDER")]
    pub figures: Option<PathBuf>,
    /// Replace files that exist.
    #[arg(long)]
    pub force: bool,
    /// Print what was written, and the verdict, as JSON.
    #[arg(long)]
    pub json: bool,
}
