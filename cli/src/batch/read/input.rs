//! What is varied: values, ranges, columns, distributions.

use std::path::Path;

use super::Read;
use crate::batch::distribution::Distribution;
use crate::batch::list;
use crate::batch::plan::{Input, Sampling, Values};
use crate::diagnostic::nearest;
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::{Fields, TypedAt};
use crate::input::parameter_path::ParameterPath;

impl Read<'_> {
    pub(super) fn input(
        &mut self,
        f: &Fields,
        sampling: Sampling,
        listed: Option<(&Path, &list::List)>,
    ) -> Option<Input> {
        let parameter = self.parameter(f)?;
        let name = f.text("name").unwrap_or(&parameter.path).to_string();
        let fits: &[&str] = match sampling {
            Sampling::Grid => &["values", "range"],
            Sampling::List => &["column"],
            _ => &["uniform", "normal", "truncated-normal", "lognormal", "triangular"],
        };
        if !fits.contains(&f.kind.as_str()) {
            let found = format!("`{}` does not go with this sampling", f.kind);
            self.diagnostics.push(f.wrong("kind", found, one_of(fits)));
            return None;
        }
        let values = match f.kind.as_str() {
            "values" => {
                let typed: &[TypedAt] = f.measures("values");
                if typed.is_empty() {
                    self.diagnostics.push(f.wrong("values", "an empty list", "at least one value"));
                }
                let values: Vec<_> = typed
                    .iter()
                    .map(|(place, t)| {
                        self.value(place, f.key("values"), t.as_deref().map_err(|x| *x), &parameter.unit)
                    })
                    .collect();
                Values::Stated(values.into_iter().collect::<Option<Vec<_>>>()?)
            }
            "range" => Values::Stated(self.range(f, &parameter)?),
            "column" => Values::Stated(self.column(f, &parameter, listed?)?),
            _ => Values::Drawn(self.distribution(f, &parameter)?),
        };
        if parameter.whole && !matches!(&values, Values::Stated(v) if v.iter().all(|x| x.fract() == 0.0)) {
            self.diagnostics.push(f.wrong("value", "values that are no integers", "integers"));
        }
        Some(Input { name, parameter, values })
    }

    fn range(&mut self, f: &Fields, parameter: &ParameterPath) -> Option<Vec<f64>> {
        let from = self.measured(f, "from", &parameter.unit);
        let (from, to) = from.zip(self.measured(f, "to", &parameter.unit))?;
        let points = usize::try_from(f.whole("points")?).ok()?;
        let share = |k: usize| k as f64 / (points - 1) as f64;
        if f.text("spacing") != Some("logarithmic") {
            // Both ends exactly.
            return Some((0..points).map(|k| from * (1.0 - share(k)) + to * share(k)).collect());
        }
        if from <= 0.0 || to <= 0.0 {
            self.diagnostics.push(f.wrong(
                "from",
                "a logarithmic range from or to zero or below",
                "values above zero",
            ));
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
        parameter: &ParameterPath,
        (path, list): (&Path, &list::List),
    ) -> Option<Vec<f64>> {
        let wanted = f.text("column")?;
        let Some(k) = list.header.iter().position(|h| h == wanted) else {
            let names: Vec<&str> = list.header.iter().map(String::as_str).collect();
            let found = format!("{} has no column `{wanted}`", path.display());
            let d = f.wrong("column", found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(wanted, names)));
            return None;
        };
        let mut values = Vec::new();
        for (line, row) in &list.rows {
            match list::value(&row[k], &parameter.unit) {
                Ok(value) => values.push(value),
                Err((found, expected)) => {
                    let found = format!("{}, line {line}, column `{wanted}`: {found}", path.display());
                    self.diagnostics.push(f.wrong("column", found, expected));
                    return None;
                }
            }
        }
        Some(values)
    }

    fn distribution(&mut self, f: &Fields, parameter: &ParameterPath) -> Option<Distribution> {
        let mut get = |key: &str| match key {
            "deviation" => self.measured(f, key, parameter.unit_of_difference()),
            _ => self.measured(f, key, &parameter.unit),
        };
        let distribution = match f.kind.as_str() {
            "uniform" => Distribution::Uniform { lower: get("lower")?, upper: get("upper")? },
            "normal" => Distribution::Normal { mean: get("mean")?, deviation: get("deviation")? },
            "truncated-normal" => Distribution::TruncatedNormal {
                mean: get("mean")?,
                deviation: get("deviation")?,
                lower: get("lower")?,
                upper: get("upper")?,
            },
            "lognormal" => {
                Distribution::LogNormal { median: get("median")?, log_deviation: f.number("log-deviation")? }
            }
            _ => Distribution::Triangular { lower: get("lower")?, mode: get("mode")?, upper: get("upper")? },
        };
        if let Some((key, found, expected)) = distribution.wrong() {
            self.diagnostics.push(f.wrong(key, found, expected));
            return None;
        }
        Some(distribution)
    }
}
