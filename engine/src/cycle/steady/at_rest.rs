//! The periodic steady state of a run in which a controller remembers, or a device keeps a flux: what they keep is no
//! unknown of a search, so it goes on from period to period until it is at rest.

use nalgebra::DVector;

use super::{CycleError, Effort, Steady, keepers, scales};
use crate::recorder::Recorder;
use crate::run::time_loop::{Ended, Run};

/// Least length of the stretches that tell how changes die away, periods.
const LEAST: usize = 8;

/// Brings the run to its periodic steady state.
///
/// # Errors
/// [`CycleError`].
pub(super) fn found(
    run: &mut Run<f64>,
    period: f64,
    effort: Effort,
    recorder: &mut dyn Recorder<f64>,
) -> Result<Steady, CycleError> {
    let began = run.state().t;
    let keepers = keepers(run.system());
    let read = |run: &Run<f64>| DVector::from_iterator(keepers.len(), keepers.iter().map(|k| k.read(run)));
    let (mut before, mut history) = (read(run), Vec::new());
    for n in 1..=effort.most {
        // Instants from the whole number, so that they fall on the modulators' own.
        if run.advance(began + f64::from(n) * period, recorder)? == Ended::Stopped {
            return Err(CycleError::Stopped);
        }
        let after = read(run);
        let closing = (&after - &before).component_div(&scales(&keepers, &before, &after)).amax();
        history.push(closing);
        before = after;
        // Written so that what is not a number is not closed.
        let closed = closing <= effort.closing;
        if n <= effort.warm_up || !closed {
            continue;
        }
        let distance = left(&history);
        if effort.distance == f64::INFINITY || distance.is_some_and(|d| d <= effort.distance) {
            let kept = keepers.into_iter().zip(before.iter().copied()).collect();
            return Ok(Steady { closing, distance, periods: n, history, kept, jacobian: None });
        }
    }
    let closing = history.last().copied().unwrap_or(f64::INFINITY);
    Err(CycleError::NotClosed { periods: effort.most, closing, expected: effort.closing })
}

/// How far the state is from where it repeats, by the changes from period to period so far: a loop swings into its state,
/// so a small change may be a turning point. Their largest in the last third and in the one before tell how the swing
/// dies away and what was left of it then; what does not die away is noise, and its own bound. `None` while they are few.
fn left(changes: &[f64]) -> Option<f64> {
    let (n, third) = (changes.len(), changes.len() / 3);
    if third < LEAST {
        return None;
    }
    let most = |from: usize| {
        let all = changes[from..from + third].iter().enumerate();
        all.fold((0, 0.0), |most, (k, &change)| if change >= most.1 { (from + k, change) } else { most })
    };
    let ((then, before), (last, now)) = (most(n - 2 * third), most(n - third));
    if now >= before {
        return Some(now);
    }
    let shrinks = (now / before).powf(1.0 / (last - then) as f64);
    Some(now * shrinks / (1.0 - shrinks))
}

#[cfg(test)]
mod tests {
    use super::left;

    /// What is left of a swing x = e^(−σn)·cos(ωn), by its changes: never less than half of it, at a turning point too, and no
    /// more than a few times its envelope a third of the periods ago once these are longer than half a swing; of what dies away evenly, what was left then.
    #[test]
    fn what_is_left_of_a_swing() {
        let (sigma, omega) = (0.0157f64, 0.0272f64);
        let x = |n: f64| (-sigma * n).exp() * (omega * n).cos();
        let changes: Vec<f64> = (1..1200).map(|n| (x(f64::from(n)) - x(f64::from(n - 1))).abs()).collect();
        for n in [30, 116, 231, 347, 500, 800, 1190] {
            let (told, envelope) = (left(&changes[..n]).unwrap(), (-sigma * n as f64 / 1.5).exp());
            assert!(told >= 0.5 * x(n as f64).abs(), "{n}: {told}");
            assert!(n < 300 || told < 5.0 * envelope, "{n}: {told} of {envelope}");
        }
        let even: Vec<f64> = (0..60).map(|n| 0.1 * 0.9f64.powi(n)).collect();
        let expected = even[40] * 0.9 / 0.1;
        assert!((left(&even).unwrap() / expected - 1.0).abs() < 1e-9);
        assert_eq!((left(&even[..20]), left(&[1e-9; 40])), (None, Some(1e-9)));
    }
}
