use super::*;
use crate::circuit::graph::Circuit;
use crate::control::sequence::{Deed, ScheduledEvent, Sequence};
use crate::control::trial::{Trial, quantity, same};

const US: f64 = 1e-6;

fn settings(command: LineId, run: Option<LineId>) -> Settings<f64> {
    Settings {
        probe: quantity(0),
        // Off the values at boundaries, so that round-off decides nothing.
        lower: 5.1,
        upper: 9.9,
        command,
        run,
        min_on: 0.0,
        min_off: 0.0,
        delay: 0.0,
        until: None,
    }
}

/// A current that rises at 1 A/µs while the command is on and falls at 0.5 A/µs, not below zero, while it is off; and
/// the charge it leaves on a capacitor of 1 µF, in V.
fn trial<'a>(step: f64, mut current: f64) -> Trial<'a, f64> {
    let mut voltage = 0.0;
    Trial::new(&Circuit::new(), step, move |before, t, board| {
        let slope = if board.lines() > 0 && board.line(LineId(0)) { 1e6 } else { -0.5e6 };
        let was = current;
        current = f64::max(current + slope * (t - before), 0.0);
        voltage += 0.5 * (was + current) * (t - before) / 1e-6;
        vec![current, voltage]
    })
}

#[test]
fn a_ripple_has_its_closed_form_instants() {
    let mut trial = trial(0.25 * US, 0.0);
    let command = trial.board.add_line("command");
    trial.add(Hysteretic::new("precharge", settings(command, None)).unwrap());
    trial.run(42.0 * US).unwrap();
    // Without a delay the command changes at the first boundary beyond the bound: 0 → 10 A in 10 µs, 10 → 5 A in
    // 10 µs, 5 → 10 A in 5 µs.
    let expected = [0.0, 10.0, 20.0, 25.0, 35.0, 40.0].map(|t| t * US);
    same(&trial.of(command), &std::array::from_fn::<_, 6, _>(|k| (expected[k], k % 2 == 0)));
}

#[test]
fn a_delay_overshoots_by_slope_times_delay_off_the_grid() {
    let mut trial = trial(0.37 * US, 0.0);
    let command = trial.board.add_line("command");
    let with = Settings { delay: 0.5 * US, lower: 5.0, upper: 10.0, ..settings(command, None) };
    trial.add(Hysteretic::new("precharge", with).unwrap());
    trial.run(40.0 * US).unwrap();
    // On at 0.5 (from below the lower bound at the start); 10 A at 10.5, off at 11 with 10.5 A; 5 A at 22, on at 22.5
    // with 4.75 A; 10 A at 27.75, off at 28.25 with 10.5 A; 5 A at 39.25, on at 39.75.
    let expected = [0.5, 11.0, 22.5, 28.25, 39.75].map(|t| t * US);
    same(&trial.of(command), &std::array::from_fn::<_, 5, _>(|k| (expected[k], k % 2 == 0)));
}

#[test]
fn shortest_times_hold() {
    let mut trial = trial(0.25 * US, 0.0);
    let command = trial.board.add_line("command");
    let with = Settings { upper: 5.4, min_on: 2.3 * US, min_off: 3.1 * US, ..settings(command, None) };
    trial.add(Hysteretic::new("precharge", with).unwrap());
    trial.run(30.0 * US).unwrap();
    let found = trial.of(command);
    assert!(found.len() > 6, "{found:?}");
    // The first pulse ends at 5.5 A; then 3.1 µs off (to 3.95 A), 2.3 µs on (6.25 A), 3.1 µs off (4.7 A), 2.3 µs on
    // (7 A); 5.1 A is passed at 20.1 µs and seen at 20.25 µs.
    let expected = [0.0, 5.5, 8.6, 10.9, 14.0, 16.3, 20.25].map(|t| t * US);
    same(&found[..7], &std::array::from_fn::<_, 7, _>(|k| (expected[k], k % 2 == 0)));
}

#[test]
fn it_works_while_it_may_and_is_done_when_the_bank_is_full() {
    let mut trial = trial(0.25 * US, 0.0);
    let [command, run] = ["command", "run"].map(|n| trial.board.add_line(n));
    let event = |at, value| ScheduledEvent {
        at,
        subject: "run".into(),
        note: String::new(),
        deed: Deed::Set(run, value),
    };
    let events = vec![event(2.0 * US, true), event(60.0 * US, false)];
    trial.add(Sequence::new("sequence", events).unwrap());
    let with = Settings { until: Some((quantity(1), 200.0)), ..settings(command, Some(run)) };
    trial.add(Hysteretic::new("precharge", with).unwrap());
    trial.run(70.0 * US).unwrap();
    // From 2 µs: 50 V at 12 µs, +75 V to 22 µs, +37.5 V to 27 µs: 162.5 V, then falling from 10 A:
    // 10 s − 0.25 s² = 37.5 at s = 20 − √250 = 4.1886 µs: found at the boundary 31.25 µs.
    same(
        &trial.of(command),
        &[
            (2.0 * US, true),
            (12.0 * US, false),
            (22.0 * US, true),
            (27.0 * US, false),
            (31.25 * US, true),
            (60.0 * US, false),
        ],
    );
    let notes: Vec<_> = trial.kind(EventKind::Control).into_iter().map(|e| e.note.as_str()).collect();
    assert_eq!(notes, ["starts", "finished, command stays on", "stops"]);
    let end = trial.kind(EventKind::Control)[1];
    assert!((end.time - 31.25 * US).abs() < 1e-12 && end.value >= 200.0 && end.value < 202.0, "{end:?}");
}

#[test]
fn bounds_in_the_wrong_order_are_refused() {
    let with = Settings { lower: 10.0, upper: 5.0, ..settings(LineId(0), None) };
    let text = Hysteretic::new("precharge", with).unwrap_err().to_string();
    assert_eq!(text, "`precharge`: lower bound is 10, upper bound is 5, expected lower below upper");
}
