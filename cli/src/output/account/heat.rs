//! Temperatures of dies, and their error from the coupling of heat.

use joulestep_engine::run::coupling::{Cause, CouplingError};
use joulestep_engine::run::time_loop::Run;

use super::{Facts, Junction, Peak};

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
                Cause::NotSettled => "a die whose properties follow the temperature did not settle",
                Cause::StepsTooLong => "the finest step warms it by more than `steps.temperature-error`",
            }),
        ),
    }
}

/// The error of a heat input's temperature that is known otherwise than by coarser runs, K: what the run reports of the
/// coupling of heat.
pub(super) fn further(run: &Run<f64>, input: usize) -> f64 {
    run.coupling_error(input, 0).map_or(0.0, |error| coupling(error).0)
}

/// The dies with a heat input and a watched temperature, each with its input's number; of heat nothing is known yet.
pub(super) fn dies(facts: &Facts, peaks: &[Peak]) -> Vec<(usize, Junction)> {
    let mut all = Vec::new();
    for placed in &facts.placed {
        for (k, (die, _)) in placed.built.dies.iter().enumerate() {
            let Some(input) = placed.heat[k] else { continue };
            let name = format!("{}.{die}", placed.name);
            let Some(peak) = peaks.iter().find(|p| p.name == format!("{name}.temperature")) else { continue };
            let rated = placed.built.hottest.iter().find(|h| h.0 == *die).map_or(f64::INFINITY, |h| h.1);
            let junction = Junction {
                name,
                hottest: peak.largest,
                hottest_at: peak.largest_at,
                end: f64::NAN,
                rated,
                energy: f64::NAN,
                coupling_error: f64::NAN,
                not_bounded: None,
            };
            all.push((input.0 as usize, junction));
        }
    }
    all
}

/// The dies of a run that is over.
pub(super) fn junctions(run: &Run<f64>, facts: &Facts, peaks: &[Peak]) -> Vec<Junction> {
    let Some(thermal) = run.thermal() else { return Vec::new() };
    let known = |(input, junction): (usize, Junction)| {
        let (coupling_error, not_bounded) = coupling(run.coupling_error(input, 0)?);
        let (end, energy) = (run.celsius()[input], thermal.heat_in()[input]);
        Some(Junction { end, energy, coupling_error, not_bounded, ..junction })
    };
    dies(facts, peaks).into_iter().filter_map(known).collect()
}
