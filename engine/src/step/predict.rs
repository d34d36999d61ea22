//! Where a stage's iteration begins: earlier points extrapolated.

use super::method::Method;
use crate::arithmetic::lane::{Lane, MOST_LANES};

/// Prediction weights of every implicit stage, for one ratio of the last step to this one.
#[derive(Clone, Debug)]
pub(crate) struct Recipe {
    /// Length of the last step in steps.
    last: f64,
    weights: Vec<Vec<f64>>,
}

/// How many recipes are kept.
const RECIPES: usize = 24;

/// The recipes of a run. A step takes those of a ratio that is equal but for rounding, so their bits depend on what
/// came before.
#[derive(Clone, Debug, Default)]
pub(crate) struct Recipes(Vec<Recipe>);

/// Weights of the polynomial through values at some instants, at t (Lagrange).
fn lagrange(times: &[f64], t: f64) -> Vec<f64> {
    let weight = |(j, tj): (usize, &f64)| {
        let others = times.iter().enumerate().filter(|(i, _)| *i != j);
        others.map(|(_, ti)| (t - ti) / (tj - ti)).product()
    };
    times.iter().enumerate().map(weight).collect()
}

impl Recipes {
    /// The one that fits the ratio of the last step (of known points `history`) to a step of `h` s; few ratios recur (the
    /// same, the doubled, the halved step). `None` where no whole step is known.
    pub(crate) fn fitting<P>(&mut self, method: &Method, history: &[(f64, P)], h: f64) -> Option<&Recipe> {
        let stages = method.stages();
        if history.len() < stages {
            return None;
        }
        let last = (history[stages - 1].0 - history[0].0) / h;
        let known = self.0.iter().position(|r| (r.last - last).abs() <= 1e-7 * last);
        let k = known.unwrap_or_else(|| {
            if self.0.len() == RECIPES {
                self.0.clear();
            }
            let c = method.c;
            let instant = |k: &u8| {
                let k = usize::from(*k);
                if k < stages { (c[k] - 1.0) * last } else { c[k - stages + 1] }
            };
            let weights = method.predict.iter().zip(&c[1..]).map(|(from, &t)| {
                let times: Vec<f64> = from.iter().map(instant).collect();
                lagrange(&times, t)
            });
            self.0.push(Recipe { last, weights: weights.collect() });
            self.0.len() - 1
        });
        self.0.get(k)
    }
}

/// The weights in use, each lane's own.
#[derive(Clone, Debug)]
pub(crate) struct Weights<L> {
    /// For each implicit stage.
    pub(super) of: Vec<Vec<L>>,
    /// Ratio of each lane's recipe.
    ratios: [f64; MOST_LANES],
    /// Lanes that have weights; the others know one point only.
    pub(super) known: u32,
}

impl<L: Lane> Weights<L> {
    pub(super) fn new(method: &Method) -> Self {
        let of = method.predict.iter().map(|from| vec![L::splat(0.0); from.len()]).collect();
        Self { of, ratios: [f64::NAN; MOST_LANES], known: 0 }
    }

    /// Takes the weights of a lane for its next step.
    #[inline]
    pub(crate) fn take(&mut self, lane: usize, recipe: Option<&Recipe>) {
        self.known &= !(1 << lane);
        let Some(recipe) = recipe else { return };
        self.known |= 1 << lane;
        if self.ratios[lane] == recipe.last {
            return;
        }
        self.ratios[lane] = recipe.last;
        for (mine, theirs) in self.of.iter_mut().zip(&recipe.weights) {
            mine.iter_mut().zip(theirs).for_each(|(mine, theirs)| mine.set_lane(lane, *theirs));
        }
    }
}
