//! Where a fit begins: the values that are fitted, as the scenario has them.

use std::sync::Arc;

use super::{Asked, Question, StudyError};
use crate::diagnostic::Diagnostic;
use crate::input::parameter_path::{ParameterPath, PathContext};
use crate::study::question::{Checked, section};

/// A value that is fitted.
pub(super) struct Parameter {
    pub path: ParameterPath,
    /// Where it begins, in the path's unit.
    pub start: f64,
    /// Whether it may have either sign: values of records.
    pub linear: bool,
}

/// Where a fit begins.
pub(super) struct Begin {
    pub parameters: Vec<Parameter>,
    /// The scenario's tables.
    pub checked: Arc<Checked>,
}

impl Begin {
    /// The values that are fitted, as the scenario has them.
    ///
    /// # Errors
    /// Paths that lead nowhere, or to a value that is none to begin from; a scenario without records.
    pub fn of(question: &Question) -> Result<Self, StudyError> {
        let scenario = question.scenario()?;
        let Some(checked) = question.checked() else {
            return Err(StudyError::Refused("a fit needs a scenario".into()));
        };
        if scenario.measured.is_empty() {
            return Err(question.wrong(
                Asked::scenario,
                "no [[measured]]",
                "a record that is laid over the run",
            ));
        }
        let section = section(question.entry);
        let context =
            PathContext { what: "the scenario", root: &checked.fields, section, scenario: Some(scenario) };
        let mut parameters: Vec<Parameter> = Vec::new();
        let asked = question.asked(Asked::read)?;
        for named in &asked.parameter {
            let wrong = |found: String, expected: String, hint: Option<String>| {
                let d = Diagnostic::new(&named.span, question.fields.key(Asked::parameter), found, expected);
                StudyError::Value(Box::new(d.suggest(hint)))
            };
            let path =
                ParameterPath::find(&named.name, &context).map_err(|(f, e, hint)| wrong(f, e, hint))?;
            let linear = named.name.starts_with("measured.");
            let to_begin = || "a value in the scenario to begin from".to_string();
            let Some(start) = path.stated(&context) else {
                return Err(wrong(format!("`{}` has no value", named.name), to_begin(), None));
            };
            if path.whole || named.name.starts_with("fit.") {
                return Err(wrong(format!("`{}` is no quantity", named.name), "a quantity".into(), None));
            }
            if start == 0.0 && !linear {
                return Err(wrong(format!("`{}` is 0", named.name), to_begin(), None));
            }
            if parameters.iter().any(|p| p.path.path == path.path) {
                return Err(wrong(
                    format!("`{}` is named twice", named.name),
                    "each value once".into(),
                    None,
                ));
            }
            parameters.push(Parameter { path, start, linear });
        }
        Ok(Self { parameters, checked })
    }
}
