//! Rates a part: its law and its heat path made ready once, then currents, pulses and steady states.

use joulestep_models::merit::{Conditions, gate_on};
use joulestep_models::part::Part;
use joulestep_models::rating::conduction::Conduction;
use joulestep_models::rating::steady::{continuous, runaway, steady};
use joulestep_models::rating::surge::{Point, STEPS, Surge};
use joulestep_models::rating::{Conducts, HeatPath, RatingTrouble};
use rayon::prelude::*;

use super::{
    Answer, Asked, BEYOND, COLDEST, Continuous, Heat, LONGEST, MeshError, Rating, RideThrough, Spread,
    parallel, shared, words,
};
use crate::judge::{Level, Uncertainty};

/// Why a part is not rated.
fn refusal(part: &Part, found: impl Into<String>) -> RatingTrouble {
    RatingTrouble::Part { part: part.name.clone(), what: found.into() }
}

/// A part's law as asked, tabulated once for all that is asked of it.
#[derive(Clone, Debug)]
pub struct Ready {
    pub(super) law: Conduction,
    /// That of the odd one among devices in parallel.
    pub(super) odd: Option<Conduction>,
    pub(super) path: HeatPath,
    /// How far the heat path may be wrong; `None`: it is given.
    pub(super) mesh: Option<MeshError>,
    /// Junction temperature that no die may pass, °C.
    pub(super) hottest: f64,
    /// Where the heat goes, in words.
    pub(super) words: String,
    /// How coarse the steps are.
    pub(super) level: Level,
}

impl Ready {
    /// The same in coarser steps, from the same tables.
    pub(super) fn coarser(&self, level: Level) -> Self {
        Self { level: Level(self.level.0 + level.0), ..self.clone() }
    }

    /// The same with every `stride`-th node of the tables.
    pub(super) fn strided(&self, stride: usize) -> Self {
        let (law, odd) = (self.law.coarser(stride), self.odd.as_ref().map(|o| o.coarser(stride)));
        Self { law, odd, ..self.clone() }
    }

    /// `count` at the level as stated; half of it at each coarser one.
    pub(super) fn steps(&self, count: usize) -> usize {
        match self.level.0 {
            n @ ..0 => count << n.unsigned_abs(),
            n => (count >> n).max(1),
        }
    }
}

/// The law of a part as asked, and its heat path. Coarser levels than the stated one are made of it.
///
/// # Errors
/// Limits of the part; a heatsink that is hotter; a model or a path that does not serve.
pub fn ready(
    part: &Part,
    heat: &Heat,
    asked: &Asked,
    spread: Option<&Spread>,
    level: Level,
) -> Result<Ready, RatingTrouble> {
    let (gate, hottest) = bounds(part, asked)?;
    let law = |part: &Part| -> Result<Conduction, RatingTrouble> {
        let (coldest, hottest) = (asked.heatsink.min(25.0), hottest + BEYOND);
        // Made no further than it is looked at.
        let doublings = level.0.min(0).unsigned_abs();
        Conduction::refined(part, gate, coldest, hottest, doublings)
    };
    let odd = spread.map(|s| law(&shared::odd(part, s))).transpose()?;
    let law = law(part)?;
    let path = heat.path(law.names())?;
    Ok(Ready { law, odd, path, mesh: heat.mesh.clone(), hottest, words: heat.words.clone(), level })
}

/// The gate-source voltage of a part as asked, V, and the highest junction temperature, °C.
///
/// # Errors
/// Limits of the part; a heatsink that is hotter.
pub(crate) fn bounds(part: &Part, asked: &Asked) -> Result<(Option<f64>, f64), RatingTrouble> {
    let gate = gate_on(part, &Conditions { gate_on: asked.gate_on, ..Conditions::default() })
        .map_err(|e| refusal(part, e.to_string()))?;
    if let (Some(gate), Some(limit)) = (gate, part.gate_limit())
        && gate.abs() > limit
    {
        return Err(refusal(part, format!("the gate at {gate} V; its gate tolerates {limit} V either way")));
    }
    let own = part.hottest();
    let hottest = match (asked.hottest, own) {
        (Some(t), Some(most)) if t > most => {
            let what = format!("--hottest {t} °C is beyond its highest junction temperature of {most} °C");
            return Err(refusal(part, what));
        }
        (Some(t), _) | (None, Some(t)) => t,
        (None, None) => {
            return Err(refusal(
                part,
                "it states no highest junction temperature; expected that, or --hottest",
            ));
        }
    };
    if asked.heatsink >= hottest {
        let what = format!(
            "the heatsink at {} °C is not below the highest junction temperature of {hottest} °C",
            asked.heatsink
        );
        return Err(refusal(part, what));
    }
    if asked.heatsink < COLDEST {
        let what = format!("the heatsink is at {} °C; expected {COLDEST} °C or above", asked.heatsink);
        return Err(refusal(part, what));
    }
    Ok((gate, hottest))
}

/// Rates a part, and shares a current among several where that is asked; errors are still unknown, and nothing is judged.
///
/// # Errors
/// A current before the pulse that has no steady state within the limit; a law that has no operating point.
pub fn answer(
    part: &Part,
    ready: &Ready,
    asked: &Asked,
    spread: Option<&Spread>,
) -> Result<Answer, RatingTrouble> {
    let rating = rate(part, ready, asked)?;
    let parallel = spread.and_then(|s| parallel(ready, asked, s));
    match ready.law.trouble().or_else(|| ready.odd.as_ref()?.trouble()) {
        Some(trouble) => Err(trouble),
        None => Ok(Answer { rating, parallel }),
    }
}

fn rate(part: &Part, ready: &Ready, asked: &Asked) -> Result<Rating, RatingTrouble> {
    let Ready { law, path, hottest, words, .. } = ready;
    let hottest = *hottest;
    let none = [0.0; 2];
    let dies = law.dies();
    let before = steady(law, path, asked.before, &none)
        .filter(|s| s.celsius[..dies].iter().all(|&t| t < hottest))
        .ok_or_else(|| {
            refusal(part, format!("{} A before the pulse are more than it carries for ever", asked.before))
        })?;
    let start = before.carried.heat;
    let steps = ready.steps(STEPS);
    let surge = || Surge::new(law, path, hottest, &start[..dies]).with_steps(steps);
    let curve: Vec<Point> = asked.widths.par_iter().map(|&w| surge().largest(asked.shape, w)).collect();
    let fault = |&current: &f64| {
        let (longest, ends) = surge().ride_through(current, LONGEST);
        let ends_by = words::ends(law.names(), ends);
        RideThrough { current, longest, ends_by, longest_error: Uncertainty::Bare }
    };
    let runaway = runaway(law, path, &none);
    let runaway_known = runaway.map(|current| {
        // Just below it the junctions are far from where the law ends, or close to it.
        let near = steady(law, path, 0.999 * current, &none);
        near.is_some_and(|s| s.celsius[..dies].iter().all(|&t| t < law.hottest_known() - 30.0))
    });
    let bare = || vec![Uncertainty::Bare; dies];
    let continuous = continuous(law, path, hottest, &none).map(|s| {
        let [heat, junctions] = [s.carried.heat, s.celsius].map(|all| all[..dies].to_vec());
        Continuous {
            current: s.current,
            drop: s.carried.drop,
            heat,
            junctions,
            loop_gain: s.loop_gain,
            current_error: Uncertainty::Bare,
            drop_error: Uncertainty::Bare,
            heat_errors: bare(),
            junction_errors: bare(),
            loop_gain_error: Uncertainty::Bare,
        }
    });
    Ok(Rating {
        heat: words.clone(),
        contradictions: Vec::new(),
        resistance: (0..dies).map(|k| path.resistance(k, k)).collect(),
        resistance_errors: bare(),
        fixed: path.cold()[..dies].to_vec(),
        dies: law.names().to_vec(),
        gate: law.gate(),
        hottest,
        curve_errors: vec![std::array::from_fn(|_| Uncertainty::Bare); curve.len()],
        curve,
        continuous,
        runaway,
        runaway_error: Uncertainty::Bare,
        runaway_known,
        faults: asked.faults.par_iter().map(fault).collect(),
        judged: Vec::new(),
        doubts: Vec::new(),
        rounds: None,
        part: part.clone(),
    })
}
