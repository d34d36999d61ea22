//! Let-through I²t: with di/dt constant it is ∫ (i₀ + k·t)² dt = (i₁³ − i₀³)/3k (elementary).

use super::*;

#[test]
fn let_through_is_measured_from_the_crossing_to_the_fall() {
    // 0 → 100 A in 10 µs, back to 0 in 20 µs: from 10 A up to 100 A and down to half of 10 A,
    // (100³ − 10³)/(3·10⁷) + (100³ − 5³)/(3·5·10⁶) A²s (integral of a straight line squared;
    // I²t/3 for the whole triangle). An earlier excursion that does not trip is not notes.
    const POINTS: &[(f64, f64)] =
        &[(1e-6, 0.0), (2e-6, 20.0), (3e-6, 0.0), (10e-6, 0.0), (20e-6, 100.0), (40e-6, 0.0)];
    let mut trial = Trial::new(&Circuit::new(), 0.5 * US, through(POINTS));
    let trip = trial.board.add_line("trip");
    let let_through = Some(LetThrough { probe: quantity(0), from: 10.0, fraction: 0.5 });
    let with = settings(trip, Criterion::Level(level(50.0, 0.0)), US);
    trial.add(Protection::new("protection", Settings { let_through, ..with }).unwrap());
    trial.run(60.0 * US).unwrap();
    let cleared = trial.kind(EventKind::Cleared);
    assert_eq!((cleared.len(), cleared[0].unit), (1, "A²s"));
    near(cleared[0].value, (1e6 - 1e3) / 3e7 + (1e6 - 125.0) / 1.5e7, 1e-9);
    near(cleared[0].time, 39.0 * US, 1e-9);
    let expected = "above 10.0 A only, from 0.0110 ms (no start of a fault is marked), peak 100 A";
    assert!(cleared[0].note.contains(expected), "{}", cleared[0].note);
}

/// ∫ i² dt of a current that goes straight from `a` to `b` in `time`.
fn straight(a: f64, b: f64, time: f64) -> f64 {
    time * (a * a + a * b + b * b) / 3.0
}

/// A load of 20 A, a fault at 10 µs (+8 A/µs), 100 A at 20 µs, down to 0 at 40 µs; a retry at 60 µs meets it again.
const FAULT: &[(f64, f64)] = &[
    (10e-6, 20.0),
    (20e-6, 100.0),
    (40e-6, 0.0),
    (60e-6, 0.0),
    (70e-6, 80.0),
    (80e-6, 0.0),
    (90e-6, 0.0),
    (100e-6, 100.0),
    (120e-6, 0.0),
];

/// What is notes of FAULT by a protection at 50 A (10 % of it ends a fault) with one retry 40.75 µs after a trip, and
/// with the marks given.
fn fault_events(marks: &[(f64, bool)]) -> Vec<(f64, f64, String)> {
    let mut trial = Trial::new(&Circuit::new(), 0.5 * US, through(FAULT));
    let trip = trial.board.add_line("trip");
    let mark = |&(at, stands): &(f64, bool)| ScheduledEvent {
        at,
        subject: String::new(),
        note: String::new(),
        deed: Deed::Fault(stands),
    };
    trial.add(Sequence::new("sequence", marks.iter().map(mark).collect()).unwrap());
    let let_through = Some(LetThrough { probe: quantity(0), from: 50.0, fraction: CLEARED });
    // 50 A at 13.75 µs, half a microsecond later the trip; 60 µs is the retry.
    let retry = Retry { number: 2, wait: 45.75 * US, healthy: f64::INFINITY };
    let with = settings(trip, Criterion::Level(level(50.0, 0.0)), 0.5 * US);
    trial.add(Protection::new("protection", Settings { let_through, retry, ..with }).unwrap());
    trial.run(140.0 * US).unwrap();
    let kinds = trial.events.iter().filter(|e| e.kind == EventKind::Scheduled).count();
    assert_eq!(kinds, 0, "a mark makes no event");
    trial.kind(EventKind::Cleared).iter().map(|e| (e.time, e.value, e.note.clone())).collect()
}

#[test]
fn let_through_counts_from_the_start_of_a_fault_and_of_a_retry() {
    let found = fault_events(&[(10.0 * US, true)]);
    assert_eq!(found.len(), 2, "{found:?}");
    // From 20 A at the mark over 100 A to 5 A at 39 µs.
    near(found[0].0, 39.0 * US, 1e-9);
    near(found[0].1, straight(20.0, 100.0, 10e-6) + straight(100.0, 5.0, 19e-6), 1e-9);
    assert_eq!(found[0].2, "let-through I²t since the fault at 0.0100 ms, peak 100 A");
    // The retry begins from nothing, and the fault still stands.
    near(found[1].1, straight(0.0, 80.0, 10e-6) + straight(80.0, 5.0, 9.375e-6), 1e-9);
    assert_eq!(found[1].2, "let-through I²t since the retry at 0.0600 ms, peak 80.0 A");
}

#[test]
fn without_a_mark_let_through_counts_above_the_threshold_and_says_so() {
    let above = |peak: f64, rise: f64, fall: f64| {
        straight(50.0, peak, rise * (1.0 - 50.0 / peak)) + straight(peak, 5.0, fall * (1.0 - 5.0 / peak))
    };
    for marks in [&[][..], &[(5.0 * US, true), (8.0 * US, false)]] {
        let found = fault_events(marks);
        assert_eq!(found.len(), 2, "{found:?}");
        near(found[0].1, straight(50.0, 100.0, 6.25e-6) + straight(100.0, 5.0, 19e-6), 1e-9);
        near(found[1].1, above(80.0, 10e-6, 10e-6), 1e-9);
        for (_, _, note) in &found {
            assert!(
                note.contains("above 50.0 A only") && note.contains("no start of a fault is marked"),
                "{note}"
            );
        }
    }
    // A fault that ended before the retry: the first counts from it, the second from the threshold.
    let found = fault_events(&[(10.0 * US, true), (50.0 * US, false)]);
    near(found[0].1, straight(20.0, 100.0, 10e-6) + straight(100.0, 5.0, 19e-6), 1e-9);
    near(found[1].1, above(80.0, 10e-6, 10e-6), 1e-9);
}
