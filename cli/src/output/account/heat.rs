//! Temperatures of dies, and their error from the coupling of heat.

use joulestep_engine::run::coupling::{Cause, CouplingError};
use joulestep_engine::run::time_loop::Run;

use super::{Facts, Junction, Peak};
use crate::judge::Uncertainty;

/// An error of the coupling, K, or why there is no bound.
fn coupling(error: CouplingError) -> (f64, Option<&'static str>) {
    match error {
        CouplingError::Kelvin(k) => (k, None),
        CouplingError::NotBounded(cause) => (
            f64::INFINITY,
            Some(match cause {
                Cause::AnswersAtOnce => {
                    "its temperature follows the power at once: a path without heat capacity"
                }
                Cause::StepsTooLong => "the finest step warms it by more than `steps.heat-error`",
            }),
        ),
    }
}

/// The error of a heat input's temperature that is known otherwise than by coarser runs, K: what the run reports of the
/// coupling of heat.
pub(super) fn further(run: &Run<f64>, input: usize) -> f64 {
    run.coupling_error(input, 0).map_or(0.0, |error| coupling(error).0)
}

pub(super) fn junctions(run: &Run<f64>, facts: &Facts, peaks: &[Peak]) -> Vec<Junction> {
    let mut all = Vec::new();
    let Some(thermal) = run.thermal() else { return all };
    for placed in &facts.placed {
        for (k, (die, _)) in placed.built.dies.iter().enumerate() {
            let Some(input) = placed.heat[k] else { continue };
            let name = format!("{}.{die}", placed.name);
            let Some(peak) = peaks.iter().find(|p| p.name == format!("{name}.temperature")) else { continue };
            let rated = placed.built.hottest.iter().find(|h| h.0 == *die).map_or(f64::INFINITY, |h| h.1);
            let input = input.0 as usize;
            let Some(error) = run.coupling_error(input, 0) else { continue };
            let (coupling_error, not_bounded) = coupling(error);
            all.push(Junction {
                name,
                hottest: peak.largest,
                hottest_at: peak.largest_at,
                end: run.celsius()[input],
                rated,
                heat: thermal.heat_in()[input],
                hottest_error: Uncertainty::Bare,
                end_error: Uncertainty::Bare,
                heat_error: Uncertainty::Bare,
                coupling_error,
                not_bounded,
            });
        }
    }
    all
}
