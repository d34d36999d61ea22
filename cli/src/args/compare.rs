//! Arguments of `parts compare`, `parts resistance` and `double-pulse`.

use std::path::PathBuf;

use super::AssessArgs;
use clap::{Args, ValueEnum};

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

/// Arguments of `parts compare`.
#[derive(Debug, Args)]
pub struct PartsCompareArgs {
    /// Shipped parts by name, or part files ending in .toml.
    #[arg(required = true)]
    pub parts: Vec<String>,
    /// The part that has 1 in every figure; without it the first one.
    #[arg(long, value_name = "PART")]
    pub reference: Option<String>,
    /// Working junction temperature, beside 25 degC.
    #[arg(long, value_name = "QUANTITY", default_value = "125 degC", allow_hyphen_values = true)]
    pub temperature: String,
    /// Blocking voltage for output charge and energy, gate charge and recovery.
    #[arg(long, value_name = "QUANTITY", default_value = "400 V", allow_hyphen_values = true)]
    pub voltage: String,
    /// Rate at which the diode's current falls in the recovery.
    #[arg(long, value_name = "QUANTITY", default_value = "1000 A/us", allow_hyphen_values = true)]
    pub rate: String,
    /// Test current of on-resistance, drop and recovery; without it each part's own: where its channel drops 0.2 V at
    /// 25 degC, or 1 A/mm^2 of a diode's die.
    #[arg(long, value_name = "QUANTITY", allow_hyphen_values = true)]
    pub test_current: Option<String>,
    /// Gate-source voltage that turns on; without it the one at which each part states its on-resistance.
    #[arg(long, value_name = "QUANTITY", allow_hyphen_values = true)]
    pub gate_on: Option<String>,
    /// Gate-source voltage that turns off.
    #[arg(long, value_name = "QUANTITY", default_value = "0 V", allow_hyphen_values = true)]
    pub gate_off: String,
    /// Direct current that devices in parallel have to carry.
    #[arg(long, value_name = "QUANTITY", requires = "heatsink", allow_hyphen_values = true)]
    pub current: Option<String>,
    /// Temperature of their heatsink.
    #[arg(long, value_name = "QUANTITY", requires = "current", allow_hyphen_values = true)]
    pub heatsink: Option<String>,
    /// Thermal resistance from each case to the heatsink.
    #[arg(long, value_name = "QUANTITY", default_value = "0 K/W", allow_hyphen_values = true)]
    pub interface: String,
    /// What is printed or written.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// Whose definitions of switching times and energies hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Standard {
    /// Field-effect transistors: energies between 10 % and 10 %.
    #[value(name = "iec-60747-8")]
    Fet,
    /// Insulated-gate bipolar transistors: energies from the gate's edge to 2 %.
    #[value(name = "iec-60747-9")]
    Igbt,
}

/// Arguments of `double-pulse`.
#[derive(Debug, Args)]
pub struct DoublePulseArgs {
    /// Part under test: a shipped part by name, or a part file ending in .toml.
    pub part: String,
    /// Upper device: a part of the same kind with its gate off, or a diode; without it a second part under test.
    #[arg(long, value_name = "PART")]
    pub upper: Option<String>,
    /// Currents to be switched, separated by commas.
    #[arg(long, value_name = "LIST", value_delimiter = ',', required = true, allow_hyphen_values = true)]
    pub current: Vec<String>,
    /// Supply voltages, separated by commas.
    #[arg(
        long,
        value_name = "LIST",
        value_delimiter = ',',
        default_value = "400 V",
        allow_hyphen_values = true
    )]
    pub voltage: Vec<String>,
    /// Gate resistances outside the part, separated by commas.
    #[arg(
        long,
        value_name = "LIST",
        value_delimiter = ',',
        default_value = "5 ohm",
        allow_hyphen_values = true
    )]
    pub gate_resistance: Vec<String>,
    /// Junction temperatures of both devices, separated by commas.
    #[arg(
        long,
        value_name = "LIST",
        value_delimiter = ',',
        default_value = "25 degC",
        allow_hyphen_values = true
    )]
    pub temperature: Vec<String>,
    /// Gate level that turns on; without it the voltage at which the part states its on-resistance.
    #[arg(long, value_name = "QUANTITY", allow_hyphen_values = true)]
    pub gate_on: Option<String>,
    /// Gate level that turns off, of both devices.
    #[arg(long, value_name = "QUANTITY", default_value = "0 V", allow_hyphen_values = true)]
    pub gate_off: String,
    /// Duration of the gate source's ramps.
    #[arg(long, value_name = "QUANTITY", default_value = "5 ns", allow_hyphen_values = true)]
    pub gate_ramp: String,
    /// The gate returns to the part's Kelvin source pin or the command refuses; without this option it does so where
    /// the part has that pin.
    #[arg(long, conflicts_with = "common_source")]
    pub kelvin: bool,
    /// The gate returns to the power source pin also where the part has a Kelvin source.
    #[arg(long)]
    pub common_source: bool,
    /// Stray inductance of the power loop outside the parts.
    #[arg(long, value_name = "QUANTITY", default_value = "20 nH", allow_hyphen_values = true)]
    pub loop_inductance: String,
    /// Resistance of the power loop.
    #[arg(long, value_name = "QUANTITY", default_value = "5 mohm", allow_hyphen_values = true)]
    pub loop_resistance: String,
    /// Load inductance; without it such that the first pulse takes 10 us.
    #[arg(long, value_name = "QUANTITY", allow_hyphen_values = true)]
    pub load: Option<String>,
    /// Time between the pulses.
    #[arg(long, value_name = "QUANTITY", default_value = "2 us", allow_hyphen_values = true)]
    pub pause: String,
    /// Length of the second pulse.
    #[arg(long, value_name = "QUANTITY", default_value = "2 us", allow_hyphen_values = true)]
    pub second_pulse: String,
    /// Capacitance of a snubber from drain to source of each device.
    #[arg(long, value_name = "QUANTITY", requires = "snubber_resistance", allow_hyphen_values = true)]
    pub snubber_capacitance: Option<String>,
    /// Its resistance.
    #[arg(long, value_name = "QUANTITY", requires = "snubber_capacitance", allow_hyphen_values = true)]
    pub snubber_resistance: Option<String>,
    /// Whose definitions of times and energies hold.
    #[arg(long, value_enum, default_value = "iec-60747-8")]
    pub standard: Standard,
    /// How errors are known.
    #[command(flatten)]
    pub assess: AssessArgs,
    /// Folder for the waveforms of every operating point: a result file each (HDF5).
    #[arg(long, value_name = "FOLDER")]
    pub waveforms: Option<PathBuf>,
    /// Folder for pictures: the waveforms of every operating point, and the energies over the grid (SVG).
    #[arg(long, value_name = "FOLDER")]
    pub pictures: Option<PathBuf>,
    /// Keep the table in this result file (HDF5), from which `report` makes a document; it must not exist yet.
    #[arg(long, short, value_name = "FILE.h5")]
    pub out: Option<PathBuf>,
    /// Replace files that exist.
    #[arg(long)]
    pub force: bool,
    /// Print the table as JSON (SI units, temperatures in degC), without progress.
    #[arg(long, conflicts_with = "csv")]
    pub json: bool,
    /// Print the table as CSV (SI units, temperatures in degC), without progress.
    #[arg(long)]
    pub csv: bool,
    /// Show no progress; the table is still printed.
    #[arg(long, short)]
    pub quiet: bool,
}
