//! Batches: a scenario, a rating or a dead-time study varied by a plan, on all cores, durable, in shards; and what the table of its variants tells.
//!
//! [`variant::Study::read`] reads a plan; [`variant::Study::run`] runs any variant of it, [`variant::Study::run_block`]
//! those of a [`block`] in lanes; [`carry::carry`] runs them all on threads into a [`journal`]; [`table`] makes the HDF5
//! table and CSV of the rows, [`statistics`] and [`indices`] what they say together.

pub mod block;
pub mod carry;
pub mod distribution;
pub mod indices;
pub mod journal;
pub mod keep;
pub mod list;
pub mod march;
pub mod measure;
pub mod parquet;
pub mod picture;
pub mod plan;
pub mod progress;
pub mod read;
pub mod row;
pub mod sample;
pub mod sections;
pub mod slot;
pub mod statistics;
pub mod subject;
pub mod table;
pub mod tell;
pub mod variant;
