//! Devices in parallel of which one differs.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::model::Value;
use joulestep_models::part::Part;
use joulestep_models::rating::Conducts;
use joulestep_models::rating::sharing::{self, course, steady};
use serde::Serialize;

use super::{Asked, Ready};
use crate::judge::{Bounds, Ruling, Uncertainty, rule, worst};

/// Steps between two times of their course.
const STEPS: usize = 4;

/// What is asked of devices in parallel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// How many.
    pub number: usize,
    /// Current of all, A.
    pub total: f64,
    /// By which share the odd one's on-resistance is lower.
    #[serde(rename = "resistance_spread")]
    pub resistance: f64,
    /// By how much its threshold is lower, V.
    #[serde(rename = "threshold_spread")]
    pub threshold: f64,
    /// Thermal resistance that they share, K/W.
    #[serde(rename = "shared_resistance")]
    pub shared: f64,
}

/// What one of them carries.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Share {
    /// Its current, A.
    pub current: f64,
    /// Junction temperatures, °C.
    pub junctions: Vec<f64>,
    /// Heat of its dies, W.
    pub heat: Vec<f64>,
    /// What is known of the error of the current.
    pub current_error: Uncertainty,
    /// Of the junction temperatures.
    pub junction_errors: Vec<Uncertainty>,
}

impl Share {
    fn new(share: &sharing::Share, dies: usize) -> Self {
        let [junctions, heat] = [share.celsius, share.heat].map(|all| all[..dies].to_vec());
        let junction_errors = vec![Uncertainty::Bare; dies];
        Self { current: share.current, junctions, heat, current_error: Uncertainty::Bare, junction_errors }
    }

    /// Its hottest junction, °C.
    pub fn hottest(&self) -> f64 {
        self.junctions.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }

    /// What is known of the error of its hottest junction.
    pub fn hottest_error(&self) -> &Uncertainty {
        let hottest = self.hottest();
        let at = self.junctions.iter().position(|&t| t == hottest);
        at.map_or(&Uncertainty::Bare, |k| &self.junction_errors[k])
    }
}

/// The odd one and one of the others.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pair {
    /// From the cold start, s; `None` in the steady state.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<f64>,
    /// The odd one.
    pub odd: Share,
    /// One of the others.
    pub others: Share,
}

/// How they share.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Parallel {
    /// What was asked.
    #[serde(flatten)]
    pub asked: Spread,
    /// While they heat, from the cold start.
    pub course: Vec<Pair>,
    /// In the steady state; `None`: there is none.
    pub steady: Option<Pair>,
    /// Junction temperature that no die may pass, °C.
    pub hottest: f64,
    /// What is said of that in the steady state.
    pub ruling: Ruling,
    /// How it is exceeded, or why it is not known to be kept, in words.
    pub exceeded: Option<String>,
}

impl Parallel {
    /// Rules on the junctions of the steady state; without one they have no end. `known`: the numbers rest on data that
    /// do not contradict one another.
    pub(super) fn rule(&mut self, known: bool) {
        let words = people(self.hottest, "degC");
        let Some(pair) = &self.steady else {
            self.ruling = Ruling::Fails;
            let text = format!("there is no steady state, and junctions may reach at most {words}");
            self.exceeded = Some(text);
            return;
        };
        let bounds = Bounds::at_most(self.hottest);
        let of = |s: &Share| {
            let all = s.junctions.iter().zip(&s.junction_errors);
            worst(all.map(|(&t, error)| rule(t, error, bounds, known)))
        };
        self.ruling = of(&pair.odd).max(of(&pair.others));
        let found = people_digits(pair.hottest(), "degC", 4);
        let error = pair.hottest_error().words("degC");
        let kept = self.ruling == Ruling::Passes;
        self.exceeded = (!kept).then(|| {
            format!("a junction is at {found} {error} in the steady state, and may be at {words}")
                .replace("  ", " ")
        });
    }
}

impl Pair {
    /// The hottest junction of all, °C.
    pub fn hottest(&self) -> f64 {
        self.odd.hottest().max(self.others.hottest())
    }

    /// What is known of its error.
    pub fn hottest_error(&self) -> &Uncertainty {
        let odd = self.odd.hottest() >= self.others.hottest();
        if odd { self.odd.hottest_error() } else { self.others.hottest_error() }
    }
}

/// The part with a lower on-resistance and threshold. The model states its resistance at a gate voltage whatever the
/// threshold, so the channel of a lower threshold gets the resistance that its overdrive makes of it: R ~ 1/(v_GS − V_th).
pub(super) fn odd(part: &Part, spread: &Spread) -> Part {
    let mut odd = part.clone();
    let prefix = if part.kind == "cascode" { "mosfet-" } else { "" };
    let of = |key: &str| part.values.maybe(&format!("{prefix}{key}"));
    let drift = of("drift-share").unwrap_or(0.0);
    let channel = match (of("on-gate-voltage"), of("threshold")) {
        (Some(gate), Some(threshold)) if gate > threshold => {
            (gate - threshold) / (gate - threshold + spread.threshold)
        }
        _ => 1.0,
    };
    for (key, value) in &mut odd.values.0 {
        if let Value::Number(x) = value {
            let stripped = key.strip_prefix(prefix).unwrap_or("");
            if key.ends_with("on-resistance") {
                *x *= 1.0 - spread.resistance;
            }
            match stripped {
                "on-resistance" => *x *= drift + (1.0 - drift) * channel,
                "threshold" => *x -= spread.threshold,
                _ => {}
            }
        }
    }
    odd
}

/// Shares a current among devices on equal paths to a heatsink; `None` where they were not made ready for it.
pub fn parallel(ready: &Ready, asked: &Asked, spread: &Spread) -> Option<Parallel> {
    let Ready { law: usual, odd, path, hottest, .. } = ready;
    let other = odd.as_ref()?;
    let parts: Vec<&_> = (0..spread.number).map(|k| if k == 0 { other } else { usual }).collect();
    let own = std::array::from_fn(|a| {
        std::array::from_fn(|b| if a.max(b) < usual.dies() { path.resistance(a, b) } else { 0.0 })
    });
    let sink = (asked.heatsink, spread.shared);
    let found = steady(&parts, &vec![own; spread.number], sink, spread.total);
    let times = super::widths(1e-5, 100.0, 29);
    let course = course(&parts, path, spread.total, &times, ready.steps(STEPS));
    let pair = |time, all: &[sharing::Share]| {
        let [odd, others] = [&all[0], &all[1]].map(|share| Share::new(share, usual.dies()));
        Pair { time, odd, others }
    };
    let mut all = Parallel {
        asked: *spread,
        course: course.iter().map(|(t, all)| pair(Some(*t), all)).collect(),
        steady: found.map(|all| pair(None, &all)),
        hottest: *hottest,
        ruling: Ruling::NotJudged,
        exceeded: None,
    };
    all.rule(true);
    Some(all)
}
