//! What a scenario asks of the library's study, and the counted temperature cycles with their damage.

use joulestep_engine::cycle::rainflow::{Counted, UserLaw};
use joulestep_engine::error::CircuitError;
use joulestep_engine::run::setup::Setup;
use joulestep_models::arrangement::builder::CircuitLayout;
use joulestep_models::arrangement::mission::Followed;
use joulestep_models::arrangement::mission::count::{Cycles, count};
use joulestep_models::arrangement::mission::profile::{Begin, Of, Profile, Segment};
use joulestep_models::model::Value;

use crate::input::scenario::build::{Reductions, build_with, repeating};
use crate::input::scenario::resolved::{MissionSpec, Scenario, SegmentOf};

/// The mission as the library takes it; boundaries by their names in the network. `None`: a boundary that the network
/// does not have.
pub(super) fn profile(spec: &MissionSpec, boundaries: &[String]) -> Option<Profile> {
    let mut parameters = 0;
    let mut segments = Vec::new();
    for segment in &spec.segments {
        let of = match &segment.of {
            SegmentOf::Parameter(_) | SegmentOf::OfComponent(..) => {
                parameters += 1;
                Of::Parameter(parameters - 1)
            }
            SegmentOf::Boundary(name) => Of::Boundary(boundaries.iter().position(|b| b == name)?),
        };
        segments.push(Segment { of, points: segment.points.clone() });
    }
    let begin = if spec.steady { Begin::Steady } else { Begin::Rest };
    Some(Profile { length: spec.length, rounds: spec.rounds, segments, begin })
}

/// The scenario with other values of the parameters that the mission moves.
pub(super) fn make(
    scenario: &mut Scenario,
    reductions: &Reductions,
    moved: &[&SegmentOf],
    values: &[f64],
) -> Result<(CircuitLayout, Setup<f64>), CircuitError> {
    for (of, x) in moved.iter().zip(values) {
        let (key, holder) = match of {
            SegmentOf::Parameter(key) => (*key, scenario.arrangement.as_mut().map(|a| &mut a.values)),
            SegmentOf::OfComponent(k, key, _) => {
                (*key, scenario.components.get_mut(*k).map(|c| &mut c.values))
            }
            SegmentOf::Boundary(_) => continue,
        };
        if let Some(holder) = holder {
            holder.0.insert(key, Value::Number(*x));
        }
    }
    match build_with(scenario, reductions) {
        Ok(mut ready) => {
            repeating(&mut ready.setup.gauges);
            Ok((ready.layout, ready.setup))
        }
        Err(refusal) => {
            let first = refusal.diagnostics.first().map(|d| d.found.clone()).unwrap_or_default();
            Err(CircuitError::BadValue { component: "mission".into(), what: first })
        }
    }
}

/// Counted temperature cycles and damage of one heat input.
#[derive(Clone, Debug)]
pub(super) struct Life {
    pub(super) cycles: Cycles,
    /// Damage of the mission's cycles and of the ripple's by the user's law.
    pub(super) damage: Option<(f64, f64)>,
}

pub(super) fn life(followed: &Followed, law: Option<&UserLaw>, repeating: bool) -> Vec<Life> {
    let one = |k: usize| {
        let cycles = count(followed, k, repeating);
        let damage = law.map(|law| (law.damage(&cycles.mission), law.damage(&cycles.ripple)));
        Life { cycles, damage }
    };
    (0..followed.inputs.len()).map(one).collect()
}

/// Counted ranges gathered: those within a sixteenth of the largest range together, largest first; range and mean
/// weighted by their counts.
pub(super) fn gathered(counted: &[Counted]) -> Vec<Counted> {
    const CLASSES: usize = 16;
    let largest = counted.iter().map(|c| c.range).fold(0.0, f64::max);
    let mut classes = vec![Counted { range: 0.0, mean: 0.0, count: 0.0 }; CLASSES];
    for c in counted.iter().filter(|c| c.range > 0.0) {
        let class = ((c.range / largest * CLASSES as f64).ceil() as usize).clamp(1, CLASSES) - 1;
        let sum = &mut classes[class];
        sum.range += c.count * c.range;
        sum.mean += c.count * c.mean;
        sum.count += c.count;
    }
    let report = classes.into_iter().rev().filter(|c| c.count > 0.0);
    report.map(|c| Counted { range: c.range / c.count, mean: c.mean / c.count, count: c.count }).collect()
}

/// The law in words.
pub(super) fn law_words(law: &UserLaw) -> String {
    let mut words = format!("N = {} · (ΔT/{} K)^(-{})", law.cycles, law.range, law.exponent);
    if let Some(a) = law.activation {
        let ev = a.energy / 1.602_176_634e-19;
        words += &format!(" · exp({ev:.3} eV/k · (1/T - 1/T_ref)), T_ref = {} °C", a.reference);
    }
    words
}
