//! checks
mod common;
// circuits with closed-form solutions
mod circuit_closed_forms;
// drives and guards in a real run against closed forms
mod control;
// device laws against published formulas
mod device_laws;
// order, damping and stiff behaviour of the stepping methods; windows
mod integrator_order;
// what must not change: charge, energy, numbering, symmetry, bits
mod invariance;
// modules use their own and lower layers only; no file is long
mod layering;
// published initial-value problems as circuits
mod published_ivps;
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
// how much work REF-1 takes
mod work_counters;
