//! What is varied: values, ranges, columns, distributions.

use std::cell::RefCell;
use std::path::Path;

use super::Read;
use crate::batch::distribution::Distribution;
use crate::batch::list;
use crate::batch::plan::{Input, Sampling, Values};
use crate::batch::sections::{Column, Spaced, Stated, Varied, Vary};
use crate::diagnostic::nearest;
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::{Fields, Typed, TypedAt};
use crate::input::parameter_path::ParameterPath;

impl Read<'_> {
    pub(super) fn input(
        &mut self,
        f: &Fields,
        sampling: Sampling,
        listed: Option<(&Path, &list::List)>,
    ) -> Option<Input> {
        let stated = Vary::read(f)?;
        let parameter = self.parameter(f, &stated.value)?;
        let name = stated.name.map_or_else(|| parameter.path.clone(), |name| name.name);
        let fits: &[&str] = match sampling {
            Sampling::Grid => &["values", "range"],
            Sampling::List => &["column"],
            _ => &["uniform", "normal", "truncated-normal", "lognormal", "triangular"],
        };
        if !fits.contains(&f.kind.as_str()) {
            let found = format!("`{}` does not go with this sampling", f.kind);
            self.diagnostics.push(f.wrong(Vary::kind, found, one_of(fits)));
            return None;
        }
        let values = match &stated.kind {
            Varied::Values(Stated { values: typed }) => {
                if typed.is_empty() {
                    self.diagnostics.push(f.wrong(Stated::values, "an empty list", "at least one value"));
                }
                let key = f.key(Stated::values);
                let value = |(span, t): &TypedAt| {
                    self.value(span, key.clone(), t.as_deref().map_err(|x| *x), &parameter.unit)
                };
                let values: Vec<_> = typed.iter().map(value).collect();
                Values::Stated(values.into_iter().collect::<Option<Vec<_>>>()?)
            }
            Varied::Range(range) => Values::Stated(self.range(f, range, &parameter)?),
            Varied::Column(Column { column }) => {
                Values::Stated(self.column(f, &column.name, &parameter, listed?)?)
            }
            drawn => Values::Drawn(self.distribution(f, drawn, &parameter)?),
        };
        if parameter.whole && !matches!(&values, Values::Stated(v) if v.iter().all(|x| x.fract() == 0.0)) {
            self.diagnostics.push(f.wrong(Vary::value, "values that are no integers", "integers"));
        }
        Some(Input { name, parameter, values })
    }

    fn range(&mut self, f: &Fields, range: &Spaced, parameter: &ParameterPath) -> Option<Vec<f64>> {
        let from = self.measured(&range.from, &parameter.unit);
        let (from, to) = from.zip(self.measured(&range.to, &parameter.unit))?;
        let points = usize::try_from(range.points).ok()?;
        let share = |k: usize| k as f64 / (points - 1) as f64;
        if range.spacing.as_deref() != Some("logarithmic") {
            // Both ends exactly.
            return Some((0..points).map(|k| from * (1.0 - share(k)) + to * share(k)).collect());
        }
        if from <= 0.0 || to <= 0.0 {
            let found = "a logarithmic range from or to zero or below";
            self.diagnostics.push(f.wrong(Spaced::from, found, "values above zero"));
            return None;
        }
        let inner = |k: usize| from * (to / from).powf(share(k));
        Some(
            (0..points)
                .map(|k| {
                    if k == 0 {
                        from
                    } else if k + 1 == points {
                        to
                    } else {
                        inner(k)
                    }
                })
                .collect(),
        )
    }

    fn column(
        &mut self,
        f: &Fields,
        wanted: &str,
        parameter: &ParameterPath,
        (path, list): (&Path, &list::List),
    ) -> Option<Vec<f64>> {
        let Some(k) = list.header.iter().position(|h| h == wanted) else {
            let names: Vec<&str> = list.header.iter().map(String::as_str).collect();
            let found = format!("{} has no column `{wanted}`", path.display());
            let d = f.wrong(Column::column, found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(wanted, names)));
            return None;
        };
        let mut values = Vec::new();
        for (line, row) in &list.rows {
            match list::value(&row[k], &parameter.unit) {
                Ok(value) => values.push(value),
                Err((found, expected)) => {
                    let found = format!("{}, line {line}, column `{wanted}`: {found}", path.display());
                    self.diagnostics.push(f.wrong(Column::column, found, expected));
                    return None;
                }
            }
        }
        Some(values)
    }

    fn distribution(
        &mut self,
        f: &Fields,
        drawn: &Varied,
        parameter: &ParameterPath,
    ) -> Option<Distribution> {
        let read = RefCell::new(self);
        let at = |typed: &Typed| read.borrow_mut().measured(typed, &parameter.unit);
        let by = |typed: &Typed| read.borrow_mut().measured(typed, parameter.unit_of_difference());
        let distribution = match drawn {
            Varied::Uniform(d) => Distribution::Uniform { lower: at(&d.lower)?, upper: at(&d.upper)? },
            Varied::Normal(d) => Distribution::Normal { mean: at(&d.mean)?, deviation: by(&d.deviation)? },
            Varied::TruncatedNormal(d) => Distribution::TruncatedNormal {
                mean: at(&d.mean)?,
                deviation: by(&d.deviation)?,
                lower: at(&d.lower)?,
                upper: at(&d.upper)?,
            },
            Varied::Lognormal(d) => {
                Distribution::LogNormal { median: at(&d.median)?, log_deviation: d.log_deviation }
            }
            Varied::Triangular(d) => {
                Distribution::Triangular { lower: at(&d.lower)?, mode: at(&d.mode)?, upper: at(&d.upper)? }
            }
            Varied::Values(_) | Varied::Range(_) | Varied::Column(_) => return None,
        };
        if let Some((key, found, expected)) = distribution.wrong() {
            read.borrow_mut().diagnostics.push(f.wrong(key, found, expected));
            return None;
        }
        Some(distribution)
    }
}
