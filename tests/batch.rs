//! Batches of variants: sampling, statistics, the program on plans.

mod lanes;
mod program;
mod sampling;
mod statistics;
