//! The course of an independent source from its parameters.

use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::error::CircuitError;

use crate::model::{Param, Range, Values, bad, params};

/// The parameters of a source whose values carry `unit`. Exactly one of `value`, `points`, `amplitude` and `ramp-to`
/// says what it does.
pub const fn params(unit: &'static str) -> [Param; 13] {
    params! {
        optional "value", unit, Range::Any, "Constant value";
        table "points", ["s", unit], Range::Any, "Straight lines between points (instant, value)";
        optional "period", "s", Range::Positive, "Repeat the points with this period";
        optional "amplitude", unit, Range::Any, "Amplitude of a sine";
        optional "frequency", "Hz", Range::Positive, "Frequency of the sine";
        with "offset", unit, 0.0, Range::Any, "Mean of the sine, and its value before the delay";
        with "phase", "rad", 0.0, Range::Any, "Phase of the sine at the delay";
        with "delay", "s", 0.0, Range::Any, "Where the sine begins";
        optional "ramp-to", unit, Range::Any, "Value at the end of a ramp, and after it";
        with "ramp-from", unit, 0.0, Range::Any, "Value before the ramp";
        with "ramp-start", "s", 0.0, Range::Any, "Where the ramp begins";
        optional "ramp-time", "s", Range::Positive, "How long the ramp lasts";
        optional "driven-from", unit, Range::Any, "Set by a controller during the run; value until then";
    }
}

/// The course.
///
/// # Errors
/// When not exactly one kind of course is stated, one is stated in part, or instants do not ascend.
pub fn course(name: &str, v: &Values) -> Result<Wave<f64>, CircuitError> {
    let points = v.table("points");
    let needed = |key: &str, whose: &str| {
        v.maybe(key).ok_or_else(|| bad(name, format!("`{key}` is missing: {whose} needs it")))
    };
    let mut stated = ["value", "amplitude", "ramp-to", "driven-from"]
        .into_iter()
        .filter(|key| v.maybe(key).is_some())
        .collect::<Vec<_>>();
    if !points.is_empty() {
        stated.push("points");
    }
    match stated.as_slice() {
        ["value"] => Ok(Wave::Constant(v.number("value"))),
        ["driven-from"] => Ok(Wave::Driven(v.number("driven-from"))),
        ["amplitude"] => Ok(Wave::Sine {
            offset: v.number("offset"),
            amplitude: v.number("amplitude"),
            frequency: needed("frequency", "a sine")?,
            phase: v.number("phase"),
            delay: v.number("delay"),
        }),
        ["ramp-to"] => {
            let start = v.number("ramp-start");
            let end = start + needed("ramp-time", "a ramp")?;
            Ok(Wave::Points(vec![(start, v.number("ramp-from")), (end, v.number("ramp-to"))]))
        }
        ["points"] => {
            if let Some(w) = points.windows(2).find(|w| w[1].0 < w[0].0) {
                return Err(bad(
                    name,
                    format!("`points`: {} s comes after {} s; expected ascending instants", w[1].0, w[0].0),
                ));
            }
            let Some(period) = v.maybe("period") else { return Ok(Wave::Points(points.to_vec())) };
            if let Some(p) = points.iter().find(|p| p.0 < 0.0 || p.0 > period) {
                return Err(bad(
                    name,
                    format!("`points`: {} s lies outside one period, 0 to {period} s", p.0),
                ));
            }
            Ok(Wave::Periodic { period, points: points.to_vec() })
        }
        [] => Err(bad(
            name,
            "nothing says what the source does; expected one of `value`, `points`, `amplitude`, `ramp-to`, `driven-from`",
        )),
        several => Err(bad(name, format!("`{}` exclude each other; expected one", several.join("` and `")))),
    }
}
