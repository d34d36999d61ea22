//! checks
mod common;
// broken scenarios and the errors they get
mod broken_scenarios;
// over every model of the catalogue
mod catalogue;
// drives and guards in a real run against closed forms
mod control;
// device laws against published formulas
mod device_laws;
// the engine against the reference solution of REF-1
mod reference_solution;
// facts of the trade
mod trade_facts;
// heat networks against closed forms
mod thermal_closed_forms;
// temperature and power coupled: fixed points, runaway, transients, ratings
mod thermal_coupled;

/// Result files: read back, read from outside, and what killed, starved and long runs leave.
mod result_file;
