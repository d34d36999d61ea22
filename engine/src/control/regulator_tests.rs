use super::*;
use crate::circuit::graph::Circuit;
use crate::circuit::wave::Wave;
use crate::control::trial::{Trial, quantity};

const PERIOD: f64 = 1e-5;

fn settings(set_point: WaveId, output: Output) -> Settings {
    Settings {
        probe: quantity(0),
        set_point,
        proportional: 0.1,
        integral: 1e3,
        least: 0.0,
        most: 1.0,
        initial: 0.2,
        frequency: 1.0 / PERIOD,
        output,
        run: None,
    }
}

fn waves() -> (Circuit<f64>, WaveId, WaveId) {
    let mut circuit = Circuit::new();
    let (set_point, output) = (circuit.wave(Wave::Driven(4.0)), circuit.wave(Wave::Driven(0.0)));
    (circuit, set_point, output)
}

/// A deviation of 1 that stays: the output is 0.2 + 0.1 + 0.01 a period, up to its limit; when the deviation turns round,
/// it leaves the limit at once, because the integral has stood still (an unlimited one would be at 2.2).
#[test]
fn the_integral_does_not_wind_up() {
    let (circuit, set_point, output) = waves();
    let turns = 200.5 * PERIOD;
    let mut seen: Vec<(f64, f64)> = Vec::new();
    let mut trial = Trial::<f64>::new(&circuit, 0.4 * PERIOD, |_, t, board| {
        seen.push((t, board.driven(output, t).unwrap()));
        vec![if t < turns { 3.0 } else { 6.0 }]
    });
    trial.add(Regulator::new("r", settings(set_point, Output::Course(output))).unwrap());
    trial.run(250.0 * PERIOD).unwrap();
    drop(trial);
    let at = |k: f64| seen.iter().rfind(|s| s.0 <= (k + 0.5) * PERIOD).unwrap().1;
    for k in 0..60 {
        let expected = 0.3 + 0.01 * f64::from(k);
        assert!((at(f64::from(k)) - expected).abs() < 1e-9, "{k}: {} and {expected}", at(f64::from(k)));
    }
    assert_eq!(at(150.0), 1.0);
    // The integral stands at 0.9 to 0.91, where the output met its limit; −2·0.1 at once, −0.02 a period.
    let first = at(201.0);
    assert!((0.69..0.72).contains(&first), "{first}");
    assert!((at(211.0) - (first - 0.2)).abs() < 1e-9);
}

/// Duty 0.3 for a deviation of 1 and no integral: pulses centred in their periods; the complement keeps its dead time,
/// and both are never on at once, whatever the duty does.
#[test]
fn pulses_are_centred_and_never_overlap() {
    let (circuit, set_point, _) = waves();
    let dead = 0.02 * PERIOD;
    let mut trial = Trial::<f64>::new(&circuit, 0.3 * PERIOD, |_, t, _| {
        // Deviations that ask for duties of 0.3, then of more than 1, of 0.97, and of less than 0.
        vec![4.0 - [1.0, 20.0, 7.7, -20.0, 3.0][((t / PERIOD) as usize / 4).min(4)]]
    });
    let (command, complement) = (trial.board.add_line("high"), trial.board.add_line("low"));
    let lines = Lines { command, complement: Some((complement, dead)) };
    let with = Settings { integral: 0.0, ..settings(set_point, Output::Duty(lines)) };
    trial.add(Regulator::new("r", with).unwrap());
    trial.run(20.0 * PERIOD).unwrap();
    let on = trial.changes.iter().filter(|c| c.1 == command).map(|c| c.0).collect::<Vec<_>>();
    for k in 0..4 {
        let middle = (f64::from(k) + 0.5) * PERIOD;
        assert!((on[2 * k as usize] - (middle - 0.15 * PERIOD)).abs() < 1e-12, "{on:?}");
        assert!((on[2 * k as usize + 1] - (middle + 0.15 * PERIOD)).abs() < 1e-12, "{on:?}");
    }
    let mut state = [(false, f64::NEG_INFINITY); 2];
    for &(t, line, now) in &trial.changes {
        let own = usize::from(line == complement);
        state[own] = (now, t);
        let (other, since) = state[1 - own];
        assert!(!(now && other), "both on at {t}: {:?}", trial.changes);
        assert!(!now || t - since >= dead - 1e-15, "dead time of {} at {t}", t - since);
    }
    assert!(trial.changes.len() > 20);
}

#[test]
fn settings_that_make_no_sense_are_refused() {
    let (_, set_point, output) = waves();
    let with = settings(set_point, Output::Course(output));
    for wrong in [
        Settings { frequency: 0.0, ..with.clone() },
        Settings { least: 1.0, most: 0.0, ..with.clone() },
        Settings { proportional: f64::NAN, ..with.clone() },
        Settings {
            most: 2.0,
            output: Output::Duty(Lines { command: LineId(0), complement: None }),
            ..with.clone()
        },
        Settings {
            output: Output::Duty(Lines { command: LineId(0), complement: Some((LineId(0), 0.0)) }),
            ..with
        },
    ] {
        assert!(Regulator::new("r", wrong).is_err());
    }
}
