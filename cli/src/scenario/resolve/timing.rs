//! Duration and steps.

use joulestep_engine::units::people_digits;

use super::Resolve;
use crate::scenario::fields::Fields;
use crate::scenario::meant::StepsSpec;

/// The finest step is at most this many halvings of the base step away.
const DEEPEST: u32 = 20;
/// Halvings where no finest step is given.
const HALVINGS: u32 = 5;
/// Local errors that call for finer steps where none are given, V and A.
const ERROR: f64 = 0.1;
/// Lag of temperatures where none is given, K.
const HEAT_ERROR: f64 = 1.0;
/// Exchanges of heat and temperature over the whole run where no longest interval is given: enough for a curve.
const EXCHANGES: f64 = 300.0;

impl Resolve<'_> {
    pub(super) fn steps(&mut self, f: &Fields) -> Option<StepsSpec> {
        let (end, base) = (f.number("end")?, f.number("base")?);
        if base > end {
            let found = format!("the base step of {base} s is longer than the run of {end} s");
            self.tell(f.place_of("base"), f.key("base"), found, "a step shorter than `end`");
        }
        let coupling = f.number("coupling").unwrap_or(end / EXCHANGES);
        Some(StepsSpec {
            end,
            base,
            halvings: self.halvings(f, base)?,
            voltage_error: f.number("voltage-error").unwrap_or(ERROR),
            current_error: f.number("current-error").unwrap_or(ERROR),
            method: f.text("method").map(ToString::to_string),
            heat_error: f.number("heat-error").unwrap_or(HEAT_ERROR),
            coupling,
            operating_point: f.text("start").unwrap_or("operating-point") == "operating-point",
        })
    }

    /// How often the base step is halved to give the finest.
    fn halvings(&mut self, f: &Fields, base: f64) -> Option<u32> {
        if !f.has("finest") {
            return Some(HALVINGS);
        }
        let finest = f.number("finest")?;
        let power = (base / finest).log2();
        let nearest = power.round().clamp(0.0, f64::from(DEEPEST)) as u32;
        let allowed = base / f64::from(1u32 << nearest);
        if (allowed - finest).abs() <= 1e-6 * finest {
            return Some(nearest);
        }
        let shown = |x: f64| people_digits(x, "s", 7);
        let found = if power > f64::from(DEEPEST) {
            format!(
                "{} is more than {DEEPEST} halvings below the base step of {}",
                shown(finest),
                shown(base)
            )
        } else if power < 0.0 {
            format!("{} is longer than the base step of {}", shown(finest), shown(base))
        } else {
            format!("{} is no whole number of halvings of the base step of {}", shown(finest), shown(base))
        };
        let expected =
            format!("base / 2^k with k from 0 to {DEEPEST}; the nearest is {allowed:e} s (k = {nearest})");
        self.tell(f.place_of("finest"), f.key("finest"), found, expected);
        None
    }
}
