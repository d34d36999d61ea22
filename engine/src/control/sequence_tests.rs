use super::*;
use crate::circuit::graph::Circuit;
use crate::control::trial::{Trial, same};

fn event(at: f64, note: &str, deed: Deed) -> ScheduledEvent {
    ScheduledEvent { at, subject: "thruster".into(), note: note.into(), deed }
}

#[test]
fn events_come_at_their_instants_in_any_order_of_writing() {
    let mut circuit = Circuit::<f64>::new();
    let choice = circuit.choice(vec![1e-9, 1e3], 0);
    let mut seen = Vec::new();
    let mut trial = Trial::new(&circuit, 0.3, |_, t, board| {
        seen.push((t, board.chosen(choice)));
        vec![]
    });
    let line = trial.board.add_line("close");
    let events = vec![
        event(2.5, "short circuit", Deed::Choose(choice, 1)),
        event(0.0, "the breaker closes", Deed::Set(line, true)),
        event(1.25, "opens", Deed::Set(line, false)),
        event(1.25, "nothing else", Deed::Note),
        event(2.75, "short circuit ends", Deed::Choose(choice, 0)),
    ];
    trial.add(Sequence::new("sequence", events).unwrap());
    trial.run(4.0).unwrap();
    same(&trial.of(line), &[(0.0, true), (1.25, false)]);
    let notes: Vec<_> = trial.events.iter().map(|e| (e.time, e.note.as_str(), e.subject.as_str())).collect();
    let expected = [
        (0.0, "the breaker closes"),
        (1.25, "opens"),
        (1.25, "nothing else"),
        (2.5, "short circuit"),
        (2.75, "short circuit ends"),
    ];
    assert_eq!(notes, expected.map(|(t, note)| (t, note, "thruster")));
    drop(trial);
    // The option that held during the step ending at each instant.
    for (t, option) in seen {
        assert_eq!(option, usize::from(t > 2.5 && t <= 2.75), "at {t}");
    }
}

#[test]
fn an_instant_that_is_no_number_is_refused() {
    let sequence = Sequence::new("sequence", vec![event(f64::NAN, "closes", Deed::Note)]);
    assert_eq!(sequence.unwrap_err().to_string(), "`sequence`: `closes` happens at NaN s, expected a number");
}
