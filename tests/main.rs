//! checks
mod common;
// device laws against published formulas
mod device_laws;
// the engine against the reference solution of REF-1
mod reference_solution;
