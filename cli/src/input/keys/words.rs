//! Words for what stands in a file and for what should.

use crate::diagnostic::{Diagnostic, Span, nearest};
use crate::input::keys::conform::Conform;
use crate::input::keys::shape::Form;

/// Units in key tables are static; a borrowed one is looked up among those the house uses only to word an error.
pub(super) fn unit_of(unit: &str) -> &'static str {
    const COMMON: &[&str] = &["ohm", "V", "A", "s", "F", "H", "W", "J", "C", "Hz", "degC", "K", "rad", "1"];
    COMMON.iter().find(|u| **u == unit).copied().unwrap_or("1")
}

/// A text cut to what fits a line.
pub(super) fn shortened(text: &str) -> String {
    if text.chars().count() <= 40 {
        return text.to_string();
    }
    text.chars().take(37).chain("...".chars()).collect()
}

/// Words of a list that are reported; further ones are counted.
const LISTED: usize = 100;

/// "`a`, `b` or `c`".
pub fn one_of(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().take(LISTED).map(|w| format!("`{w}`")).collect();
    if words.len() > LISTED {
        return format!("{} or one of {} more", quoted.join(", "), words.len() - LISTED);
    }
    match quoted.as_slice() {
        [] => "one that is defined (there is none)".into(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}

/// A form in words.
pub fn form_words(form: Form) -> String {
    let kind = |unit: &str| {
        let unit = joulestep_engine::units::parse_unit(unit).map(|u| u.dimension);
        unit.map_or_else(|_| ("a quantity".into(), String::new()), |d| (d.kind(), d.example()))
    };
    match form {
        Form::Quantity(unit, _) => {
            let (kind, example) = kind(unit);
            format!("{kind} such as {example}")
        }
        Form::Measure => "a quantity such as \"250 A\"".into(),
        Form::Measures => "a list of quantities such as [\"200 A\", \"250 A\"]".into(),
        Form::Whole(a, b) if a == b => format!("{a}"),
        Form::Whole(a, b) => format!("an integer from {a} to {b}"),
        Form::Flag => "true or false".into(),
        Form::Text => "one line of text".into(),
        Form::Name => "a name".into(),
        Form::Word(words) => one_of(words),
        Form::Any => "a table".into(),
        Form::OneOrMore => "a text, or a list of texts".into(),
        Form::Texts => "a list of texts".into(),
        Form::Names => "a list of names".into(),
        Form::Quantities(unit, _) => format!("a list, each {} such as {}", kind(unit).0, kind(unit).1),
        Form::Pairs(x, y) => format!("a list of pairs [{}, {}]", kind(x).0, kind(y).0),
        Form::Pins => "a list of node names, or a table from pin to node".into(),
        Form::NameOrMap => "a name, or a table from name to name".into(),
        Form::Rows => "a list of pairs [abscissa, ordinate]".into(),
        Form::Named(section) => format!("tables [{}.NAME]", section.name),
        Form::Parameters(..) => "a table of parameters".into(),
        Form::Table(section) => format!("the table [{}]", section.name),
        Form::Tables(section) => format!("tables [[{}]]", section.name),
    }
}

impl Conform<'_> {
    /// Tells a kind that there is none of.
    pub(super) fn unknown_kind(
        &mut self,
        span: &Span,
        path: &str,
        tag: &str,
        typed: &str,
        section: &str,
        words: &[&str],
    ) {
        let key = format!("{path}.{tag}");
        let words = if crate::diagnostic::worded(&self.diagnostics) { words } else { &[] };
        let d = Diagnostic::new(span, key, format!("[{section}] has no {tag} `{typed}`"), one_of(words));
        self.diagnostics.push(d.suggest(nearest(typed, words.iter().copied())));
    }
}
