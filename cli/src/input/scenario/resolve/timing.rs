//! Duration and steps.

use joulestep_engine::step::bounds::{Bound, Bounds};
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::units::people_digits;

use super::Resolve;
use crate::input::keys::fields::Fields;
use crate::input::scenario::resolved::StepsSpec;
use crate::input::scenario::sections::Steps as Stated;

/// A stated finest step is at most this many halvings of a stated base step away.
const DEEPEST: u32 = 20;
/// Exchanges of heat and temperature over the whole run where no longest interval is given: enough for a curve.
const EXCHANGES: f64 = 300.0;

impl Resolve<'_> {
    pub(super) fn steps(&mut self, f: &Fields) -> Option<StepsSpec> {
        let stated = Stated::read(f)?;
        let end = stated.end;
        let lengths = self.lengths(f, &stated)?;
        let base = lengths.base;
        if base > end && stated.base.is_some() {
            let found = format!(
                "the base step of {} is longer than the run of {}",
                people_digits(base, "s", 7),
                people_digits(end, "s", 7)
            );
            self.wrong(f, Stated::base, found, "a step shorter than `end`");
        }
        Some(StepsSpec {
            end,
            lengths,
            bounds: Bounds {
                voltage: stated.voltage_error.map_or(Bound::DEFAULT, Bound::stated),
                current: stated.current_error.map_or(Bound::DEFAULT, Bound::stated),
                ..Bounds::default()
            },
            method: stated.method,
            heat_error: stated.temperature_error,
            coupling: stated.coupling.unwrap_or(end / EXCHANGES),
            operating_point: stated.start == "operating-point",
        })
    }

    /// Step lengths: as stated, else the engine's defaults.
    fn lengths(&mut self, f: &Fields, stated: &Stated) -> Option<Steps> {
        let end = stated.end;
        let default = Steps::over(end);
        match (stated.base, stated.finest) {
            (None, None) => Some(default),
            (Some(base), None) => Some(Steps::of_base(base)),
            (Some(base), Some(finest)) => {
                Some(Steps { base, finest: self.halvings(f, base, finest)?, ..default })
            }
            (None, Some(finest)) => {
                // The longest base step that is no longer than the default and has this finest step.
                let fits = |k: &u32| finest * 2f64.powi(*k as i32 + 1) > default.base;
                let halvings = (0..Steps::DEEPEST).find(fits).unwrap_or(Steps::DEEPEST);
                let base = finest * 2f64.powi(halvings as i32);
                if base > end {
                    let found = format!(
                        "the finest step of {} is longer than the run of {}",
                        people_digits(finest, "s", 7),
                        people_digits(end, "s", 7)
                    );
                    self.wrong(f, Stated::finest, found, "a step shorter than `end`");
                }
                Some(Steps { base, finest: halvings, ..default })
            }
        }
    }

    /// How often the base step is halved to give the finest.
    fn halvings(&mut self, f: &Fields, base: f64, finest: f64) -> Option<u32> {
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
        self.wrong(f, Stated::finest, found, expected);
        None
    }
}
