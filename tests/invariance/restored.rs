//! Runs put aside and taken up again, and runs repeated: the same bits.

use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::time_loop::Run;

use crate::common::pulsed::{END, pulsed};

/// Everything that a run's end shows, as bits.
fn bits(run: &Run<f64>) -> Vec<u64> {
    let s = run.state();
    let ledger = run.ledger();
    let seen = run.watcher().seen();
    let watched = seen.iter().flat_map(|s| [s.least, s.least_at, s.largest, s.largest_at]);
    let numbers = [s.t, run.integral(0), ledger.residual, ledger.turnover].into_iter();
    let all = numbers
        .chain(s.x.iter().copied())
        .chain(s.q.iter().copied())
        .chain(s.k.iter().copied())
        .chain(s.power.iter().copied())
        .chain(s.energy.iter().copied())
        .chain(s.kelvin.iter().copied())
        .chain(run.celsius().iter().copied())
        .chain(watched);
    all.map(f64::to_bits).collect()
}

fn samples(memory: &InMemory<f64>, from: f64) -> Vec<u64> {
    let later = memory.time.iter().zip(&memory.samples).filter(|(t, _)| **t > from);
    later.flat_map(|(t, s)| [t.to_bits()].into_iter().chain(s.iter().map(|x| x.to_bits()))).collect()
}

/// Events and rows, as text: some have no value (NaN), which equals nothing.
fn describe(memory: &InMemory<f64>) -> String {
    format!("{:?} {:?}", memory.events, memory.rows)
}

/// Saved while the switch is on (orders pending, protection armed, diode heating), in the clamp, and at the very start;
/// restored in the same run after its end, and in a fresh one.
#[test]
fn a_restored_run_goes_on_with_the_same_bits() {
    for at in [0.0, 3.1e-6, 5.6e-6, 7.77e-6] {
        let mut run = pulsed().0.ready().unwrap();
        run.advance(at, &mut ()).unwrap();
        let saved = run.save();
        assert_eq!(saved.t(), run.state().t);
        let mut first = InMemory::default();
        run.advance(END, &mut first).unwrap();
        let (end, counters) = (bits(&run), run.counters());
        run.restore(&saved);
        let mut second = InMemory::default();
        run.advance(END, &mut second).unwrap();
        assert_eq!(counters, run.counters());
        assert!(end == bits(&run), "restored in the same run at {at:e}");
        assert!(samples(&first, at) == samples(&second, at) && describe(&first) == describe(&second));
        assert!(first.thermal == second.thermal);
        let mut fresh = pulsed().0.ready().unwrap();
        fresh.restore(&saved);
        fresh.advance(END, &mut ()).unwrap();
        assert!(end == bits(&fresh), "restored in a fresh run at {at:e}");
        assert!(counters.couplings >= 15 && counters.windows >= 4, "{counters:?}");
        // It was no idle run: it tripped, clamped and heated.
        if at < 1e-6 {
            println!("{:?}\n{:?} °C", first.events, run.celsius());
            assert!(first.events.len() >= 4 && run.celsius().iter().all(|&t| t > 41.0));
        }
    }
}

/// What another course made of the run between saving and restoring leaves no trace.
#[test]
fn a_detour_leaves_no_trace() {
    let mut straight = pulsed().0.ready().unwrap();
    straight.advance(4e-6, &mut ()).unwrap();
    let mut run = pulsed().0.ready().unwrap();
    run.advance(4e-6, &mut ()).unwrap();
    let saved = run.save();
    // To the end, and then many small stretches from the point again.
    run.advance(END, &mut ()).unwrap();
    run.restore(&saved);
    for k in 1..40 {
        run.advance(4e-6 + 1.234e-7 * f64::from(k), &mut ()).unwrap();
    }
    run.restore(&saved);
    for stop in [6e-6, 9e-6, END] {
        straight.advance(stop, &mut ()).unwrap();
        run.advance(stop, &mut ()).unwrap();
        assert!(bits(&straight) == bits(&run), "at {stop:e}");
    }
}

/// The same setup twice: the same bits, counters, events and samples.
#[test]
fn two_runs_of_one_setup_have_the_same_bits() {
    let solve = || {
        let mut memory = InMemory::default();
        let mut run = pulsed().0.ready().unwrap();
        run.advance(END, &mut memory).unwrap();
        run.finish(&mut memory);
        (bits(&run), samples(&memory, -1.0), run.counters(), describe(&memory))
    };
    let (a, b) = (solve(), solve());
    assert!(a.0 == b.0 && a.1 == b.1 && a.2 == b.2 && a.3 == b.3);
}
