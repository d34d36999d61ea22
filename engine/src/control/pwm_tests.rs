use super::*;
use crate::circuit::graph::Circuit;
use crate::control::sequence::{Deed, ScheduledEvent, Sequence};
use crate::control::trial::{Trial, same};

const US: f64 = 1e-6;

fn settings(command: LineId, duty: Vec<(f64, f64)>) -> Settings {
    Settings { command, complement: None, run: None, frequency: 100e3, phase: 0.0, duty }
}

fn pulses(with: impl Fn(LineId) -> Settings, step: f64, end: f64) -> Vec<(f64, bool)> {
    let mut trial = Trial::<f64>::new(&Circuit::new(), step, |_, _, _| vec![]);
    let command = trial.board.add_line("command");
    trial.add(Pwm::new("modulator", with(command)).unwrap());
    trial.run(end).unwrap();
    trial.of(command)
}

#[test]
fn edges_lie_where_frequency_phase_and_duty_put_them_and_do_not_drift() {
    let with = |c| Settings { phase: 0.25, frequency: 300e3, ..settings(c, vec![(0.0, 0.3)]) };
    let found = pulses(with, 7.0 * US, 10e-3);
    assert_eq!(found.len(), 2 * 3000);
    for (k, pair) in found.chunks(2).enumerate() {
        let begin = (k as f64 + 0.25) / 300e3;
        same(pair, &[(begin, true), (begin + 1e-6, false)]);
    }
}

#[test]
fn a_soft_start_follows_its_table() {
    let found =
        pulses(|c| settings(c, vec![(0.0, 0.0), (40.0 * US, 0.8), (60.0 * US, 1.0)]), 0.3 * US, 95.0 * US);
    // Duty at the start of the pulses at 0, 10 … µs: 0, 0.2, 0.4, 0.6, 0.8, 0.9, 1, 1 …
    let expected = [
        (10.0, true),
        (12.0, false),
        (20.0, true),
        (24.0, false),
        (30.0, true),
        (36.0, false),
        (40.0, true),
        (48.0, false),
        (50.0, true),
        (59.0, false),
        (60.0, true),
    ]
    .map(|(t, on)| (t * US, on));
    same(&found, &expected);
}

#[test]
fn a_duty_that_falls_to_zero_ends_the_pulses() {
    let found =
        pulses(|c| settings(c, vec![(0.0, 1.0), (10.0 * US, 1.0), (20.0 * US, 0.0)]), 3.0 * US, 60.0 * US);
    same(&found, &[(0.0, true), (20.0 * US, false)]);
}

#[test]
fn it_works_while_it_may_from_the_instant_it_may() {
    let mut trial = Trial::<f64>::new(&Circuit::new(), 3.0 * US, |_, _, _| vec![]);
    let [command, run] = ["command", "run"].map(|n| trial.board.add_line(n));
    let change = |at: f64, on| ScheduledEvent {
        at: at * US,
        subject: "run".into(),
        note: String::new(),
        deed: Deed::Set(run, on),
    };
    let changes = [change(4.1, true), change(16.0, false), change(30.0, true)];
    trial.add(Sequence::new("sequence", changes.to_vec()).unwrap());
    trial.add(
        Pwm::new("modulator", Settings { run: Some(run), ..settings(command, vec![(0.0, 0.5)]) }).unwrap(),
    );
    trial.run(38.0 * US).unwrap();
    let expected = [(4.1, true), (9.1, false), (14.1, true), (16.0, false), (30.0, true), (35.0, false)];
    same(&trial.of(command), &expected.map(|(t, on)| (t * US, on)));
    let notes: Vec<_> = trial.kind(EventKind::Control).into_iter().map(|e| e.note.as_str()).collect();
    assert_eq!(notes, ["starts", "stops", "starts"]);
}

#[test]
fn settings_out_of_range_are_refused() {
    let refuse = |with: Settings, expected: &str| {
        assert_eq!(Pwm::new("M", with).unwrap_err().to_string(), format!("`M`: {expected}"));
    };
    let line = LineId(0);
    refuse(settings(line, vec![(0.0, 1.2)]), "duty is 1.2, expected from 0 to 1");
    refuse(settings(line, vec![]), "has no duty");
    refuse(settings(line, vec![(1.0, 0.1), (0.0, 0.2)]), "times of the duty do not rise");
    let good = settings(line, vec![(0.0, 0.5)]);
    refuse(Settings { frequency: f64::NAN, ..good.clone() }, "frequency is NaN Hz, expected above zero");
    refuse(Settings { phase: 1.0, ..good }, "phase is 1 of a period, expected from 0 to below 1");
}

/// The complement is on for what the duty leaves of the period less a dead time at either end; without a pulse it stays
/// on; the output keeps its duty.
#[test]
fn a_complement_is_on_while_the_output_is_off() {
    let run = |duty: Vec<(f64, f64)>, dead: f64, stop: Option<f64>| {
        let mut trial = Trial::<f64>::new(&Circuit::new(), 0.7 * US, |_, _, _| vec![]);
        let [command, other, run] = ["command", "complement", "run"].map(|n| trial.board.add_line(n));
        let change = |at: f64, on| ScheduledEvent {
            at,
            subject: String::new(),
            note: String::new(),
            deed: Deed::Set(run, on),
        };
        let mut changes = vec![change(0.0, true)];
        changes.extend(stop.map(|at| change(at, false)));
        trial.add(Sequence::new("sequence", changes).unwrap());
        let with = Settings { complement: Some((other, dead)), run: Some(run), ..settings(command, duty) };
        trial.add(Pwm::new("modulator", with).unwrap());
        trial.run(40.0 * US).unwrap();
        (trial.of(command), trial.of(other))
    };
    let us = |list: &[(f64, bool)]| list.iter().map(|&(t, on)| (t * US, on)).collect::<Vec<_>>();
    let (output, other) = run(vec![(0.0, 0.3)], 0.5 * US, Some(34.0 * US));
    let pulses = [0.0, 10.0, 20.0, 30.0].map(|t| [(t, true), (t + 3.0, false)]).concat();
    same(&output, &us(&pulses));
    let [a, b, c] = [0.0, 10.0, 20.0].map(|t| [(t + 3.5, true), (t + 9.5, false)]);
    same(&other, &us(&[&a[..], &b, &c, &[(33.5, true), (34.0, false)]].concat()));
    // No dead time: one is on where the other is off, from the first pulse on.
    let (output, other) = run(vec![(0.0, 0.3)], 0.0, None);
    same(&other, &output[1..].iter().map(|c| (c.0, !c.1)).collect::<Vec<_>>());
    // Off, then full: the complement is on until the dead time before the first pulse, then never.
    let (output, other) = run(vec![(0.0, 0.0), (15.0 * US, 0.0), (15.1 * US, 1.0)], 0.5 * US, None);
    same(&output, &us(&[(20.0, true)]));
    same(&other, &us(&[(0.5, true), (19.5, false)]));
    // Full, then off: it waits for the dead time after the fall.
    let (output, other) = run(vec![(0.0, 1.0), (15.0 * US, 1.0), (15.1 * US, 0.0)], 0.5 * US, None);
    same(&output, &us(&[(0.0, true), (20.0, false)]));
    same(&other, &us(&[(20.5, true)]));
    // A dead time that leaves nothing.
    let (output, other) = run(vec![(0.0, 0.5)], 3.0 * US, None);
    assert!(output.len() >= 8 && other.is_empty(), "{output:?} {other:?}");
}
