//! Words of format 1 and what they are called now: an earlier file is refused, and each old word is reported with its
//! new one where it stands.

use crate::diagnostic::Span;
use crate::input::keys::conform::{Conform, form_words};
use crate::input::keys::raw::RawTable;
use crate::input::keys::shape::{Form, Key};

/// Tables and keys.
const KEYS: &[(&str, &str)] = &[
    ("happening", "event"),
    ("guard", "protection"),
    ("duty", "mission"),
    ("course", "segment"),
    ("stack", "package"),
    ("emission", "ideality"),
    ("junction-voltage", "built-in-voltage"),
    ("grading", "depletion-exponent"),
    ("gain", "transconductance-factor"),
    ("heat-error", "temperature-error"),
];

/// What may stand before the key of a junction: the die, and the junction of it.
const PREFIXES: &[&str] = &["jfet-", "mosfet-", "gate-", "body-"];

/// Kinds of components, and technologies of parts.
const KINDS: &[(&str, &str)] = &[("stack", "cascode"), ("cascode-stack", "cascode")];

/// Commands.
const COMMANDS: &[(&str, &str)] = &[("duty", "mission")];

fn of(table: &[(&str, &'static str)], old: &str) -> Option<&'static str> {
    table.iter().find(|(from, _)| *from == old).map(|(_, to)| *to)
}

/// The new name of a key or table.
pub fn key(old: &str) -> Option<String> {
    let mut bare = old;
    while let Some(rest) = PREFIXES.iter().find_map(|p| bare.strip_prefix(p)) {
        bare = rest;
    }
    of(KEYS, bare).map(|new| format!("{}{new}", &old[..old.len() - bare.len()]))
}

/// The new name of a kind or technology.
pub fn kind(old: &str) -> Option<&'static str> {
    of(KINDS, old)
}

/// The new name of a command.
pub fn command(old: &str) -> Option<&'static str> {
    of(COMMANDS, old)
}

/// The new form of a signal: `v(a)` is `voltage(a)`, `i(X)` is `X.current`, `X.heat` is `X.power`.
pub fn signal(old: &str) -> Option<String> {
    // Watts were called heat; "heat" of a die now is the heat input that takes its energy.
    if let Some((of, die)) = old.trim().strip_suffix("heat").and_then(|rest| rest.rsplit_once('.')) {
        return (die.is_empty() || PREFIXES.contains(&die)).then(|| format!("{of}.{die}power"));
    }
    let (function, rest) = old.trim().split_once('(')?;
    let inside = rest.strip_suffix(')')?.trim();
    match function.trim() {
        "v" => Some(format!("voltage({inside})")),
        "i" => Some(format!("{inside}.current")),
        _ => None,
    }
}

/// The new form of a path to a value (`component.D1.emission`); `None` where nothing of it was renamed.
pub fn path(old: &str) -> Option<String> {
    let mut segments: Vec<String> = old.split('.').map(String::from).collect();
    let last = segments.len() - 1;
    for (k, segment) in segments.iter_mut().enumerate() {
        let table = match segment.as_str() {
            "happening" | "guard" | "duty" => k == 0 && last > 0,
            "course" | "stack" => k == 1,
            _ => k == last && k > 0,
        };
        if let Some(new) = key(segment).filter(|_| table) {
            *segment = new;
        }
    }
    Some(segments.join(".")).filter(|new| new != old)
}

/// What is found of an old word.
pub fn called(old: &str, new: &str) -> String {
    format!("`{old}` is called `{new}` since format 2")
}

/// Whether a table has a key, under its name or the one it had.
pub(super) fn has(table: &RawTable, name: &str) -> bool {
    table.entries.iter().any(|(typed, ..)| typed == name || key(typed).as_deref() == Some(name))
}

impl Conform<'_> {
    /// Tells an integer that is not in its form's range; an earlier format by its name.
    pub(super) fn out_of_range<T>(
        &mut self,
        span: &Span,
        key: &str,
        x: i64,
        (least, form): (i64, Form),
    ) -> Option<T> {
        if key == "format" && (1..least).contains(&x) {
            let found = format!("format {x} of an earlier Joulestep; this program reads format {least}");
            self.report(span, key, found, "");
        } else {
            self.report(span, key, format!("`{x}` is out of range"), form_words(form));
        }
        None
    }

    /// The key that was called `typed`, which is reported; the table is then checked under its new name.
    pub(super) fn renamed<'k>(
        &mut self,
        typed: &str,
        keys: &'k [Key],
        span: &Span,
        full: &str,
    ) -> Option<&'k Key> {
        let new = key(typed)?;
        let key = keys.iter().find(|k| k.name == new)?;
        self.report(span, full, called(typed, &new), format!("`{new}`"));
        Some(key)
    }

    /// The kind that was called `typed`, which is reported where the file says it (`key`).
    pub(super) fn kind_now(&mut self, typed: String, reported_at: Option<(&Span, &str)>) -> String {
        let Some(new) = kind(&typed) else { return typed };
        if let Some((span, path)) = reported_at {
            self.report(span, &format!("{path}.kind"), called(&typed, new), format!("`{new}`"));
        }
        new.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_words_have_new_ones_and_others_stay() {
        let pairs = [
            ("component.D1.emission", "component.D1.ideality"),
            ("component.Q1.mosfet-body-emission", "component.Q1.mosfet-body-ideality"),
            ("part.params.jfet-junction-voltage", "part.params.jfet-built-in-voltage"),
            ("guard.oc.threshold", "protection.oc.threshold"),
            ("happening.3.at", "event.3.at"),
            ("thermal.stack.q1.temperature", "thermal.package.q1.temperature"),
            ("duty.course.1.points", "mission.segment.1.points"),
        ];
        for (old, new) in pairs {
            assert_eq!(path(old).as_deref(), Some(new));
            assert_eq!(path(new), None);
        }
        for fine in ["arrangement.duty", "controller.guard.duty", "steps.end"] {
            assert_eq!(path(fine), None, "{fine}");
        }
        assert_eq!(signal("v(a, b)").as_deref(), Some("voltage(a, b)"));
        assert_eq!(signal(" i(L1)").as_deref(), Some("L1.current"));
        assert_eq!(signal("line(v)"), None);
    }
}
