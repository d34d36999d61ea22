use super::*;
use crate::circuit::graph::{Circuit, GROUND};
use crate::control::crossing::Sense;
use crate::control::detect::{Blanking, Cooling, InverseTime, Level};
use crate::control::drive::{Delays, Drive, Gate, Output};
use crate::control::let_through::CLEARED;
use crate::control::sequence::{Deed, ScheduledEvent, Sequence};
use crate::control::trial::{Trial, quantity, same};

const US: f64 = 1e-6;
const MS: f64 = 1e-3;

fn level(threshold: f64, filter: f64) -> Level<f64> {
    let (probe, sense) = (quantity(0), Sense::Above);
    Level { probe, sense, threshold, blanking: None, filter }
}

fn settings(trip: LineId, criterion: Criterion<f64>, delay: f64) -> Settings<f64> {
    let (criteria, retry) = (vec![criterion], Retry::NONE);
    Settings { criteria, delay, trip, retry, reset: None, let_through: None }
}

fn sequence(changes: &[(LineId, f64, bool)]) -> Sequence {
    let event = |&(line, at, value): &(LineId, f64, bool)| ScheduledEvent {
        at,
        subject: String::new(),
        note: String::new(),
        deed: Deed::Set(line, value),
    };
    Sequence::new("sequence", changes.iter().map(event).collect()).unwrap()
}

fn events(trial: &Trial<'_, f64>, kind: EventKind) -> Vec<(f64, f64)> {
    trial.kind(kind).into_iter().map(|e| (e.time, e.value)).collect()
}

fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "found {found}, expected {expected}");
}

/// A course through points (s, A), straight between them.
fn through(points: &'static [(f64, f64)]) -> impl FnMut(f64, f64, &Board<f64>) -> Vec<f64> {
    let wave = crate::circuit::wave::Wave::Points(points.to_vec());
    move |_, t, _| vec![wave.at(t)]
}

#[test]
fn a_crossing_between_boundaries_is_found_and_the_line_set_exactly() {
    // 1 A/µs through 10.35 A; 3 µs filter, 2 µs delay; steps of 1 µs.
    let mut trial = Trial::<f64>::new(&Circuit::new(), US, |_, t, _| vec![t / US]);
    let trip = trial.board.add_line("trip");
    trial.add(
        Protection::new("protection", settings(trip, Criterion::Level(level(10.35, 3.0 * US)), 2.0 * US))
            .unwrap(),
    );
    trial.run(30.0 * US).unwrap();
    same(&trial.of(trip), &[(15.35 * US, true)]);
    let events: Vec<_> = trial.events.iter().map(|e| (e.kind, e.note.as_str(), e.unit)).collect();
    let locked = (EventKind::LockOut, "0 of 0 retries used", "");
    assert_eq!(events, [(EventKind::Trip, "above 10.35 V", "V"), locked]);
    near(trial.events[0].time, 15.35 * US, 1e-12);
    near(trial.events[0].value, 15.35, 1e-12);
}

#[test]
fn falling_below_resets_the_filter() {
    // Above 1 A for 3.5 µs, then for 4.5 µs: only the second lasts the filter of 4 µs.
    const POINTS: &[(f64, f64)] = &[
        (1e-6, 0.0),
        (2e-6, 2.0),
        (5e-6, 2.0),
        (5.5e-6, 0.0),
        (7e-6, 0.0),
        (8e-6, 2.0),
        (12e-6, 2.0),
        (13e-6, 0.0),
    ];
    for sign in [1.0, -1.0] {
        let mut course = through(POINTS);
        let mut trial =
            Trial::<f64>::new(&Circuit::new(), 0.25 * US, |a, b, c| vec![sign * course(a, b, c)[0]]);
        let trip = trial.board.add_line("trip");
        let sense = if sign > 0.0 { Sense::Above } else { Sense::Below };
        let other = Level { sense, threshold: sign, ..level(1.0, 4.0 * US) };
        trial.add(Protection::new("protection", settings(trip, Criterion::Level(other), 0.1 * US)).unwrap());
        trial.run(20.0 * US).unwrap();
        same(&trial.of(trip), &[(11.6 * US, true)]);
    }
}

#[test]
fn a_magnitude_that_swings_through_zero_begins_its_filter_anew() {
    // +4 A to −4 A within one step: below 2 A between 5.25 and 5.75 µs.
    const POINTS: &[(f64, f64)] = &[(0.0, 4.0), (5e-6, 4.0), (6e-6, -4.0)];
    let mut trial = Trial::new(&Circuit::new(), US, through(POINTS));
    let trip = trial.board.add_line("trip");
    let criterion = Level { sense: Sense::Magnitude, ..level(2.0, 5.5 * US) };
    trial.add(Protection::new("protection", settings(trip, Criterion::Level(criterion), 0.0)).unwrap());
    trial.run(20.0 * US).unwrap();
    same(&trial.of(trip), &[(11.25 * US, true)]);
}

/// Fault current at turn-off with blanking and propagation delay (derived from the R-L circuit):
/// i = V/R + (I₀ − V/R)·exp(−tR/L), turn-off at max(t_cross, t_blank) + t_delay.
#[test]
fn a_fault_behind_resistance_and_inductance_trips_where_its_closed_form_says() {
    struct Case {
        v: f64,
        r: f64,
        l: f64,
        i0: f64,
        blank: f64,
        delay: f64,
        threshold: f64,
        t_cross: f64,
        i_off: f64,
    }
    let cases = [
        Case {
            v: 400.0,
            r: 0.05,
            l: 2e-6,
            i0: 30.0,
            blank: 5e-7,
            delay: 3e-7,
            threshold: 120.0,
            t_cross: 4.54263557293437e-07,
            i_off: 187.81657374516,
        },
        Case {
            v: 48.0,
            r: 0.01,
            l: 5e-7,
            i0: 10.0,
            blank: 2e-6,
            delay: 2e-7,
            threshold: 80.0,
            t_cross: 7.36080591267993e-07,
            i_off: 216.190543704106,
        },
    ];
    for c in cases {
        let end = c.v / c.r;
        let current = |t: f64| end + (c.i0 - end) * f64::exp(-t * c.r / c.l);
        let mut trial = Trial::<f64>::new(&Circuit::new(), 2e-9, |_, t, _| vec![current(t)]);
        let [on, trip, unblanked] = ["on", "trip", "unblanked"].map(|n| trial.board.add_line(n));
        let blanking = Some(Blanking { line: on, time: c.blank, only_on: false });
        // The fault begins as the switch turns on.
        trial.add(sequence(&[(on, 0.0, true)]));
        let with = Criterion::Level(Level { blanking, ..level(c.threshold, 0.0) });
        trial.add(Protection::new("protection", settings(trip, with, c.delay)).unwrap());
        let without = Criterion::Level(level(c.threshold, 0.0));
        trial.add(Protection::new("other", settings(unblanked, without, c.delay)).unwrap());
        trial.run(3.0 * US).unwrap();
        let trips = trial.kind(EventKind::Trip);
        let of = |name: &str| *trips.iter().find(|e| e.subject == name).unwrap();
        near(of("protection").value, c.i_off, 1e-6);
        near(of("protection").time, c.blank + c.delay, 1e-12);
        near(of("other").time - c.delay, c.t_cross, 1e-6);
        same(&trial.of(trip), &[(c.blank + c.delay, true)]);
    }
}

#[test]
fn desaturation_is_looked_for_only_while_the_gate_is_on() {
    // The watched voltage is high while the gate is off, falls 0.4 µs after turn-on, and stays high at the second
    // turn-on: a short circuit.
    let mut circuit = Circuit::<f64>::new();
    let node = circuit.node("gate");
    let output = Output {
        on: 12.0,
        off: 0.0,
        r_on: 1.0,
        r_off: 1.0,
        r_soft: 1.0,
        rise: 10e-9,
        fall: 10e-9,
        starts_on: false,
    };
    let gate = Gate::add(&mut circuit, "S1", node, GROUND, output).unwrap();
    let mut trial = Trial::new(&circuit, 0.7 * US, |_, t, board| {
        let gate = (0..board.lines()).map(|k| LineId(k as u32)).find(|&l| board.line_name(l) == "state");
        let on_for = gate.filter(|&l| board.line(l)).map_or(0.0, |l| t - board.since(l));
        vec![if t < 8.0 * US && on_for > 0.4 * US { 2.0 } else { 300.0 }]
    });
    let [command, state, trip] = ["command", "state", "trip"].map(|n| trial.board.add_line(n));
    let gate = Gate { state: Some(state), ..gate };
    trial.add(sequence(&[(command, 1.0 * US, true), (command, 4.0 * US, false), (command, 9.0 * US, true)]));
    let blanking = Some(Blanking { line: state, time: 1.2 * US, only_on: true });
    let with = Criterion::Level(Level { blanking, ..level(7.0, 0.1 * US) });
    trial.add(Protection::new("desaturation", settings(trip, with, 0.05 * US)).unwrap());
    let delays = Delays { on: 0.2 * US, off: 0.15 * US, dead: 0.0 };
    trial.add(Drive::new("drive", command, vec![trip], delays, gate).unwrap());
    trial.run(15.0 * US).unwrap();
    // 9 + 0.2 turn-on, + 1.2 blanking, + 0.1 filter, + 0.05 delay; then 0.15 to the soft edge.
    same(&trial.of(trip), &[(10.55 * US, true)]);
    let states = [(1.2, true), (4.15, false), (9.2, true), (10.7, false)].map(|(t, on)| (t * US, on));
    same(&trial.of(state), &states);
    assert_eq!(trial.kind(EventKind::Edge).last().unwrap().note, "turns off softly");
}

#[test]
fn it_retries_into_a_persisting_fault_and_locks_out() {
    // 2 A/µs while the trip line is false, none while it is set.
    let mut current = 0.0;
    let mut trial = Trial::<f64>::new(&Circuit::new(), 0.6 * US, move |before, t, board| {
        current = if board.lines() > 0 && board.line(LineId(0)) { 0.0 } else { current + 2e6 * (t - before) };
        vec![current]
    });
    let trip = trial.board.add_line("trip");
    let retry = Retry { number: 2, wait: 30.0 * US, healthy: 1.0 };
    let criterion = Criterion::Level(level(10.0, US));
    trial.add(
        Protection::new("protection", Settings { retry, ..settings(trip, criterion, 0.5 * US) }).unwrap(),
    );
    trial.run(200.0 * US).unwrap();
    // 10 A after 5 µs, trips after 6.5 with 13 A; again 6.5 after each retry.
    let expected = [6.5, 36.5, 43.0, 73.0, 79.5].map(|t| t * US);
    same(&trial.of(trip), &std::array::from_fn::<_, 5, _>(|k| (expected[k], k % 2 == 0)));
    let kinds: Vec<_> = trial.events.iter().map(|e| e.kind).collect();
    use EventKind::{LockOut, Retry as Again, Trip};
    assert_eq!(kinds, [Trip, Again, Trip, Again, Trip, LockOut]);
    for (_, value) in events(&trial, Trip) {
        near(value, 13.0, 1e-9);
    }
    assert_eq!(trial.kind(LockOut)[0].note, "2 of 2 retries used");
    assert_eq!(events(&trial, Again).iter().map(|e| e.1).collect::<Vec<_>>(), [1.0, 2.0]);
}

#[test]
fn a_healthy_time_begins_the_count_anew_and_a_reset_ends_a_lock_out() {
    // Short faults at 10, 50, 200 and 230 µs; one retry; healthy after 100 µs.
    let fault = |t: f64| [10.0, 50.0, 200.0, 230.0].iter().any(|f| (t / US - f - 1.0).abs() < 1.0);
    let mut trial =
        Trial::<f64>::new(&Circuit::new(), 0.5 * US, |_, t, _| vec![if fault(t) { 2.0 } else { 0.0 }]);
    let [trip, reset] = ["trip", "reset"].map(|n| trial.board.add_line(n));
    trial.add(sequence(&[(reset, 100.0 * US, true), (reset, 101.0 * US, false)]));
    let retry = Retry { number: 1, wait: 20.0 * US, healthy: 100.0 * US };
    let with = settings(trip, Criterion::Level(level(1.0, 0.0)), US);
    trial.add(Protection::new("protection", Settings { retry, reset: Some(reset), ..with }).unwrap());
    trial.run(300.0 * US).unwrap();
    use EventKind::{Control, LockOut, Retry as Again, Trip};
    let kinds: Vec<_> = trial.events.iter().map(|e| e.kind).filter(|k| *k != EventKind::Scheduled).collect();
    assert_eq!(kinds, [Trip, Again, Trip, LockOut, Control, Trip, Again, Trip, LockOut]);
    near(trial.kind(Control)[0].time, 100.0 * US, 1e-12);
    assert!(trial.of(trip).contains(&(100.0 * US, false)));

    // The same without a reset, the faults further apart than the healthy time: never locked out.
    let fault = |t: f64| [10.0, 150.0, 290.0].iter().any(|f| (t / US - f - 1.0).abs() < 1.0);
    let mut trial =
        Trial::<f64>::new(&Circuit::new(), 0.5 * US, |_, t, _| vec![if fault(t) { 2.0 } else { 0.0 }]);
    let trip = trial.board.add_line("trip");
    let with = settings(trip, Criterion::Level(level(1.0, 0.0)), US);
    trial.add(Protection::new("protection", Settings { retry, ..with }).unwrap());
    trial.run(400.0 * US).unwrap();
    assert_eq!((trial.kind(Trip).len(), trial.kind(LockOut).len()), (3, 0));
}

fn inverse_time(cooling: Cooling) -> Criterion<f64> {
    let probe = quantity(0);
    Criterion::InverseTime(InverseTime { probe, pick_up: 12.0, rated: 10.0, limit: 3.0, cooling })
}

fn trips_at(criterion: Criterion<f64>, points: &'static [(f64, f64)], step: f64) -> Option<f64> {
    let mut trial = Trial::new(&Circuit::new(), step, through(points));
    let trip = trial.board.add_line("trip");
    // Long enough a delay for the instant to be exact on a coarse grid.
    trial.add(Protection::new("protection", settings(trip, criterion, MS)).unwrap());
    // Boundaries at the corners, as a circuit's sources make them.
    let corner = |p: &(f64, f64)| (LineId(0), p.0, false);
    trial.add(sequence(&points.iter().map(corner).collect::<Vec<_>>()));
    trial.run(100.0 * MS).unwrap();
    trial.kind(EventKind::Trip).first().map(|e| e.time - MS)
}

#[test]
fn an_inverse_time_trip_has_its_closed_form_instants() {
    let slow = Cooling::Rate(1.0);
    // Constant: 3 / (20² − 10²) = 10 ms; below pick-up never.
    near(trips_at(inverse_time(slow), &[(0.0, 20.0)], 0.3 * MS).unwrap(), 10.0 * MS, 1e-12);
    near(trips_at(inverse_time(slow), &[(0.0, -20.0)], 0.7 * MS).unwrap(), 10.0 * MS, 1e-12);
    assert_eq!(trips_at(inverse_time(slow), &[(0.0, 11.9)], 0.3 * MS), None);
    // A ramp of 1 A/ms from 0: the integral from pick-up at 12 ms, (i³ − 12³)/3 − 100·(i − 12) in A²·ms, is 3000
    // where it trips.
    let i = trips_at(inverse_time(slow), &[(0.0, 0.0), (0.1, 100.0)], 0.9 * MS).unwrap() / MS;
    near((i.powi(3) - 12.0_f64.powi(3)) / 3.0 - 100.0 * (i - 12.0), 3000.0, 1e-10);
    // 5 ms on (1.5 A²s), 3 ms off, then on until the rest is filled.
    const BREAK: &[(f64, f64)] =
        &[(0.0, 20.0), (5e-3, 20.0), (5e-3 + 1e-12, 0.0), (8e-3, 0.0), (8e-3 + 1e-12, 20.0)];
    let found = trips_at(inverse_time(Cooling::Rate(100.0)), BREAK, 0.3 * MS).unwrap();
    near(found, 8e-3 + (3.0 - 1.2) / 300.0, 1e-9);
    let found = trips_at(inverse_time(Cooling::TimeConstant(4e-3)), BREAK, 0.3 * MS).unwrap();
    near(found, 8e-3 + (3.0 - 1.5 * f64::exp(-0.75)) / 300.0, 1e-9);
    // Cooled to nothing, not below.
    let found = trips_at(inverse_time(Cooling::Rate(1e6)), BREAK, 0.3 * MS).unwrap();
    near(found, 8e-3 + 0.01, 1e-9);
}

#[test]
fn the_first_criterion_that_is_met_trips() {
    let mut trial = Trial::<f64>::new(&Circuit::new(), US, |_, t, _| vec![t / US]);
    let trip = trial.board.add_line("trip");
    let mut with = settings(trip, Criterion::Level(level(10.0, 8.0 * US)), 2.0 * US);
    with.criteria.push(Criterion::Level(level(12.5, US)));
    trial.add(Protection::new("protection", with).unwrap());
    trial.run(30.0 * US).unwrap();
    same(&trial.of(trip), &[(15.5 * US, true)]);
    assert_eq!(trial.events[0].note, "above 12.5 V");
}

#[test]
fn settings_out_of_range_are_refused() {
    let refuse = |with: Settings<f64>, expected: &str| {
        assert_eq!(Protection::new("G", with).unwrap_err().to_string(), format!("`G`: {expected}"));
    };
    let base = |c| settings(LineId(0), c, 0.0);
    let good = || Criterion::Level(level(1.0, 0.0));
    refuse(Settings { criteria: vec![], ..base(good()) }, "has nothing to trip on");
    refuse(
        base(Criterion::Level(level(f64::NAN, 0.0))),
        "threshold is NaN, expected a number, not below zero",
    );
    refuse(base(Criterion::Level(level(1.0, -1.0))), "filter time is -1 s, expected zero or above");
    let retry = Retry { number: 1, wait: 0.0, healthy: 1.0 };
    refuse(Settings { retry, ..base(good()) }, "waiting time is 0 s, expected above zero");
    refuse(base(inverse_time(Cooling::Rate(0.0))), "cooling is 0 A², expected above zero");
    let let_through = Some(LetThrough { probe: quantity(0), from: 10.0, fraction: 1.5 });
    let expected = "let-through ends at the fraction 1.5, expected above 0 and at most 1";
    refuse(Settings { let_through, ..base(good()) }, expected);
}

#[path = "let_through_tests.rs"]
mod let_through;
