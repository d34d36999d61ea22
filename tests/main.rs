//! checks
mod common;
// device laws against published formulas
mod device_laws;
