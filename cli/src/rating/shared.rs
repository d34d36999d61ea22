//! Devices in parallel of which one differs.

use joulestep_engine::units::people;
use joulestep_models::model::Value;
use joulestep_models::part::Part;
use joulestep_models::rating::sharing::{self, course, steady};
use joulestep_models::rating::{Conducts, RatingTrouble};
use serde::Serialize;

use super::{Asked, Ready, law};

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
}

impl Share {
    fn new(share: &sharing::Share, dies: usize) -> Self {
        let [junctions, heat] = [share.celsius, share.heat].map(|all| all[..dies].to_vec());
        Self { current: share.current, junctions, heat }
    }

    /// Its hottest junction, °C.
    pub fn hottest(&self) -> f64 {
        self.junctions.iter().copied().fold(f64::NEG_INFINITY, f64::max)
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
    /// How that is exceeded in the steady state, in words; `None`: it is not.
    pub exceeded: Option<String>,
}

impl Pair {
    /// The hottest junction of all, °C.
    pub fn hottest(&self) -> f64 {
        self.odd.hottest().max(self.others.hottest())
    }
}

/// How a highest junction temperature (°C) is exceeded in the steady state that there is or is not.
fn exceeded(steady: Option<&Pair>, most: f64) -> Option<String> {
    let words = people(most, "degC");
    let Some(pair) = steady else {
        return Some(format!("there is no steady state, and junctions may reach at most {words}"));
    };
    let found = pair.hottest();
    let kept = found <= most;
    (!kept).then(|| {
        format!("a junction is at {} in the steady state, and may be at {words}", people(found, "degC"))
    })
}

/// The part with a lower on-resistance and threshold. The model states its resistance at a gate voltage whatever the
/// threshold, so the channel of a lower threshold gets the resistance that its overdrive makes of it: R ~ 1/(v_GS − V_th).
fn odd(part: &Part, spread: &Spread) -> Part {
    let mut odd = part.clone();
    let prefix = if part.kind == "stack" { "mosfet-" } else { "" };
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

/// Shares a current among devices on equal paths to a heatsink.
///
/// # Errors
/// A model that does not serve with the spreads.
pub fn parallel(
    part: &Part,
    ready: &Ready,
    asked: &Asked,
    spread: &Spread,
) -> Result<Parallel, RatingTrouble> {
    let Ready { law: usual, path, hottest, .. } = ready;
    let (other, _) = law(&odd(part, spread), asked)?;
    let parts: Vec<&_> = (0..spread.number).map(|k| if k == 0 { &other } else { usual }).collect();
    let own = std::array::from_fn(|a| {
        std::array::from_fn(|b| if a.max(b) < usual.dies() { path.resistance(a, b) } else { 0.0 })
    });
    let sink = (asked.heatsink, spread.shared);
    let found = steady(&parts, &vec![own; spread.number], sink, spread.total);
    let times = super::widths(1e-5, 100.0, 29);
    let course = course(&parts, path, spread.total, &times);
    let pair = |time, all: &[sharing::Share]| {
        let [odd, others] = [&all[0], &all[1]].map(|share| Share::new(share, usual.dies()));
        Pair { time, odd, others }
    };
    let steady = found.map(|all| pair(None, &all));
    Ok(Parallel {
        asked: *spread,
        course: course.iter().map(|(t, all)| pair(Some(*t), all)).collect(),
        exceeded: exceeded(steady.as_ref(), *hottest),
        steady,
        hottest: *hottest,
    })
}
