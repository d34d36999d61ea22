//! checks
mod common;
// over every model of the catalogue
mod catalogue;
// device laws against published formulas
mod device_laws;
// production models against their statements
mod production_laws;
// values that no model can be built from
mod refused_values;
// facts of the trade
mod trade_facts;
