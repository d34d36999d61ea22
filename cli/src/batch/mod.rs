//! Batches: a scenario, a rating or a dead-time study varied by a plan, on all cores, durable, in shards; and what the
//! table of its variants contains.
//!
//! [`variant::PlannedBatch::read`] reads a plan; [`variant::PlannedBatch::run`] runs any variant of it,
//! [`variant::PlannedBatch::run_in_lanes`] several side by side; [`execute::execute`] runs them all on threads into a
//! [`journal`]; [`table`] and [`parquet`] make files of the rows, [`errors`] says how far they may be wrong and
//! what follows, [`statistics`] and [`indices`] tell what they say together, [`save`] runs chosen ones again with their
//! waveforms.
//!
//! A capacitor charged through a resistor of some tolerance, from a program of one's own. Files are opened through a
//! function, so they may stand anywhere:
//!
//! ```
//! use std::collections::BTreeMap;
//! use std::path::Path;
//! use std::sync::atomic::AtomicBool;
//!
//! use joulestep::batch::errors::Errors;
//! use joulestep::batch::statistics::gather;
//! use joulestep::batch::variant::PlannedBatch;
//!
//! const SCENARIO: &str = r#"
//! format = 2
//! component = [
//!     { name = "supply", kind = "voltage-source", pins = ["in", "gnd"], value = "1 V" },
//!     { name = "R1", kind = "resistor", pins = ["in", "out"], resistance = "1 kohm" },
//!     { name = "C1", kind = "capacitor", pins = ["out", "gnd"], capacitance = "1 uF" },
//! ]
//! steps = { end = "8 ms", base = "20 us", start = "stated" }
//! record = { signals = ["voltage(out)"] }
//! limit = [{ name = "current", signal = "R1.current", max = "1.05 mA" }]
//! "#;
//! const PLAN: &str = r#"
//! format = 2
//! scenario = "rc.toml"
//! estimate = "none"
//! sampling = { kind = "latin-hypercube", variants = 20, seed = 1 }
//! vary = [{ name = "R", value = "component.R1.resistance", kind = "uniform", lower = "900 ohm", upper = "1.1 kohm" }]
//! "#;
//!
//! let open = |path: &Path| match path.to_str() {
//!     Some("plan.toml") => Ok(PLAN.to_string()),
//!     Some("rc.toml") => Ok(SCENARIO.to_string()),
//!     _ => Err(std::io::Error::from(std::io::ErrorKind::NotFound)),
//! };
//! let study = PlannedBatch::read(Path::new("plan.toml"), &open).expect("a plan that fits its scenario");
//! let stop = AtomicBool::new(false);
//! let rows: BTreeMap<_, _> =
//!     (0..study.count()).filter_map(|k| study.run(k, &stop)).map(|row| (row.variant, row)).collect();
//! // 1 V / R stays below 1.05 mA above 952 ohm: in three layers of four, one more or less at the edge.
//! let yields = gather(&study, &rows, &Errors::of(&study, &rows)).passes.expect("a limit is set");
//! assert!(yields.of == 20 && yields.hits.abs_diff(15) <= 1, "{yields:?}");
//! ```

pub mod alone;
pub mod answer;
pub mod distribution;
pub mod errors;
pub mod execute;
pub mod indices;
pub mod journal;
pub mod lanes;
pub mod list;
pub mod measure;
pub mod order;
pub mod parquet;
pub mod picture;
pub mod plan;
pub mod progress;
pub mod read;
pub mod report;
pub mod row;
pub mod sample;
pub mod save;
mod search;
pub mod sections;
pub mod statistics;
pub mod subject;
pub mod summary;
pub mod table;
pub mod variant;
