//! Result files: HDF5, written while the run goes on and read back by reports and views.
//!
//! # The file (format version 2)
//!
//! | Where | What |
//! |---|---|
//! | `/` attributes | `complete` (0 until the run ended properly), `producer`, `producer_version`, `format_version`, `created` (UTC, ISO 8601), `columns` (references to what grew) |
//! | `/inputs` | the files that went in, along each other: `name` and `text` |
//! | `/waveforms` | `time` (s, dimension scale) and one dataset per channel along it; the attribute `interpolation` is "previous" where a value holds until the next sample (on/off lines), else samples are joined by straight lines |
//! | `/thermal` | the same for temperatures (degC), with a `time` of its own |
//! | `/overview/<level>` | per block of 16^level samples, `time` of its first sample, and for each channel minimum and maximum along the axis `extreme` |
//! | `/events` | along `time`: `kind`, `subject`, `note`, `value`, `unit` |
//! | `/steps` | along `row`: `kind`, `subject`, `begin`, `end` (s), `heat` (J) and `temperature` (degC) per `heat_input`, `peak` per `watched` quantity (with `watched_unit`) |
//! | `/ledger` | along `component`: `delivered`, `dissipated`, `stored_change` (J); `residual` (J) and `residual_relative` as numbers and as attributes |
//! | `/summary` | one number each with `units`, `long_name`, `verdict`, `error_kind` ("within", "not converging", "not estimated", "bare": without an estimate), `error` (±) or `error_why`, and, where set, `minimum` and `maximum`; attributes of the group: the `verdict` over all, and a line each of `doubts`, `waivers`, `notes` |
//!
//! Studies have tables and figures instead (a mission both): see [`crate::output::answer::Study`]. A batch has `/batch`, along
//! `variant`.
//!
//! Every group opens as an xarray Dataset. Names that HDF5 or netCDF do not allow are changed; the attribute
//! `original_name` then keeps what they were. A partial file (`complete = 0`) holds everything up to a checkpoint,
//! without `/ledger` and `/summary` unless the run could still write them.

mod archive;
mod error;
mod events;
mod header;
mod inputs;
mod ledger;
mod names;
mod overview;
mod packer;
mod reader;
mod steps;
mod store;
mod structure;
mod study;
mod summary;
mod table;
mod table_reader;
mod text;
mod waveforms;
mod worker;
mod writer;

pub use crate::judge::Verdict;
pub use error::ResultError;
pub use events::StoredEvent;
pub(crate) use events::exact;
pub use ledger::{LedgerRow, LedgerTable};
pub use overview::{LEVELS, OverviewBlocks, block_length};
pub use reader::{About, Channel, ResultFile};
pub use steps::StepTable;
pub use summary::Summary;
pub use table::{BatchTable, Statistic, TableColumn, is_table, write_table};
pub use table_reader::{ReadColumn, ReadTable, read_table};
pub use writer::{Finished, Precision, ResultWriter, WriterOptions};

/// Version of the file's layout; a reader refuses every other one.
pub const FORMAT_VERSION: i64 = 2;

/// Refuses a file of another version, by name.
fn of_this_format(path: &std::path::Path, version: i64) -> Result<(), ResultError> {
    let found = match version {
        FORMAT_VERSION => return Ok(()),
        ..FORMAT_VERSION => format!("format {version} of an earlier Joulestep"),
        _ => format!("format {version} of a later Joulestep"),
    };
    Err(ResultError::content(path, found, format!("format {FORMAT_VERSION}, which this program reads")))
}
