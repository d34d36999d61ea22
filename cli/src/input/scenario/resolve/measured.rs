//! Records that are laid over the run.

use std::path::Path;

use joulestep_engine::units::{parse_unit, people_digits};

use super::Resolve;
use super::parts::{NamedFiles, tables};
use crate::diagnostic::{Diagnostic, Sources, nearest};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::RawTable;
use crate::input::record::{self, Column, Record};
use crate::input::scenario::resolved::{ChannelSpec, MeasuredSpec};

/// The records that a scenario names.
pub(super) type Records = NamedFiles<Record>;

impl Records {
    /// Reads every file that a record names.
    pub(super) fn of_records(
        root: &RawTable,
        sources: &mut Sources,
        open: Open<'_>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Self {
        let named = tables(root, &["measured"]).into_iter().filter_map(|table| table.get("file"));
        let named = named.map(|node| (node, "measured.file".to_string())).collect();
        Self::load(named, |name, (span, key)| {
            let here = sources.files.get(span.file.0).map(|f| f.0.clone()).unwrap_or_default();
            let path = here.parent().unwrap_or(Path::new("")).join(name);
            match open(&path) {
                Ok(text) => {
                    let file = sources.add(path, text);
                    record::read(sources, file, key).map_err(|d| diagnostics.push(*d)).ok()
                }
                Err(error) => {
                    let found = format!("cannot read `{}`: {}", path.display(), reason(&error));
                    let expected = "the path of a CSV file, relative to this file";
                    diagnostics.push(Diagnostic::new(span, key, found, expected));
                    None
                }
            }
        })
    }
}

impl Resolve<'_> {
    /// A record with its channels, on the time of the run.
    pub(super) fn measured(&mut self, f: &Fields, records: &Records) -> Option<MeasuredSpec> {
        let name = f.named("name")?;
        let from = f.number("from").unwrap_or(f64::NEG_INFINITY);
        let to = f.number("to").unwrap_or(f64::INFINITY);
        if from >= to {
            self.report(f.span_of("to"), f.key("to"), "`to` is not after `from`", "an instant after `from`");
        }
        if f.has("channel") && f.tables("channel").is_empty() {
            self.report(f.span_of("channel"), f.key("channel"), "no channel", "at least one");
        }
        // A file that could not be read is reported already.
        let record = records.of(f.span_of("file").file, f.text("file")?)?;
        let time = match f.named("time") {
            Some(named) => self.column(record, &named, &f.key("time"))?,
            None => record.columns.first()?,
        };
        let factor = self.time_factor(f, time)?;
        let trigger = f.number("trigger").unwrap_or(0.0);
        let instants: Vec<f64> = time.values.iter().map(|t| t * factor + trigger).collect();
        let rises = |w: &[f64]| w[1] > w[0];
        if let Some(k) = instants.windows(2).position(|w| !rises(w)) {
            let found = format!(
                "sample {} at {} does not come after the one before",
                k + 2,
                people_digits(time.values[k + 1] * factor, "s", 7)
            );
            self.report(f.span_of("file"), f.key("file"), found, "times that rise");
            return None;
        }
        let channels: Vec<_> = f.tables("channel").iter().map(|c| self.channel(c, record)).collect();
        let channels = channels.into_iter().flatten().map(|(spec, skew, values)| {
            let on_time = instants.iter().map(|t| t - skew).zip(values);
            let (times, values) = on_time.filter(|(t, x)| x.is_finite() && (from..=to).contains(t)).unzip();
            ChannelSpec { times, values, ..spec }
        });
        Some(MeasuredSpec { channels: channels.collect(), name })
    }

    fn column<'r>(&mut self, record: &'r Record, named: &Named, key: &str) -> Option<&'r Column> {
        let found = record.column(&named.name);
        if found.is_none() {
            let names = record.names();
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            let what = format!("the file has no column `{}`", named.name);
            let d = Diagnostic::new(&named.span, key, what, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(&named.name, names)));
        }
        found
    }

    /// What makes seconds of the column of time.
    fn time_factor(&mut self, f: &Fields, time: &Column) -> Option<f64> {
        let own = time.unit(f.text("time").unwrap_or(""));
        let Some(unit) = f.text("time-unit").or(own) else { return Some(1.0) };
        match parse_unit(unit) {
            Ok(u) if parse_unit("s").is_ok_and(|s| s.dimension == u.dimension) => {
                Some(u.factor * 10f64.powi(u.ten))
            }
            _ => {
                let span = f.values.get("time-unit").map_or(f.span_of("file"), |v| &v.span);
                let found = format!("`{unit}` as the unit of the time");
                self.report(span, f.key("time-unit"), found, "a unit of time such as \"us\"");
                None
            }
        }
    }

    /// A channel without its instants, its skew (s), and its values as the file has them.
    fn channel(&mut self, f: &Fields, record: &Record) -> Option<(ChannelSpec, f64, Vec<f64>)> {
        let named = f.named("column")?;
        let column = self.column(record, &named, &f.key("column"))?;
        let unit = f.named("unit").or_else(|| {
            let unit = column.unit(&named.name)?.to_string();
            Some(Named { name: unit, span: named.span.clone() })
        });
        let spec = ChannelSpec {
            signal: Self::signal(f, "signal")?,
            unit: unit.map(|unit| (unit, f.key("unit"))),
            scale: Self::typed(f, "scale"),
            offset: Self::typed(f, "offset"),
            noise: Self::typed(f, "noise"),
            times: Vec::new(),
            values: Vec::new(),
        };
        Some((spec, f.number("skew").unwrap_or(0.0), column.values.clone()))
    }
}
