//! The periodic steady state by shooting: a state z that one period of the run maps onto itself, Φ(z) = z.
//!
//! The unknowns are what linear inductors and capacitors keep: their currents and voltages. Charges of devices are not
//! among them, because they forget within a period. F(z) = Φ(z) − z is brought to zero by Newton's method with a
//! Jacobian from differences (Aprille & Trick 1972, Proc. IEEE 60, 108), corrected from cycle to cycle by Broyden's
//! update (Broyden 1965, Math. Comp. 19, 577) and taken anew where that contracts badly. Every evaluation is one period
//! of the run from the same instant, so controllers that depend on time alone need no unknowns of their own. Where one
//! keeps more (an integral), the run goes on from period to period instead.

mod at_rest;

use nalgebra::{DMatrix, DVector};

use super::keeper::{Keeper, keepers, scales};
use crate::error::SolverError;
use crate::recorder::Recorder;
use crate::run::saved::Saved;
use crate::run::time_loop::{Ended, Run};

/// How hard to try.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Periods run before the search begins.
    pub warm_up: u32,
    /// Closing error that is good enough.
    pub closing: f64,
    /// Estimated distance to the periodic state that is good enough; it is approached in a few steps more, as far as
    /// the closing error stays good. Infinite: not asked for.
    pub distance: f64,
    /// Most periods to run in all.
    pub most: u32,
}

impl Default for Effort {
    /// Two periods of warm-up, a closing error of 1e-5, a distance of 1e-4, 400 periods at most.
    fn default() -> Self {
        Self { warm_up: 2, closing: 1e-5, distance: 1e-4, most: 400 }
    }
}

/// What was found; the run stands at its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Steady {
    /// The largest change over the last period, relative to the largest voltage or current that is kept.
    pub closing: f64,
    /// Estimated distance to the periodic state in the same measure: a slow time constant of many periods closes well
    /// long before it is at rest. By the Jacobian where one was found, else by how much less the state changes from one
    /// period to the next; `None` where it was not asked for.
    pub distance: Option<f64>,
    /// Periods run.
    pub periods: u32,
    /// Closing error after each try.
    pub history: Vec<f64>,
    /// What was solved for, and its value at the end of the period.
    pub kept: Vec<(Keeper, f64)>,
    /// ∂(Φ(z) − z)/∂z as far as the search came to know it; `None`: it needed none.
    pub jacobian: Option<DMatrix<f64>>,
}

impl Steady {
    /// Takes in that the run has gone on for one period since: how well that one closes, and where it was not known the
    /// distance. False where it does not go as those of the search did, which began elsewhere (control that does not
    /// repeat from there on, say): the search is then to go on from here. `closing`: the error that is good enough.
    pub fn one_more(&mut self, run: &Run<f64>, closing: f64) -> bool {
        let keepers: Vec<Keeper> = self.kept.iter().map(|k| k.0.clone()).collect();
        let before = DVector::from_iterator(keepers.len(), self.kept.iter().map(|k| k.1));
        let after = DVector::from_iterator(keepers.len(), keepers.iter().map(|k| k.read(run)));
        self.periods += 1;
        self.kept = keepers.iter().cloned().zip(after.iter().copied()).collect();
        if keepers.is_empty() {
            return true;
        }
        let now = (&after - &before).component_div(&scales(&keepers, &before, &after)).amax();
        // Written so that what is not a number strays.
        let repeats = now <= STRAYS * closing.max(self.closing);
        if self.distance.is_none() || !repeats {
            self.distance = Some(far(now, self.closing));
            self.closing = now;
            self.history.push(now);
        }
        repeats
    }

    /// The small disturbance that stays longest: what is left of it after a period (the largest magnitude of the
    /// eigenvalues of ∂Φ/∂z), and by how much it turns in a period, rad. `None` where the search needed no Jacobian.
    pub fn slowest(&self) -> Option<(f64, f64)> {
        let j = self.jacobian.as_ref().filter(|j| j.nrows() > 0)?;
        let map = j + DMatrix::identity(j.nrows(), j.ncols());
        let each = map.complex_eigenvalues();
        let most = each.iter().max_by(|a, b| a.norm().total_cmp(&b.norm()))?;
        most.norm().is_finite().then(|| (most.norm(), most.arg().abs()))
    }
}

/// Why there is none.
#[derive(Debug, thiserror::Error)]
pub enum CycleError {
    /// A period could not be run.
    #[error(transparent)]
    Numerical(#[from] SolverError),
    /// The search ended without success.
    #[error(
        "no periodic steady state: after {periods} periods the closing error is {closing:.1e}, expected {expected:.1e}"
    )]
    NotClosed {
        /// Periods run.
        periods: u32,
        /// The best closing error.
        closing: f64,
        /// What was asked for.
        expected: f64,
    },
    /// The recorder asked to stop.
    #[error("stopped")]
    Stopped,
    /// A period that cannot be.
    #[error("a period of {0} s; expected above zero")]
    Period(f64),
}

/// How much more than the periods of a search one after it may change.
const STRAYS: f64 = 10.0;
/// How much less a period must change than the one before to be run to rest.
const QUICK: f64 = 0.1;
/// Most steps towards a small distance once the closing error is good.
const POLISH: u32 = 3;

struct Shooting<'a> {
    run: &'a mut Run<f64>,
    recorder: &'a mut dyn Recorder<f64>,
    keepers: Vec<Keeper>,
    anchor: Saved<f64>,
    at_anchor: DVector<f64>,
    end: f64,
    periods: u32,
}

impl Shooting<'_> {
    fn read(&self) -> DVector<f64> {
        DVector::from_iterator(self.keepers.len(), self.keepers.iter().map(|k| k.read(self.run)))
    }

    /// Φ(z).
    fn map(&mut self, z: &DVector<f64>) -> Result<DVector<f64>, CycleError> {
        self.run.restore(&self.anchor);
        let change = z - &self.at_anchor;
        if change.amax() > 0.0 {
            let each = self.keepers.iter().zip(change.iter());
            let rows: Vec<(usize, f64)> =
                each.flat_map(|(k, &x)| k.rows.iter().map(move |r| (r.0, r.1 * x))).collect();
            self.run.displace(&rows)?;
        }
        self.periods += 1;
        match self.run.advance(self.end, self.recorder)? {
            Ended::Reached => Ok(self.read()),
            Ended::Stopped => Err(CycleError::Stopped),
        }
    }
}

/// By how much less the state changes from one period to the next: how far it is from where it repeats. Changes that
/// do not die away are noise where they are small against the bound.
fn far(now: f64, then: f64) -> f64 {
    if now < then { now * now / (then - now) } else { now }
}

/// Brings a run to its periodic steady state. It must stand where its control begins to repeat with this period (s);
/// what `recorder` receives are tries.
///
/// # Errors
/// [`CycleError`].
pub fn steady(
    run: &mut Run<f64>,
    period: f64,
    effort: Effort,
    recorder: &mut dyn Recorder<f64>,
) -> Result<Steady, CycleError> {
    steady_from(run, period, effort, None, recorder)
}

/// The same from a Jacobian that a search near by has found ([`Steady::jacobian`]); one that contracts badly is taken
/// anew.
///
/// # Errors
/// [`CycleError`].
pub fn steady_from(
    run: &mut Run<f64>,
    period: f64,
    effort: Effort,
    known: Option<DMatrix<f64>>,
    recorder: &mut dyn Recorder<f64>,
) -> Result<Steady, CycleError> {
    if !(period.is_finite() && period > 0.0) {
        return Err(CycleError::Period(period));
    }
    if run.remembers() {
        return at_rest::found(run, period, effort, recorder);
    }
    let (began, warm_up) = (run.state().t, effort.warm_up);
    // Instants from the whole number, so that they fall on the modulators' own.
    let first = began + f64::from(warm_up) * period;
    if run.advance(first, recorder)? == Ended::Stopped {
        return Err(CycleError::Stopped);
    }
    let keepers = keepers(run.system());
    let anchor = run.save();
    let end = began + f64::from(warm_up + 1) * period;
    let n = keepers.len();
    let at_anchor = DVector::from_iterator(n, keepers.iter().map(|k| k.read(run)));
    let mut s = Shooting { run, recorder, keepers, anchor, at_anchor, end, periods: warm_up };

    let mut z = s.at_anchor.clone();
    let mut after = s.map(&z)?;
    let scale = scales(&s.keepers, &z, &after);
    let size = |f: &DVector<f64>| f.component_div(&scale).amax();
    let mut f = &after - &z;
    let mut error = size(&f);
    let mut history = vec![error];
    let mut jacobian = known.filter(|j| j.nrows() == n);
    // What forgets within a period needs no Jacobian.
    while n > 0 && jacobian.is_none() && error > effort.closing && s.periods < effort.most {
        let next = s.map(&after)?;
        let next_f = &next - &after;
        let now = size(&next_f);
        let quick = now < QUICK * error;
        (z, after, f, error) = (after, next, next_f, now);
        history.push(error);
        if !quick {
            break;
        }
    }
    let mut last = jacobian.clone();
    let (mut distance, mut polished) = (None, 0);
    loop {
        let closed = error <= effort.closing;
        // A circuit that keeps nothing is at rest as it is.
        if n == 0 || closed && effort.distance == f64::INFINITY {
            break;
        }
        if closed {
            let known = jacobian.as_ref().and_then(|j| j.clone().lu().solve(&-&f));
            let far = match known {
                Some(step) => size(&step),
                None => {
                    // One period more tells how fast the change dies away.
                    let next = s.map(&after)?;
                    let next_f = &next - &after;
                    let (now, then) = (size(&next_f), error);
                    (z, after, f, error) = (after, next, next_f, now);
                    history.push(error);
                    far(now, then)
                }
            };
            distance = Some(far);
            if error <= effort.closing && (far <= effort.distance || polished == POLISH) {
                break;
            }
            polished += 1;
        }
        if s.periods + n as u32 > effort.most {
            if error <= effort.closing {
                break;
            }
            return Err(CycleError::NotClosed {
                periods: s.periods,
                closing: error,
                expected: effort.closing,
            });
        }
        let fresh = jacobian.is_none();
        let j = match jacobian.take() {
            Some(j) => j,
            None => differences(&mut s, &z, &after, &scale, error)?,
        };
        last = Some(j.clone());
        let Some(step) = j.clone().lu().solve(&-&f) else {
            if error <= effort.closing {
                break;
            }
            return Err(CycleError::NotClosed {
                periods: s.periods,
                closing: error,
                expected: effort.closing,
            });
        };
        let mut share = 1.0;
        let (next, next_after, next_f, next_error) = loop {
            let next = &z + &step * share;
            let next_after = s.map(&next)?;
            let next_f = &next_after - &next;
            let e = size(&next_f);
            history.push(e);
            if e < error || share < 0.05 {
                break (next, next_after, next_f, e);
            }
            share *= 0.4;
        };
        if error <= effort.closing && (next_error > effort.closing || next_error.is_nan()) {
            // No better: back to where it closed.
            s.map(&z)?;
            break;
        }
        // Broyden's update: the least change of J that maps the step onto the change of F.
        let taken = &next - &z;
        let norm = taken.component_div(&scale).norm_squared();
        let miss = &next_f - &f - &j * &taken;
        let contracts = next_error < 0.3 * error;
        if (contracts || fresh) && norm > 0.0 {
            let weighted = taken.component_div(&scale).component_div(&scale);
            jacobian = Some(j + miss * weighted.transpose() / norm);
        }
        if !contracts && !fresh {
            jacobian = None;
        }
        if fresh && !contracts && next_error < effort.closing {
            jacobian = None;
        }
        (z, after, f, error) = (next, next_after, next_f, next_error);
    }
    let kept = s.keepers.iter().cloned().zip(after.iter().copied()).collect();
    let jacobian = jacobian.or(last);
    Ok(Steady { closing: error, distance, periods: s.periods, history, kept, jacobian })
}

/// ∂F/∂z by differences, as wide as the change over the period asks (a narrow one would measure the rounding of the
/// step schedule).
fn differences(
    s: &mut Shooting<'_>,
    z: &DVector<f64>,
    after: &DVector<f64>,
    scale: &DVector<f64>,
    error: f64,
) -> Result<DMatrix<f64>, CycleError> {
    let n = z.len();
    let mut j = DMatrix::identity(n, n) * -1.0;
    for k in 0..n {
        let width = scale[k] * error.clamp(1e-3, 1e-2);
        let mut moved = z.clone();
        moved[k] += width;
        let column = (s.map(&moved)? - after) / width;
        for row in 0..n {
            j[(row, k)] += column[row];
        }
    }
    Ok(j)
}
