//! What is reported of each variant: further numbers, and what a search finds.

use super::Read;
use crate::batch::plan::{MeasureSpec, Measured, Plan, Search};
use crate::batch::row::columns;
use crate::batch::sections::save::{Keep, Listed, OfLimit, OfOutput, Which};
use crate::batch::sections::{self, MOST_VARIANTS, Measure, Output, Settling};
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::renamed;
use crate::input::keys::shape::Key;
use crate::judge::unit_of_difference;

impl Read<'_> {
    /// Tables that go with one subject only.
    pub(super) fn fits(&mut self, f: &Fields) {
        let run = self.against.ready.is_some();
        let (keys, found, expected): (&[Key], _, _) = match run {
            true => (&[sections::Plan::limit], "a limit of the plan", "[[limit]] in the scenario"),
            false => (
                &[sections::Plan::output, sections::Plan::keep],
                "this study records no signals",
                "that with a scenario only",
            ),
        };
        for key in keys.iter().filter(|key| f.has(key)) {
            self.report(f.span_of(key), key.name, found, expected);
        }
    }

    pub(super) fn keep(&mut self, f: &Fields) -> Option<Which> {
        let ready = self.against.ready?;
        let which = Keep::read(f)?.which;
        match &which {
            Which::Worst(OfLimit { limit, .. }) | Which::Best(OfLimit { limit, .. }) => {
                let of_user = ready.judging.judged.iter().map(|j| &j.limit).filter(|l| l.by_user());
                let names: Vec<&str> = of_user.map(|l| l.name.as_str()).collect();
                if !names.contains(&limit.name.as_str()) {
                    let found = format!("the scenario sets no limit `{}`", limit.name);
                    let d = f.wrong(OfLimit::limit, found, one_of(&names));
                    self.diagnostics.push(d.suggest(nearest(&limit.name, names)));
                    return None;
                }
            }
            Which::Listed(Listed { variants }) => {
                if let Some(x) = variants.iter().find(|x| x.fract() != 0.0 || **x > MOST_VARIANTS as f64) {
                    let expected = "numbers of variants, from 0";
                    self.diagnostics.push(f.wrong(Listed::variants, format!("{x}"), expected));
                    return None;
                }
            }
            _ => {}
        }
        Some(which)
    }

    /// Outputs and variants that are named must be there.
    pub(super) fn kept_outputs(&mut self, tables: &[Fields], plan: &Plan) {
        if self.against.ready.is_none() {
            return;
        }
        let (columns, _) = columns(plan, self.against.own, Vec::new());
        let names: Vec<&str> = columns.iter().map(|c| c.name.as_str()).collect();
        for table in tables {
            match Keep::read(table).map(|keep| keep.which) {
                Some(Which::Highest(OfOutput { output, .. }) | Which::Lowest(OfOutput { output, .. }))
                    if !names.contains(&output.name.as_str()) =>
                {
                    let found = format!("there is no output `{}`", output.name);
                    let d = table.wrong(OfOutput::output, found, one_of(&names));
                    self.diagnostics.push(d.suggest(nearest(&output.name, names.iter().copied())));
                }
                Some(Which::Listed(Listed { variants })) => {
                    let count = plan.count().unwrap_or(0);
                    let Some(x) = variants.iter().find(|x| **x >= count as f64) else { continue };
                    let found = format!("there is no variant {x}");
                    let expected = format!("numbers from 0 to {}", count.saturating_sub(1));
                    self.diagnostics.push(table.wrong(Listed::variants, found, expected));
                }
                _ => {}
            }
        }
    }

    pub(super) fn measure(&mut self, f: &Fields) -> Option<MeasureSpec> {
        let channels = &self.against.ready?.setup.channels;
        let stated = Output::read(f)?;
        let wanted = stated.signal.name.as_str();
        let Some(channel) = channels.iter().position(|c| c.name == wanted) else {
            let names: Vec<&str> = channels.iter().map(|c| c.name.as_str()).collect();
            let found = match renamed::signal(wanted) {
                Some(new) => renamed::called(wanted, &new),
                None => format!("the scenario does not record `{wanted}`"),
            };
            let d = f.wrong(Output::signal, found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(wanted, names.iter().copied())));
            return None;
        };
        let of_signal = channels[channel].probe.unit();
        let (what, unit) = match &stated.measure {
            Measure::End => (Measured::End, of_signal),
            Measure::Mean => (Measured::Mean, of_signal),
            Measure::Rms => (Measured::Rms, of_signal),
            Measure::SettlingTime(settling) => {
                let target = self.measured(&settling.target, of_signal)?;
                let difference = unit_of_difference(of_signal);
                let band = self.measured(&settling.band, difference)?;
                if band <= 0.0 {
                    self.diagnostics.push(f.wrong(
                        Settling::band,
                        "a band of no width",
                        "a value above zero",
                    ));
                }
                (Measured::SettlingTime { target, band }, "s")
            }
        };
        Some(MeasureSpec { name: stated.name.name.clone(), channel, what, unit: unit.to_string() })
    }

    pub(super) fn search(&mut self, f: &Fields) -> Option<Search> {
        let stated = sections::Search::read(f)?;
        let parameter = self.parameter(f, &stated.value)?;
        let lower = self.measured(&stated.lower, &parameter.unit);
        let ends = lower.zip(self.measured(&stated.upper, &parameter.unit))?;
        if ends.0 >= ends.1 {
            let (span, key) = (&stated.upper.span, stated.upper.key.clone());
            self.report(span, key, "`upper` is not above `lower`", "a value above `lower`");
        }
        let Named { name: limit, span } = stated.limit;
        let names = self.against.limits.clone();
        if !names.contains(&limit.as_str()) {
            let found = format!("{} has no limit `{limit}`", self.against.context.what);
            let d = Diagnostic::new(&span, f.key(sections::Search::limit), found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(&limit, names)));
        }
        let name = stated.name.map_or_else(|| parameter.path.clone(), |name| name.name);
        Some(Search { name, parameter, ends, limit, tolerance: stated.tolerance })
    }
}
