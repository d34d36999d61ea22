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
use crate::input::scenario::sections::Root;
use crate::input::scenario::sections::measured::{Channel, Record as Typed};

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
        let named =
            tables(root, &[Root::measured]).into_iter().filter_map(|table| table.get(Typed::file.name));
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
        let typed = Typed::read(f)?;
        let (from, to) = (typed.from, typed.to);
        if from >= to {
            self.wrong(f, Typed::to, "`to` is not after `from`", "an instant after `from`");
        }
        if typed.channel.is_empty() {
            self.wrong(f, Typed::channel, "no channel", "at least one");
        }
        // A file that could not be read is reported already.
        let record = records.of(typed.file.span.file, &typed.file.name)?;
        let time = match &typed.time {
            Some(named) => self.column(record, named, &f.key(Typed::time))?,
            None => record.columns.first()?,
        };
        let factor = self.time_factor(f, &typed, time)?;
        let instants: Vec<f64> = time.values.iter().map(|t| t * factor + typed.trigger).collect();
        let rises = |w: &[f64]| w[1] > w[0];
        if let Some(k) = instants.windows(2).position(|w| !rises(w)) {
            let found = format!(
                "sample {} at {} does not come after the one before",
                k + 2,
                people_digits(time.values[k + 1] * factor, "s", 7)
            );
            self.wrong(f, Typed::file, found, "times that rise");
            return None;
        }
        let channels: Vec<_> = typed.channel.iter().filter_map(|c| self.channel(c, record)).collect();
        let channels = channels.into_iter().map(|(spec, skew, values)| {
            let on_time = instants.iter().map(|t| t - skew).zip(values);
            let (times, values) = on_time.filter(|(t, x)| x.is_finite() && (from..=to).contains(t)).unzip();
            ChannelSpec { times, values, ..spec }
        });
        Some(MeasuredSpec { channels: channels.collect(), name: typed.name })
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
    fn time_factor(&mut self, f: &Fields, typed: &Typed, time: &Column) -> Option<f64> {
        let own = time.unit(typed.time.as_ref().map_or("", |named| &named.name));
        let stated = typed.time_unit.as_ref().map(|unit| &*unit.name);
        let Some(unit) = stated.or(own) else { return Some(1.0) };
        match parse_unit(unit) {
            Ok(u) if parse_unit("s").is_ok_and(|s| s.dimension == u.dimension) => {
                Some(u.factor * 10f64.powi(u.ten))
            }
            _ => {
                let span = typed.time_unit.as_ref().map_or(f.span_of(Typed::file), |unit| &unit.span);
                let found = format!("`{unit}` as the unit of the time");
                self.report(span, f.key(Typed::time_unit), found, "a unit of time such as \"us\"");
                None
            }
        }
    }

    /// A channel without its instants, its skew (s), and its values as the file has them.
    fn channel(&mut self, f: &Fields, record: &Record) -> Option<(ChannelSpec, f64, Vec<f64>)> {
        let typed = Channel::read(f)?;
        let column = self.column(record, &typed.column, &f.key(Channel::column))?;
        let unit = typed.unit.or_else(|| {
            let name = column.unit(&typed.column.name)?.to_string();
            Some(Named { name, span: typed.column.span.clone() })
        });
        let spec = ChannelSpec {
            signal: typed.signal,
            unit: unit.map(|unit| (unit, f.key(Channel::unit))),
            scale: typed.scale,
            offset: typed.offset,
            noise: typed.noise,
            times: Vec::new(),
            values: Vec::new(),
        };
        Some((spec, typed.skew, column.values.clone()))
    }
}
