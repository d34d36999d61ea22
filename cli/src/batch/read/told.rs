//! What is told of each variant: further numbers, and what a search finds.

use super::Read;
use crate::batch::plan::{MeasureSpec, Measured, Search};
use crate::diagnostic::{Diagnostic, nearest};
use crate::scenario::conform::one_of;
use crate::scenario::fields::Fields;

impl Read<'_> {
    pub(super) fn measure(&mut self, f: &Fields) -> Option<MeasureSpec> {
        let channels = &self.against.ready.setup.channels;
        let wanted = f.text("signal")?;
        let Some(channel) = channels.iter().position(|c| c.name == wanted) else {
            let names: Vec<&str> = channels.iter().map(|c| c.name.as_str()).collect();
            let found = format!("the scenario does not record `{wanted}`");
            let d = Diagnostic::new(f.place_of("signal"), f.key("signal"), found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(wanted, names.iter().copied())));
            return None;
        };
        let of_signal = channels[channel].probe.unit();
        let (what, unit) = match f.kind.as_str() {
            "end" => (Measured::End, of_signal),
            "mean" => (Measured::Mean, of_signal),
            "rms" => (Measured::Rms, of_signal),
            _ => {
                let target = self.measured(f, "target", of_signal)?;
                let difference = if of_signal == "degC" { "K" } else { of_signal };
                let band = self.measured(f, "band", difference)?;
                if band <= 0.0 {
                    self.tell(f.place_of("band"), f.key("band"), "a band of no width", "a value above zero");
                }
                (Measured::SettlingTime { target, band }, "s")
            }
        };
        Some(MeasureSpec { name: f.text("name")?.to_string(), channel, what, unit: unit.to_string() })
    }

    pub(super) fn search(&mut self, f: &Fields) -> Option<Search> {
        let slot = self.slot(f)?;
        let lower = self.measured(f, "lower", &slot.unit);
        let ends = lower.zip(self.measured(f, "upper", &slot.unit))?;
        if ends.0 >= ends.1 {
            self.tell(
                f.place_of("upper"),
                "search.upper",
                "`upper` is not above `lower`",
                "a value above `lower`",
            );
        }
        let limit = f.text("limit")?;
        let names: Vec<&str> = self.against.ready.judged.iter().map(|j| j.name.as_str()).collect();
        if !names.contains(&limit) {
            let found = format!("the scenario has no limit `{limit}`");
            let d = Diagnostic::new(f.place_of("limit"), "search.limit", found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(limit, names)));
        }
        let name = f.text("name").unwrap_or(&slot.path).to_string();
        let tolerance = f.number("tolerance").unwrap_or(1e-3);
        Some(Search { name, slot, ends, limit: limit.to_string(), tolerance })
    }
}
