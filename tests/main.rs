//! checks
mod common;
// broken scenarios and the errors they get
mod broken_scenarios;
// over every model of the catalogue
mod catalogue;
// device laws against published formulas
mod device_laws;
// the engine against the reference solution of REF-1
mod reference_solution;
// facts of the trade
mod trade_facts;
