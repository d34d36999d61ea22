//! checks
mod common;
// breakdown_and_leakage: velocity saturation, breakdown, leakage of a barrier, limits of a gate
mod breakdown_and_leakage;
// avalanche: energy and time in unclamped inductive switching
mod avalanche;
// ratings of avalanches and surges as the program judges them
mod avalanche_ratings;
// batches: sampling, statistics, plans, kills, shards
mod batch;
// broken scenarios and the errors they get
mod broken_scenarios;
// long, damaged and misdirected input; outputs that would destroy something; signals
mod hard_inputs;
// over every model of the catalogue
mod catalogue;
// circuits with closed-form solutions
mod circuit_closed_forms;
// what ideal switches turn into heat at once
mod impulses;
// arrangements and their periodic steady states
mod cycles;
// circuits by chance: they end, and their ledgers close
mod random_circuits;
// drives and protections in a real run against closed forms
mod control;
// bases that stored charge modulates, snap-off; what a superjunction loses per cycle
mod conductivity_modulation;
// control and protection as scenario files say them
mod scenario_control;
// device laws against published formulas
mod device_laws;
// terminal capacitances of parts; charge and energy of the output capacitance
mod output_capacitance;
// parts from points: round trips, noise, published formulas, the program
mod parts_extraction;
// production models against their statements
mod production_laws;
// figures: what is drawn is where it belongs
mod plots;
// limits on what happens
mod event_limits;
// scenarios to begin with
mod new_scenarios;
// energies of switching events against the double pulse
mod switching_energies;
// verdicts as the program gives them
mod verdicts;
// errors and verdicts of cycles, double pulses and missions
mod study_verdicts;
// what the spread of parts does to a run
mod spread;
// the program on scenarios: account, result file, exit codes, schema
mod program;
// default steps and bounds
mod defaults;
// order, damping and stiff behaviour of the stepping methods; windows
mod integrator_order;
// the error that runs tell of their own numbers, against true errors
mod estimates;
// what must not change: charge, energy, numbering, symmetry, bits
mod invariance;
// what is kept between runs
mod cache;
// parts side by side, as the program prints them
mod comparison;
// every study of the catalogue, in every form
mod catalogue_of_studies;
// answers that looked right and were not
mod says_what_it_does;
// the double pulse against charge balance and closed forms
mod double_pulse;
// hard switching of the shipped cascodes
mod hard_switching;
// figures of merit
mod merit;
// measurements against closed forms and the reference solution
mod measurement_definitions;
// modules use their own and lower layers only; no file is long
mod layering;
// circuits stepped by pieces
mod pieces;
// published initial-value problems as circuits
mod published_ivps;
// reverse recovery by charge control against its closed form
mod recovery;
// the engine against the reference solution of REF-1
mod reference_solution;
// values that no model can be built from
mod refused_values;
// reports of runs, studies and batches; browsers and parsers of others
mod reports;
// result files: read back, read from outside, and what killed, starved and long runs leave.
mod result_file;
// technologies side by side, through the invented parts
mod technologies;
// heat networks against closed forms
mod thermal_closed_forms;
// dies whose properties follow the temperature against fine solutions
mod thermal_columns;
// the field solver of layered bodies against closed forms and finite elements
mod thermal_field;
// packages: what they must be, and facts of the trade about them
mod packages;
// scenarios whose heat goes through a package
mod package_coupling;
// impedances of shipped parts against their packages
mod part_chains;
// dual-interface evaluation and structure functions against closed forms
mod interfaces;
// the command that tells thermal impedances
mod impedance;
// heat coupled within an error bound
mod heat_coupling;
// temperature and power coupled: fixed points, runaway, transients, ratings
mod thermal_coupled;
// surge, continuous and shared currents against closed forms
mod rating;
// errors and verdicts of ratings and impedances
mod rating_errors;
// ratings of shipped parts as a user asks for them
mod rating_trade;
// safe operating areas against closed forms
mod safe_operating_area;
// parts and numbers in parallel by hand
mod sizing;
// parts derived from others
mod parts_derive;
// heat paths and ratings of a component's own
mod own_heat;
// the program on other processors
mod travel;
// facts of the trade
mod trade_facts;
// the JFET when hot and when its drain moves fast; channels
mod jfet_laws;
// short circuits of shipped parts against a fine solution by finite differences
mod short_circuits;
// unipolar limits, critical field, mobility; temperature laws against published exponents
mod unipolar_limits;
// measured waveforms beside simulated ones, and fits to them
mod measured;
// closed-loop control, modulation, load steps, saturation against closed forms
mod regulation;
// the viewer: who is let in, exactness, the page in a real browser
mod viewer;
// how much work REF-1 takes
mod work_counters;

// every way of elimination on the same matrices
mod linear_battery;
