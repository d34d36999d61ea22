//! Facts of the trade that a practitioner expects of a cascode stack (common practice, no source).
