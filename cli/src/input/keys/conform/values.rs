//! Single values: names, texts, quantities.

use joulestep_models::model::Range;

use super::Conform;
use crate::diagnostic::{Diagnostic, Span};
use crate::input::keys::fields::Named;
use crate::input::keys::raw::{Node, Raw};
use crate::input::keys::shape::{self, Form, NAME_GRAMMAR};
use crate::input::keys::words::{shortened, unit_of};

impl Conform<'_> {
    pub(super) fn name(&mut self, text: &str, span: &Span, key: &str) -> Option<Named> {
        if shape::is_name(text) {
            return Some(Named { name: text.to_string(), span: span.clone() });
        }
        self.report(span, key, format!("`{}` is not a name", shortened(text)), NAME_GRAMMAR);
        None
    }

    pub(super) fn text(&mut self, text: &str, span: &Span, key: &str) -> Option<String> {
        if text.chars().any(char::is_control) {
            self.report(span, key, "a control character in a text", "one line of text");
            return None;
        }
        Some(text.to_string())
    }

    pub(super) fn number(&mut self, node: &Node, unit: &str, range: Range, key: &str) -> Option<f64> {
        let typed = match &node.value {
            Raw::Text(s) => Ok(s.as_str()),
            Raw::Whole(x) => Err(*x as f64),
            Raw::Number(x) => Err(*x),
            _ => return self.wrong_form(node, Form::Quantity(unit_of(unit), range), key),
        };
        match shape::quantity(typed, unit, range) {
            Ok(x) => Some(x),
            Err((found, expected, suggestion)) => {
                let d = Diagnostic::new(&node.span, key, found, expected);
                self.diagnostics.push(d.suggest(suggestion));
                None
            }
        }
    }

    pub(super) fn pair(
        &mut self,
        node: &Node,
        x: &'static str,
        y: &'static str,
        key: &str,
    ) -> Option<(f64, f64)> {
        match &node.value {
            Raw::List(two) if two.len() == 2 => {
                let a = self.number(&two[0], x, Range::Any, key);
                a.zip(self.number(&two[1], y, Range::Any, key))
            }
            _ => self.wrong_form(node, Form::Pairs(x, y), key),
        }
    }
}
