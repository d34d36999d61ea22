//! checks
mod common;
// drives and guards in a real run against closed forms
mod control;
// device laws against published formulas
mod device_laws;
// the engine against the reference solution of REF-1
mod reference_solution;
// heat networks against closed forms
mod thermal_closed_forms;
// temperature and power coupled: fixed points, runaway, transients, ratings
mod thermal_coupled;
// over every model of the catalogue
mod catalogue;
// production models against their statements
mod production_laws;
// values that no model can be built from
mod refused_values;
// facts of the trade
mod trade_facts;

/// Result files: read back, read from outside, and what killed, starved and long runs leave.
mod result_file;
