//! checks

/// Result files: read back, read from outside, and what killed, starved and long runs leave.
mod result_file;
