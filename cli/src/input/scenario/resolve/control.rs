//! Drives, protections, controllers and events.

use super::Resolve;
use crate::input::keys::fields::{Fields, Named};
use crate::input::scenario::resolved::{
    ControllerSpec, CriterionSpec, DriveSpec, EventSpec, LimitSpec, ProtectionSpec, RecordSpec, Signal, Task,
    WaiverSpec, What,
};

/// Duration of a drive's edge where none is given, s.
const EDGE: f64 = 20e-9;

impl Resolve<'_> {
    pub(super) fn drive(&mut self, f: &Fields) -> Option<DriveSpec> {
        let delay = f.number("delay").unwrap_or(0.0);
        let on_resistance = f.number("on-resistance")?;
        let off_resistance = f.number("off-resistance").unwrap_or(on_resistance);
        let (on, off) = (f.number("on")?, f.number("off")?);
        if on == off {
            self.diagnostics.push(f.wrong("off", "the levels `on` and `off` are equal", "two levels"));
        }
        let complement = (f.named("complement-gate"), f.named("complement-return"));
        if complement.0.is_some() != complement.1.is_some() {
            let has = if complement.0.is_some() { "complement-gate" } else { "complement-return" };
            let expected = "both `complement-gate` and `complement-return`, or none";
            self.diagnostics.push(f.wrong(has, "one end of a second gate", expected));
        }
        Some(DriveSpec {
            complement: complement.0.zip(complement.1),
            dead_time: f.number("dead-time").unwrap_or(0.0),
            name: f.named("name")?,
            gate: f.named("gate")?,
            reference: f.named("return")?,
            command: f.named("command")?,
            inhibit: f.texts("inhibit").to_vec(),
            on,
            off,
            on_resistance,
            off_resistance,
            soft_resistance: f.number("soft-resistance").unwrap_or(off_resistance),
            on_delay: f.number("on-delay").unwrap_or(delay),
            off_delay: f.number("off-delay").unwrap_or(delay),
            edge: f.number("edge").unwrap_or(EDGE),
            starts_on: f.flag("starts-on").unwrap_or(false),
        })
    }

    pub(super) fn protection(&mut self, f: &Fields) -> Option<ProtectionSpec> {
        let number = |key: &str| f.number(key).unwrap_or(0.0);
        let criterion = match f.kind.as_str() {
            "level" => {
                let blanking = f
                    .named("blanking-drive")
                    .map(|drive| (drive, number("blanking"), f.flag("only-on").unwrap_or(false)));
                if blanking.is_none() {
                    for key in ["blanking", "only-on"].into_iter().filter(|k| f.has(k)) {
                        let found = "nothing says after whose turn-on";
                        self.diagnostics.push(f.wrong(key, found, "a drive under `blanking-drive`"));
                    }
                }
                CriterionSpec::Level {
                    threshold: Self::typed(f, "threshold")?,
                    sense: f.text("sense").unwrap_or("above").to_string(),
                    filter: number("filter"),
                    blanking,
                }
            }
            "inverse-time" => {
                let (pick_up, rated) = (f.number("pick-up")?, f.number("rated")?);
                if rated > pick_up {
                    self.diagnostics.push(f.wrong(
                        "rated",
                        format!("`rated` is {rated} A, above `pick-up` of {pick_up} A"),
                        "at most the pick-up current",
                    ));
                }
                let (limit, cooling) = (f.number("limit")?, f.number("cooling-time")?);
                CriterionSpec::InverseTime { pick_up, rated, limit, cooling }
            }
            _ => return None,
        };
        let retries = f.whole("retries").unwrap_or(0) as u32;
        if retries > 0 && !f.has("retry-after") {
            let found = "missing, but `retries` is above zero".to_string();
            self.report(f.place_of("retries"), f.key("retry-after"), found, "a time such as \"1 ms\"");
        }
        Some(ProtectionSpec {
            name: f.named("name")?,
            watches: Self::signal(f, "watches")?,
            criterion,
            trip: f.named("trip")?,
            delay: number("delay"),
            retries,
            retry_after: number("retry-after"),
            healthy_after: f.number("healthy-after").unwrap_or(f64::INFINITY),
            reset: f.named("reset"),
        })
    }

    pub(super) fn controller(&mut self, f: &Fields) -> Option<ControllerSpec> {
        let number = |key: &str| f.number(key).unwrap_or(0.0);
        let task = match f.kind.as_str() {
            "hysteretic" => {
                let done = (Self::signal(f, "done-signal"), Self::typed(f, "done-at"));
                if done.0.is_some() != done.1.is_some() {
                    let (has, lacks) = if done.0.is_some() {
                        ("done-signal", "done-at")
                    } else {
                        ("done-at", "done-signal")
                    };
                    self.diagnostics.push(f.wrong(has, format!("given without `{lacks}`"), "both or none"));
                }
                Task::Hysteretic {
                    watches: Self::signal(f, "watches")?,
                    lower: Self::typed(f, "lower")?,
                    upper: Self::typed(f, "upper")?,
                    shortest_on: number("shortest-on"),
                    shortest_off: number("shortest-off"),
                    delay: number("delay"),
                    done: done.0.zip(done.1),
                }
            }
            "pwm" => {
                let duty = f.number("duty")?;
                if duty > 1.0 {
                    self.diagnostics.push(f.wrong(
                        "duty",
                        format!("`{duty}` is above 1"),
                        "0 to 1, or \"30 %\"",
                    ));
                }
                let phase = number("phase");
                if phase >= 1.0 {
                    let found = format!("`{phase}` is a whole period or more");
                    self.diagnostics.push(f.wrong("phase", found, "a share of the period below 1"));
                }
                let complement = f.named("complement");
                if complement.is_none() && f.has("dead-time") {
                    let found = "nothing is on while the output is off";
                    let expected = "a line under `complement`, or no dead time";
                    self.diagnostics.push(f.wrong("dead-time", found, expected));
                }
                if let (Some(line), Some(output)) = (&complement, f.named("output"))
                    && line.name == output.name
                {
                    let found = format!("`{}` is the output itself", line.name);
                    self.report(&line.place, f.key("complement"), found, "another line");
                }
                let complement = complement.map(|line| (line, number("dead-time")));
                Task::Pwm { frequency: f.number("frequency")?, duty, ramp: number("ramp"), phase, complement }
            }
            _ => return None,
        };
        let name = f.named("name")?;
        Some(ControllerSpec { name, run: f.named("run"), output: f.named("output")?, task })
    }

    pub(super) fn event(&mut self, f: &Fields) -> Option<EventSpec> {
        let what = match f.kind.as_str() {
            "line-on" => What::Line(f.named("line")?, true),
            "line-off" => What::Line(f.named("line")?, false),
            "close" => What::Switch(f.named("switch")?, true),
            "open" => What::Switch(f.named("switch")?, false),
            "note" => What::Note,
            _ => return None,
        };
        if matches!(what, What::Note) && !f.has("note") {
            self.report(&f.place, f.key("note"), "missing", "the words of the note");
        }
        let note = f.text("note").unwrap_or("").to_string();
        Some(EventSpec { at: f.number("at")?, what, note, fault: f.flag("fault") })
    }

    pub(super) fn limit(&mut self, f: &Fields) -> Option<LimitSpec> {
        let (max, min) = (Self::typed(f, "max"), Self::typed(f, "min"));
        if max.is_none() && min.is_none() && !f.has("max") && !f.has("min") {
            self.report(&f.place, f.key("max"), "neither `max` nor `min` is given", "a bound");
        }
        let name = f.text("name").unwrap_or("").to_string();
        Some(LimitSpec { name, signal: Self::signal(f, "signal")?, max, min })
    }

    pub(super) fn waiver(&mut self, f: &Fields) -> Option<WaiverSpec> {
        let reason = f.text("reason")?.trim().to_string();
        if reason.is_empty() {
            self.diagnostics.push(f.wrong("reason", "no words", "why the rating does not count"));
        }
        let of = Named { name: f.text("rating")?.to_string(), place: f.place_of("rating").clone() };
        Some(WaiverSpec { of, reason })
    }

    pub(super) fn record(&mut self, f: &Fields) -> RecordSpec {
        let signals = f.texts("signals").iter().map(|n| Signal {
            text: n.name.clone(),
            place: n.place.clone(),
            key: f.key("signals"),
        });
        RecordSpec { signals: signals.collect(), interval: f.number("interval").unwrap_or(0.0) }
    }
}
