//! Batches of variants: sampling, statistics, the program on plans.

mod program;
mod sampling;
mod statistics;
