//! Windows that the program finds, against equal fine steps.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::method::{ESDIRK4, RODAS4, TR_BDF2};

use crate::common::pulsed::{END, pulsed};
use crate::common::ref1::{Duty, ref1};
use crate::common::reference::{Reference, difference};
use crate::common::rig::{channel, column, fixed, tight, v};

/// Energies ∫v·i of turn-off (2.2 to 3.2 µs) and turn-on (3.2 to 4.2 µs) of REF-1's reference solution, J.
const E_OFF: f64 = 2.5520606779e-05;
const E_ON: f64 = 1.1326611366e-4;

/// REF-1 with windows, against the reference solution. What a bound on each step's local error may come to: some ten
/// steps' errors on the gate's way up (0.2 V/ns) move an edge by 50 ps per mV of bound, and with it 0.4 µJ of the 113
/// µJ (400 V, 20 A); the waveform carries the errors of the steps of one ring, about ten as well, on the mean. (The
/// table of the reference itself is good to 0.05 V rms and 0.65 V in the steepest edge.)
#[test]
fn windows_lose_nothing_that_matters_on_ref1() {
    let reference = Reference::load();
    for (method, bound) in
        [(&ESDIRK4, 1e-2), (&ESDIRK4, 1e-3), (&RODAS4, 1e-2), (&RODAS4, 1e-3), (&TR_BDF2, 1e-3)]
    {
        let r = ref1::<f64>(Duty::DoublePulse).unwrap();
        let [_, switch, .., source, inner] = r.nodes;
        let load = Probe::Branch(r.inductors[0], 0);
        // The drain's current is the load's less the diode's (20 mΩ in series).
        let drain = Probe::Sum(vec![(1.0, load.clone()), (-50.0, Probe::Voltage(switch, inner))]);
        let mut setup = Setup::new(r.circuit);
        setup.method = method;
        if method == &TR_BDF2 {
            // Order 2 wants finer steps than the default's finest, 0.5 ns.
            setup.steps.finest = 15;
        }
        setup.bounds = Bounds::stated(bound, bound);
        setup.channels = vec![channel("v2", v(switch)), channel("i", load)];
        setup.integrals = vec![(Probe::Voltage(switch, source), drain)];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        let energies = [2.2e-6, 3.2e-6, 4.2e-6, 5.2e-6].map(|t| {
            run.advance(t, &mut memory).unwrap();
            run.integral(0)
        });
        let off = (energies[1] - energies[0]) - E_OFF;
        let on = (energies[2] - energies[1]) - E_ON;
        let (worst, mean) = difference(&reference, 1, &memory.time, &column(&memory.samples, 0));
        let (i_worst, _) = difference(&reference, 7, &memory.time, &column(&memory.samples, 1));
        let counters = run.counters();
        println!("{} {bound} V: v {worst:.2e} V worst, {mean:.2e} V rms, i {i_worst:.1e} A", method.name);
        println!("  turn-off {off:+.1e} J, turn-on {on:+.1e} J; {counters:?}");
        assert!(off.abs() < 0.4e-3 * bound && on.abs() < 0.4e-3 * bound, "{off:e} {on:e}");
        assert!(mean < 0.06 + 10.0 * bound && worst < 0.7 + 50.0 * bound, "{worst} {mean}");
        assert!(i_worst < bound + 1e-3, "{i_worst}");
        assert!(run.ledger().relative() < 1e-4, "{}", run.ledger().relative());
    }
}

/// A breaker that trips on its current into a varistor: neither the trip, nor the clamp, nor the end of the current is
/// known beforehand. Against equal steps of 0.2 ns of order 4 (which are within 1e-8 of those of 0.05 ns), at the
/// default bound of 10 mV and at 1 mV; temperatures held, since couplings go by ends of steps. An edge that is late by
/// 50 ps per mV of bound, as above, lets the current rise by 1 mA more: 4.5 µJ of the varistor's 0.2 J (400 V, 87 A,
/// and what the bus adds while 650 V bring the current down); the edge itself (650 V · 87 A / 2) costs the MOSFET 1.5
/// µJ; and the current ends 0.13 ns later, whose ringing (300 V, 2 MHz, a quarter of the time) is then off by 0.2 V on
/// the mean.
#[test]
fn windows_find_what_no_schedule_announces() {
    for bound in [1e-2, 1e-3] {
        let mut memory = InMemory::default();
        let (mut setup, drain) = pulsed();
        setup.thermal = None;
        setup.bounds = Bounds::stated(bound, bound);
        setup.channels = vec![channel("v", v(drain))];
        let mut found = setup.ready().unwrap();
        found.advance(END, &mut memory).unwrap();
        let (mut setup, drain) = pulsed();
        setup.thermal = None;
        setup.method = &ESDIRK4;
        setup.steps = fixed(0.2e-9);
        setup.tolerance = Some(tight());
        let mut uniform = setup.ready().unwrap();
        let (mut worst, mut at, mut square, mut before) = (0.0f64, 0.0, 0.0, 0.0);
        for (t, sample) in memory.time.iter().zip(&memory.samples) {
            uniform.advance(*t, &mut ()).unwrap();
            let off = (uniform.read(&v(drain)) - sample[0]).abs();
            if off > worst {
                (worst, at) = (off, *t);
            }
            square += off * off * (t - before);
            before = *t;
        }
        let rms = (square / END).sqrt();
        println!("{bound} V: {worst:.3e} V worst at {at:e} s, {rms:.3e} V rms");
        println!("{:?}\n{:?}", found.counters(), uniform.counters());
        let energies = |run: &Run<f64>| {
            let ledger = run.ledger();
            ["D", "L", "M", "V"].map(|n| ledger.entries.iter().find(|e| e.name == n).unwrap().dissipated)
        };
        // Diode, inductor, MOSFET, varistor: J per V of bound.
        let due = [1.5e-3, 1.5e-3, 1.5e-3, 4.5e-3];
        for ((a, b), due) in energies(&found).into_iter().zip(energies(&uniform)).zip(due) {
            println!("{a:e} {b:e} {:.1e}", a / b - 1.0);
            assert!((a - b).abs() < due * bound, "{a:e} {b:e}");
        }
        assert!(rms < 200.0 * bound, "{rms}");
        assert!(found.counters().steps * 10 < uniform.counters().steps);
    }
}
