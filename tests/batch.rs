//! Batches of variants: sampling, statistics, the program on plans, other subjects, what survives kills and full disks,
//! a cluster.

#[cfg(unix)]
mod cluster;
mod durable;
mod errors;
#[cfg(unix)]
mod kubernetes;
mod lanes;
mod near;
mod parquet;
mod program;
mod sampling;
mod shipped;
mod statistics;
mod studies;
mod subjects;
