//! Batches of variants: sampling, statistics, the program on plans, other subjects, what survives kills and full disks,
//! a cluster.

mod cluster;
mod durable;
mod lanes;
mod parquet;
mod program;
mod sampling;
mod statistics;
mod subjects;
