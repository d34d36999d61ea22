//! The periodic steady state of a run in which a controller remembers, or a device keeps a flux: what they keep is no
//! unknown of a search, so it goes on from period to period until it is at rest.

use nalgebra::DVector;

use super::{CycleError, Effort, Keeper, Steady, far, keepers};
use crate::recorder::Recorder;
use crate::run::time_loop::{Ended, Run};

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
    let (mut before, mut history, mut distance) = (read(run), Vec::new(), None);
    for n in 1..=effort.most {
        // Instants from the whole number, so that they fall on the modulators' own.
        if run.advance(began + f64::from(n) * period, recorder)? == Ended::Stopped {
            return Err(CycleError::Stopped);
        }
        let after = read(run);
        let closing = (&after - &before).component_div(&scales(&keepers, &before, &after)).amax();
        if let Some(then) = history.last() {
            distance = Some(far(closing, *then));
        }
        history.push(closing);
        before = after;
        let near = effort.distance == f64::INFINITY || distance.is_some_and(|d| d <= effort.distance);
        if n > effort.warm_up && closing <= effort.closing && near {
            let kept = keepers.into_iter().zip(before.iter().copied()).collect();
            return Ok(Steady { closing, distance, periods: n, history, kept, jacobian: None });
        }
    }
    let closing = history.last().copied().unwrap_or(f64::INFINITY);
    Err(CycleError::NotClosed { periods: effort.most, closing, expected: effort.closing })
}

/// The largest voltage, and the largest current, of all that is kept; 1 V, 1 A where they are less.
pub(in super::super) fn scales(keepers: &[Keeper], z: &DVector<f64>, after: &DVector<f64>) -> DVector<f64> {
    let most = |unit: &str| {
        let mine = keepers.iter().enumerate().filter(|(_, k)| k.unit == unit);
        mine.map(|(k, _)| z[k].abs().max(after[k].abs())).fold(1.0, f64::max)
    };
    let (volts, amperes) = (most("V"), most("A"));
    DVector::from_iterator(keepers.len(), keepers.iter().map(|k| if k.unit == "V" { volts } else { amperes }))
}
