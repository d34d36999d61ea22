//! Correlations between distributed values.

use super::Read;
use crate::batch::distribution::cholesky;
use crate::batch::plan::{Input, Sampling};
use crate::batch::sections::Correlation;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::Fields;

impl Read<'_> {
    pub(super) fn correlation(
        &mut self,
        tables: &[Fields],
        inputs: &[Input],
        sampling: Sampling,
    ) -> Option<Vec<Vec<f64>>> {
        let first = tables.first()?;
        if matches!(sampling, Sampling::Grid | Sampling::List | Sampling::Sensitivity { .. }) {
            let expected =
                "monte-carlo, latin-hypercube or sobol-sequence (Sobol indices are for independent values)";
            self.report(&first.span, "correlation", "correlations with this sampling", expected);
            return None;
        }
        let n = inputs.len();
        let mut matrix = vec![vec![0.0; n]; n];
        (0..n).for_each(|k| matrix[k][k] = 1.0);
        for table in tables {
            let Correlation { between: pair, coefficient: r } = Correlation::read(table)?;
            let mut numbers = Vec::new();
            for named in &pair {
                match inputs.iter().position(|i| i.name == named.name) {
                    Some(k) => numbers.push(k),
                    None => {
                        let names: Vec<&str> = inputs.iter().map(|i| i.name.as_str()).collect();
                        let found = format!("no varied value is named `{}`", named.name);
                        let d = Diagnostic::new(
                            &named.span,
                            table.key(Correlation::between),
                            found,
                            one_of(&names),
                        );
                        self.diagnostics.push(d.suggest(nearest(&named.name, names)));
                    }
                }
            }
            match numbers[..] {
                [a, b] if a != b => {
                    (matrix[a][b], matrix[b][a]) = (r, r);
                }
                _ if pair.len() == numbers.len() => {
                    self.diagnostics.push(table.wrong(
                        Correlation::between,
                        "no pair",
                        "the names of two varied values",
                    ));
                }
                _ => {}
            }
        }
        let factor = cholesky(&matrix);
        if factor.is_none() {
            let found = "these coefficients contradict each other: their matrix is not positive definite";
            self.report(&first.span, "correlation", found, "coefficients that can hold together");
        }
        factor
    }
}
