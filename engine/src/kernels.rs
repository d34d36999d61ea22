//! What is compiled here once, so that no crate above compiles it again.
//!
//! A generic function is compiled where it is used, but for one thing: a function marked `#[inline(never)]` that a
//! crate below has compiled with the same types is taken from there (rustc since 1.85, in every profile). So the
//! entries through which other crates reach the stepping loop bear that mark, and here they are named for one, four and
//! eight lanes, which compiles them and all that they call. What a new entry needs is the mark and its line in a list
//! below; what comes without them is compiled wherever it is used: `.ci/run` looks for that.
//!
//! Device laws are compiled the same way where they are placed into a circuit, in the crate of the models
//! ([`Lawful`](crate::circuit::lawful::Lawful) bears the marks): for one lane by the function that places them, for more
//! by the law's own `in_lanes`.

use std::hint::black_box;

use wide::{f64x4, f64x8};

use crate::circuit::graph::Circuit;
use crate::circuit::index;
use crate::circuit::lockstep::DeviceLanes;
use crate::circuit::topology;
use crate::control::Controller;
use crate::control::board::Board;
use crate::control::carrier::Carrier;
use crate::control::drive::Drive;
use crate::control::hysteretic::Hysteretic;
use crate::control::protection::Protection;
use crate::control::pwm::Pwm;
use crate::control::sequence::Sequence;
use crate::equations::system::System;
use crate::run::abreast::Abreast;
use crate::run::saved::Saved;
use crate::run::setup::Setup;
use crate::run::time_loop::Run;
use crate::thermal::modal::Modal;
use crate::thermal::run::Thermal;

/// A compiled function.
type Code = *const ();

/// Names all of them. Of no use at run time: that it is here has them compiled.
#[inline(never)]
pub fn kernels() {
    black_box((lanes::<f64>(), one_lane(), abreast::<f64x4>(), abreast::<f64x8>(), controllers()));
}

/// What works in any number of lanes.
fn lanes<L: DeviceLanes>() -> Vec<Code> {
    vec![
        // circuits
        Circuit::<L>::new as Code,
        Circuit::<L>::node as Code,
        Circuit::<L>::add as Code,
        Circuit::<L>::device as Code,
        Circuit::<L>::resistor as Code,
        Circuit::<L>::capacitor as Code,
        Circuit::<L>::inductor as Code,
        Circuit::<L>::coupled_inductors as Code,
        Circuit::<L>::voltage_source as Code,
        Circuit::<L>::current_source as Code,
        Circuit::lockstep::<L> as Code,
        // equations
        System::<L>::new as Code,
        System::<L>::devices_at as Code,
        System::<L>::stamps as Code,
    ]
}

/// Runs in lanes.
fn abreast<L: DeviceLanes>() -> Vec<Code> {
    let mut all = lanes::<L>();
    all.extend([
        Abreast::<L>::like as Code,
        Abreast::<L>::fits as Code,
        Abreast::<L>::seat as Code,
        Abreast::<L>::advance as Code,
    ]);
    all
}

/// What has one lane.
fn one_lane() -> Vec<Code> {
    vec![
        topology::examine::<f64> as Code,
        index::of_index_two::<f64> as Code,
        // control
        Board::<f64>::new as Code,
        Board::<f64>::add_line as Code,
        // heat
        Modal::<f64>::new as Code,
        Modal::<f64>::of_compact as Code,
        Modal::<f64>::step_response as Code,
        Modal::<f64>::steady_resistance as Code,
        Modal::<f64>::steady_resistances as Code,
        Modal::<f64>::impedance as Code,
        Modal::<f64>::beside as Code,
        Thermal::<f64>::new as Code,
        Thermal::<f64>::node_temperature as Code,
        Thermal::<f64>::set_boundary as Code,
        Thermal::<f64>::advance as Code,
        Thermal::<f64>::start_steady as Code,
        Thermal::<f64>::start_periodic as Code,
        Thermal::<f64>::start_uniform as Code,
        Thermal::<f64>::start_nodes as Code,
        Thermal::<f64>::start_holding as Code,
        Thermal::<f64>::restore as Code,
        // runs
        Setup::<f64>::new as Code,
        Setup::<f64>::ready as Code,
        Run::advance as Code,
        Run::finish as Code,
        Run::read as Code,
        Run::ledger as Code,
        Run::readings as Code,
        Run::save as Code,
        Run::restore as Code,
        <Saved<f64> as Clone>::clone as Code,
        Run::displace as Code,
        Run::adopt as Code,
        Run::hold as Code,
        Run::new_account as Code,
        Run::watch_anew as Code,
        Run::reorder as Code,
    ]
}

/// Everything that a controller in a box can do.
fn controllers() -> Vec<Code> {
    fn boxed<C: Controller<f64>>(controller: C) -> Box<dyn Controller<f64>> {
        Box::new(controller)
    }
    vec![
        boxed::<Carrier> as Code,
        boxed::<Drive<f64>> as Code,
        boxed::<Protection> as Code,
        boxed::<Hysteretic> as Code,
        boxed::<Pwm> as Code,
        boxed::<Sequence> as Code,
    ]
}
