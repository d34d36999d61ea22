//! What is watched at every step, and what the verdict judges.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::control::board::Board;
use joulestep_engine::recorder::EventKind;
use joulestep_engine::run::watch::Watch;

use super::Build;

/// Current from which a varistor counts as clamping, A. Between the leakage that its nominal voltage is stated at
/// (1 mA) and the hundreds of amperes of its clamping voltage.
const CLAMPS: f64 = 1.0;

/// A bound that the verdict judges.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Name in the verdict.
    pub name: String,
    /// Number of the watch whose extremes it bounds.
    pub watch: usize,
    /// Lower bound; −∞ where there is none.
    pub lower: f64,
    /// Upper bound; ∞ where there is none.
    pub upper: f64,
    /// Whether the user set it; else it comes from the part's own data.
    pub by_user: bool,
}

impl Build<'_> {
    /// Extremes of: what is recorded, the limits of the parts, the temperatures of their dies, the user's limits.
    pub(super) fn watches(&mut self, board: &mut Board<f64>) -> (Vec<Watch>, Vec<Judged>, usize) {
        let mut watches: Vec<Watch> = Vec::new();
        let mut judged: Vec<Judged> = Vec::new();
        let scenario = self.scenario;
        for signal in &scenario.record.signals {
            // Signals that do not exist are told where channels are made.
            let before = self.diagnostics.len();
            let found = self.signal(signal, board);
            self.diagnostics.truncate(before);
            let Some(found) = found.filter(|f| !matches!(f.probe, Probe::Line(_))) else { continue };
            let subject = signal.text.split('.').next().unwrap_or("").to_string();
            watches.push(watch(found.name, found.long_name, found.probe, subject));
        }
        let signals = watches.len();
        self.parts(&mut watches, &mut judged);
        for limit in &scenario.limits {
            let Some(found) = self.signal(&limit.signal, board) else { continue };
            let unit = found.probe.unit();
            let bound = |this: &mut Self, typed: &Option<_>| match typed {
                Some(typed) => this.measure(typed, unit),
                None => None,
            };
            let upper = bound(self, &limit.max).unwrap_or(f64::INFINITY);
            let lower = bound(self, &limit.min).unwrap_or(f64::NEG_INFINITY);
            if lower > upper {
                let found = format!("`min` is above `max` for `{}`", limit.signal.text);
                self.tell(&limit.signal.place, "limit.min", found, "a lower bound below the upper one");
            }
            let name = if limit.name.is_empty() { found.name.clone() } else { limit.name.clone() };
            // A name of its own, since the signal may be watched already; columns are told apart by it.
            let same = watches.iter().filter(|w| w.name.starts_with(&format!("limit.{name}"))).count();
            let own = if same == 0 { format!("limit.{name}") } else { format!("limit.{name}.{}", same + 1) };
            let mut watch = watch(own, found.long_name, found.probe, name.clone());
            (watch.event, watch.lower, watch.upper) = (Some(EventKind::Limit), lower, upper);
            judged.push(Judged { name, watch: watches.len(), lower, upper, by_user: true });
            watches.push(watch);
        }
        (watches, judged, signals)
    }

    /// Limits and temperatures of the parts.
    fn parts(&self, watches: &mut Vec<Watch>, judged: &mut Vec<Judged>) {
        for placed in &self.placed {
            for (name, probe, lower, upper) in &placed.built.limits {
                let name = format!("{}.{name}", placed.name);
                let mut watch = watch(name.clone(), name.clone(), probe.clone(), placed.name.clone());
                (watch.event, watch.lower, watch.upper) = (Some(EventKind::Limit), *lower, *upper);
                judged.push(Judged {
                    name,
                    watch: watches.len(),
                    lower: *lower,
                    upper: *upper,
                    by_user: false,
                });
                watches.push(watch);
            }
            if placed.kind == "varistor"
                && let Some((_, _, probe)) = placed.built.quantities.iter().find(|q| q.0 == "conduction")
            {
                let name = format!("{}.clamping", placed.name);
                let mut watch = watch(name, "conduction".into(), probe.clone(), placed.name.clone());
                (watch.event, watch.upper) = (Some(EventKind::Clamp), CLAMPS);
                watches.push(watch);
            }
            for (k, (die, _)) in placed.built.dies.iter().enumerate() {
                let Some(input) = placed.heat[k] else { continue };
                let upper = placed.built.hottest.iter().find(|h| h.0 == *die).map_or(f64::INFINITY, |h| h.1);
                let name = format!("{}.{die}.temperature", placed.name);
                let words = format!("{}: junction temperature of the {die} die", placed.name);
                let mut watch = watch(name.clone(), words, Probe::Temperature(input), placed.name.clone());
                (watch.event, watch.upper) = (Some(EventKind::Limit), upper);
                let lower = f64::NEG_INFINITY;
                judged.push(Judged { name, watch: watches.len(), lower, upper, by_user: false });
                watches.push(watch);
            }
        }
    }
}

fn watch(name: String, long_name: String, probe: Probe, subject: String) -> Watch {
    let unit = probe.unit();
    let (lower, upper) = (f64::NEG_INFINITY, f64::INFINITY);
    Watch { name, long_name, unit, probe, subject, event: None, lower, upper }
}
