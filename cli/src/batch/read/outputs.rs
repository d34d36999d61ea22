//! What is reported of each variant: further numbers, and what a search finds.

use super::Read;
use crate::batch::plan::{Keep, MeasureSpec, Measured, Plan, Search};
use crate::batch::row::columns;
use crate::batch::sections::MOST_VARIANTS;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::Fields;
use crate::input::keys::renamed;
use crate::judge::unit_of_difference;

impl Read<'_> {
    /// Tables that go with one subject only.
    pub(super) fn fits(&mut self, f: &Fields) {
        let run = self.against.ready.is_some();
        let (keys, found, expected): (&[&str], _, _) = match run {
            true => (&["limit"], "a limit of the plan", "[[limit]] in the scenario"),
            false => (&["output", "keep"], "this study records no signals", "that with a scenario only"),
        };
        for key in keys.iter().filter(|key| f.has(key)) {
            self.report(f.span_of(key), *key, found, expected);
        }
    }

    pub(super) fn keep(&mut self, f: &Fields) -> Option<Keep> {
        let ready = self.against.ready?;
        let count = f.whole("count").map_or(Some(1), |n| usize::try_from(n).ok())?;
        if let Some(limit) = f.text("limit") {
            let of_user = ready.judging.judged.iter().map(|j| &j.limit).filter(|l| l.by_user());
            let names: Vec<&str> = of_user.map(|l| l.name.as_str()).collect();
            if !names.contains(&limit) {
                let found = format!("the scenario sets no limit `{limit}`");
                let d = f.wrong("limit", found, one_of(&names));
                self.diagnostics.push(d.suggest(nearest(limit, names)));
                return None;
            }
        }
        let (limit, output) =
            (|| f.text("limit").map(str::to_string), || f.text("output").map(str::to_string));
        Some(match f.kind.as_str() {
            "worst" => Keep::Worst { limit: limit()?, count },
            "best" => Keep::Best { limit: limit()?, count },
            "highest" => Keep::Highest { output: output()?, count },
            "lowest" => Keep::Lowest { output: output()?, count },
            "every" => Keep::Every(usize::try_from(f.whole("step")?).ok()?),
            _ => {
                let numbers = f.numbers("variants");
                if let Some(x) = numbers.iter().find(|x| x.fract() != 0.0 || **x > MOST_VARIANTS as f64) {
                    self.diagnostics.push(f.wrong("variants", format!("{x}"), "numbers of variants, from 0"));
                    return None;
                }
                Keep::Listed(numbers.iter().map(|x| *x as usize).collect())
            }
        })
    }

    /// Outputs and variants that are named must be there.
    pub(super) fn kept_outputs(&mut self, f: &Fields, plan: &Plan) {
        if self.against.ready.is_none() {
            return;
        }
        let (columns, _) = columns(plan, self.against.own, Vec::new());
        let names: Vec<&str> = columns.iter().map(|c| c.name.as_str()).collect();
        for table in f.tables("keep") {
            if let Some(output) = table.text("output").filter(|o| !names.contains(o)) {
                let found = format!("there is no output `{output}`");
                let d = table.wrong("output", found, one_of(&names));
                self.diagnostics.push(d.suggest(nearest(output, names.iter().copied())));
            }
            let count = plan.count().unwrap_or(0);
            if let Some(x) = table.numbers("variants").iter().find(|x| **x >= count as f64) {
                let found = format!("there is no variant {x}");
                let expected = format!("numbers from 0 to {}", count.saturating_sub(1));
                self.diagnostics.push(table.wrong("variants", found, expected));
            }
        }
    }

    pub(super) fn measure(&mut self, f: &Fields) -> Option<MeasureSpec> {
        let channels = &self.against.ready?.setup.channels;
        let wanted = f.text("signal")?;
        let Some(channel) = channels.iter().position(|c| c.name == wanted) else {
            let names: Vec<&str> = channels.iter().map(|c| c.name.as_str()).collect();
            let found = match renamed::signal(wanted) {
                Some(new) => renamed::called(wanted, &new),
                None => format!("the scenario does not record `{wanted}`"),
            };
            let d = f.wrong("signal", found, one_of(&names));
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
                let difference = unit_of_difference(of_signal);
                let band = self.measured(f, "band", difference)?;
                if band <= 0.0 {
                    self.diagnostics.push(f.wrong("band", "a band of no width", "a value above zero"));
                }
                (Measured::SettlingTime { target, band }, "s")
            }
        };
        Some(MeasureSpec { name: f.text("name")?.to_string(), channel, what, unit: unit.to_string() })
    }

    pub(super) fn search(&mut self, f: &Fields) -> Option<Search> {
        let parameter = self.parameter(f)?;
        let lower = self.measured(f, "lower", &parameter.unit);
        let ends = lower.zip(self.measured(f, "upper", &parameter.unit))?;
        if ends.0 >= ends.1 {
            self.report(
                f.span_of("upper"),
                "search.upper",
                "`upper` is not above `lower`",
                "a value above `lower`",
            );
        }
        let limit = f.text("limit")?;
        let names = self.against.limits.clone();
        if !names.contains(&limit) {
            let found = format!("{} has no limit `{limit}`", self.against.context.what);
            let d = Diagnostic::new(f.span_of("limit"), "search.limit", found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(limit, names)));
        }
        let name = f.text("name").unwrap_or(&parameter.path).to_string();
        let tolerance = f.number("tolerance").unwrap_or(1e-3);
        Some(Search { name, parameter, ends, limit: limit.to_string(), tolerance })
    }
}
