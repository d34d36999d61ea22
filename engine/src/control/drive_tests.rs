use std::cell::RefCell;

use proptest::prelude::*;

use super::*;
use crate::circuit::graph::GROUND;
use crate::control::sequence::{Deed, ScheduledEvent, Sequence};
use crate::control::trial::{Trial, same};

const US: f64 = 1e-6;
const NS: f64 = 1e-9;

fn output<L: Lane>(on: f64, off: f64) -> Output<L> {
    let s = L::splat;
    Output {
        on: s(on),
        off: s(off),
        r_on: s(10.0),
        r_off: s(5.0),
        r_soft: s(100.0),
        rise: 20.0 * NS,
        fall: 10.0 * NS,
        starts_on: false,
    }
}

fn gate<L: Lane>(circuit: &mut Circuit<L>, name: &str) -> Gate<L> {
    let node = circuit.node(&format!("{name}.gate"));
    Gate::add(circuit, name, node, GROUND, output(12.0, 0.0)).unwrap()
}

/// Changes of lines: line, instant, state.
fn sequence(changes: &[(LineId, f64, bool)]) -> Sequence {
    let event = |&(line, at, value): &(LineId, f64, bool)| ScheduledEvent {
        at,
        subject: String::new(),
        note: String::new(),
        deed: Deed::Set(line, value),
    };
    Sequence::new("sequence", changes.iter().map(event).collect()).unwrap()
}

/// Edges of a gate in a trial: (instant, whether it turns on).
fn edges<L: Lane>(trial: &Trial<'_, L>, name: &str) -> Vec<(f64, bool)> {
    let ours = trial.kind(EventKind::Edge).into_iter().filter(|e| e.subject == name);
    ours.map(|e| (e.time, e.note == "turns on")).collect()
}

/// Edges of one gate for a course of its command.
fn respond(delays: Delays, command: &[(f64, bool)], step: f64) -> Vec<(f64, bool)> {
    let mut circuit = Circuit::<f64>::new();
    let gate = gate(&mut circuit, "S1");
    let mut trial = Trial::new(&circuit, step, |_, _, _| vec![]);
    let line = trial.board.add_line("command");
    trial.add(sequence(&command.iter().map(|c| (line, c.0, c.1)).collect::<Vec<_>>()));
    trial.add(Drive::new("drive", line, vec![], delays, gate).unwrap());
    trial.run(20.0 * US).unwrap();
    edges(&trial, "S1")
}

#[test]
fn edges_follow_the_command_after_their_delays() {
    let delays = Delays { on: 130.0 * NS, off: 70.0 * NS, dead: 0.0 };
    let command = [(1.0 * US, true), (3.3 * US, false), (5.0 * US, true)];
    let expected = [(1.13 * US, true), (3.37 * US, false), (5.13 * US, true)];
    same(&respond(delays, &command, 0.7 * US), &expected);
    same(&respond(Delays::default(), &command, 0.7 * US), &command);
}

#[test]
fn a_pulse_shorter_than_the_delay_passes_as_it_is() {
    let delays = Delays { on: 300.0 * NS, off: 300.0 * NS, dead: 0.0 };
    let train: Vec<_> = (0..6).map(|k| ((1.0 + 0.05 * f64::from(k)) * US, k % 2 == 0)).collect();
    let later: Vec<_> = train.iter().map(|c| (c.0 + 300.0 * NS, c.1)).collect();
    same(&respond(delays, &train, 0.7 * US), &later);
}

#[test]
fn a_pulse_shorter_than_the_difference_of_the_delays_vanishes() {
    let slow_on = Delays { on: 300.0 * NS, off: 100.0 * NS, dead: 0.0 };
    let command = [(1.0 * US, true), (1.15 * US, false), (2.0 * US, true), (2.25 * US, false)];
    same(&respond(slow_on, &command, 0.7 * US), &[(2.3 * US, true), (2.35 * US, false)]);
    let slow_off = Delays { on: 100.0 * NS, off: 300.0 * NS, dead: 0.0 };
    let command = [(1.0 * US, true), (2.0 * US, false), (2.15 * US, true), (4.0 * US, false)];
    same(&respond(slow_off, &command, 0.7 * US), &[(1.1 * US, true), (4.3 * US, false)]);
}

#[test]
fn an_inhibit_turns_off_softly_and_lets_the_command_through_again() {
    let mut circuit = Circuit::<f64>::new();
    let mut gate = gate(&mut circuit, "S1");
    let (wave, choice) = (gate.wave, gate.choice);
    assert_eq!(circuit.choices[choice.0 as usize].options, [0.1, 0.2, 0.01]);
    let log = RefCell::new(Vec::new());
    let mut trial = Trial::new(&circuit, 5.0 * NS, |_, t, board| {
        log.borrow_mut().push((t, board.driven(wave, t).unwrap(), board.chosen(choice)));
        vec![]
    });
    let [command, trip, state] = ["command", "trip", "state"].map(|n| trial.board.add_line(n));
    gate.state = Some(state);
    trial.add(sequence(&[
        (command, 1.0 * US, true),
        (trip, 2.0 * US, true),
        (trip, 3.0 * US, false),
        (command, 4.0 * US, false),
    ]));
    let delays = Delays { on: 100.0 * NS, off: 100.0 * NS, dead: 0.0 };
    trial.add(Drive::new("drive", command, vec![trip], delays, gate).unwrap());
    trial.run(5.0 * US).unwrap();
    let expected = [(1.1 * US, true), (2.1 * US, false), (3.1 * US, true), (4.1 * US, false)];
    same(&edges(&trial, "S1"), &expected);
    same(&trial.of(state), &expected);
    let notes: Vec<_> = trial.kind(EventKind::Edge).into_iter().map(|e| e.note.as_str()).collect();
    assert_eq!(notes, ["turns on", "turns off softly", "turns on", "turns off"]);
    drop(trial);
    let log = log.into_inner();
    // What held during the step that ended at or just after an instant.
    let at = |t: f64| log.iter().find(|l| l.0 >= t - 1e-15).copied().unwrap();
    for (t, level, option) in [
        (1.05 * US, 0.0, OFF),
        (1.11 * US, 6.0, ON),
        (1.5 * US, 12.0, ON),
        (2.105 * US, 6.0, SOFT),
        (2.5 * US, 0.0, SOFT),
        (3.5 * US, 12.0, ON),
        (4.105 * US, 6.0, OFF),
        (4.5 * US, 0.0, OFF),
    ] {
        let found = at(t);
        assert!((found.1 - level).abs() < 1e-6 && found.2 == option, "{found:?} instead of {level} {option}");
    }
}

#[test]
fn a_trip_takes_back_an_edge_that_has_not_begun() {
    let mut circuit = Circuit::<f64>::new();
    let mut gate = gate(&mut circuit, "S1");
    let mut trial = Trial::new(&circuit, 0.7 * US, |_, _, _| vec![]);
    let [command, trip, state] = ["command", "trip", "state"].map(|n| trial.board.add_line(n));
    gate.state = Some(state);
    trial.add(sequence(&[(command, 1.0 * US, true), (trip, 1.1 * US, true), (trip, 9.0 * US, false)]));
    let delays = Delays { on: 500.0 * NS, off: 100.0 * NS, dead: 0.0 };
    trial.add(Drive::new("drive", command, vec![trip], delays, gate).unwrap());
    trial.run(20.0 * US).unwrap();
    same(&edges(&trial, "S1"), &[(9.5 * US, true)]);
    same(&trial.of(state), &[(9.5 * US, true)]);
}

/// Edges of the two gates of a pair.
fn pair(delays: Delays, command: &[(f64, bool)]) -> [Vec<(f64, bool)>; 2] {
    let mut circuit = Circuit::<f64>::new();
    let (high, low) = (gate(&mut circuit, "high"), gate(&mut circuit, "low"));
    let mut trial = Trial::new(&circuit, 0.7 * US, |_, _, _| vec![]);
    let line = trial.board.add_line("command");
    trial.add(sequence(&command.iter().map(|c| (line, c.0, c.1)).collect::<Vec<_>>()));
    trial.add(Drive::new("pair", line, vec![], delays, high).unwrap().complemented(low).unwrap());
    trial.run(40.0 * US).unwrap();
    ["high", "low"].map(|n| edges(&trial, n))
}

/// Dead time inserted at each of the two transitions by delaying turn-on (Mohan, Undeland & Robbins, *Power
/// Electronics*, section 8-5, from memory).
#[test]
fn dead_time_delays_both_turn_ons() {
    let delays = Delays { on: 100.0 * NS, off: 100.0 * NS, dead: 250.0 * NS };
    let [high, low] = pair(delays, &[(5.0 * US, true), (10.0 * US, false)]);
    same(&high, &[(5.35 * US, true), (10.1 * US, false)]);
    same(&low, &[(0.35 * US, true), (5.1 * US, false), (10.35 * US, true)]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..Default::default() })]

    /// Whatever the command does, the two gates of a pair alternate, with at least the dead time between the one
    /// turning off and the other turning on, and end as the command ends.
    #[test]
    fn a_pair_never_overlaps(widths in prop::collection::vec(10..900_u32, 1..30)) {
        let mut t = 1000;
        let mut command = Vec::new();
        for (k, w) in widths.iter().enumerate() {
            command.push((f64::from(t) * NS, k % 2 == 0));
            t += w;
        }
        let delays = Delays { on: 130.0 * NS, off: 90.0 * NS, dead: 200.0 * NS };
        let [high, low] = pair(delays, &command);
        let mut all: Vec<_> = high.iter().map(|e| (e.0, e.1, 0)).chain(low.iter().map(|e| (e.0, e.1, 1))).collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut on = [false; 2];
        let mut off_since = [f64::NEG_INFINITY; 2];
        for (t, rises, who) in all {
            prop_assert!(on[who] != rises);
            on[who] = rises;
            if rises {
                prop_assert!(!on[1 - who] && t - off_since[1 - who] >= 240.0 * NS - 1e-15);
            } else {
                off_since[who] = t;
            }
        }
        let last = command.last().unwrap().1;
        prop_assert_eq!(on, [last, !last]);
    }
}

#[test]
fn a_gate_that_starts_on_stays_on() {
    let mut circuit = Circuit::<f64>::new();
    let node = circuit.node("gate");
    let mut gate =
        Gate::add(&mut circuit, "S1", node, GROUND, Output { starts_on: true, ..output(12.0, 0.0) }).unwrap();
    let (wave, choice) = (gate.wave, gate.choice);
    let mut trial = Trial::new(&circuit, US, |_, _, _| vec![]);
    let [command, state] = ["command", "state"].map(|n| trial.board.add_line(n));
    gate.state = Some(state);
    trial.board.set(command, true);
    trial.add(Drive::new("drive", command, vec![], Delays::default(), gate).unwrap());
    trial.run(2.0 * US).unwrap();
    assert!(trial.events.is_empty() && trial.board.line(state));
    assert_eq!((trial.board.driven(wave, US), trial.board.chosen(choice)), (Some(12.0), ON));
}

#[test]
fn settings_out_of_range_are_refused() {
    let mut circuit = Circuit::<f64>::new();
    let node = circuit.node("gate");
    let mut refuse = |output: Output<f64>, expected: &str| {
        let text = Gate::add(&mut circuit, "S1", node, GROUND, output).unwrap_err().to_string();
        assert_eq!(text, format!("`S1`: {expected}"));
    };
    refuse(Output { r_soft: 0.0, ..output(12.0, 0.0) }, "r_soft is 0 ohm, expected above zero");
    refuse(output(f64::NAN, 0.0), "on level is NaN V, expected a number");
    let mut circuit = Circuit::<f64>::new();
    let good = gate(&mut circuit, "S2");
    let bad = Gate { rise: 0.0, ..good.clone() };
    let drive = |delays, gate| Drive::new("D", LineId(0), vec![], delays, gate).map(|_| ());
    let text = drive(Delays::default(), bad).unwrap_err().to_string();
    assert_eq!(text, "`S2`: rise time is 0 s, expected above zero");
    let text = drive(Delays { off: -1e-9, ..Delays::default() }, good).unwrap_err().to_string();
    assert_eq!(text, "`D`: turn-off delay is -0.000000001 s, expected zero or above");
}
