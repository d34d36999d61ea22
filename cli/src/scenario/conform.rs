//! Checks a table as typed against its description: every key known, every value of its form, nothing missing.
//! Goes on after an error, so that one reading tells all of them.

use std::collections::BTreeMap;

use joulestep_models::model::{Entry, Range};

use crate::diagnostic::{Diagnostic, Place, nearest};
use crate::scenario::fields::{Content, Field, Fields, Named};
use crate::scenario::raw::{Node, Raw, Table};
use crate::scenario::shape::{self, Form, Key, Kinds, NAME_GRAMMAR, Section};

/// What the check knows of the world: the catalogue, and which kind a part is of.
pub struct Conform<'a> {
    /// The catalogue of models.
    pub catalogue: &'a [Entry<f64>],
    /// Kind of a part by the name under which the scenario asks for it.
    pub kind_of_part: &'a dyn Fn(&Place, &str) -> Option<String>,
    /// What was wrong so far.
    pub diagnostics: Vec<Diagnostic>,
}

impl Conform<'_> {
    fn tell(&mut self, place: &Place, key: &str, found: impl Into<String>, expected: impl Into<String>) {
        self.diagnostics.push(Diagnostic::new(place, key, found, expected));
    }

    /// Checks a table; what is right of it comes back.
    pub fn table(&mut self, table: &Table, section: &Section, path: &str) -> Fields {
        let path = match table.get("name").map(|n| &n.value) {
            Some(Raw::Text(name)) if shape::is_name(name) && !path.is_empty() => {
                format!("{}.{name}", path.split('[').next().unwrap_or(path))
            }
            _ => path.to_string(),
        };
        let (keys, kind) = self.keys(table, section, &path);
        let of = match (section.name, kind.as_str()) {
            ("", _) => "the scenario".to_string(),
            (name, "") => format!("[{name}]"),
            (name, kind) => format!("[{name}] of kind `{kind}`"),
        };
        let empty = Fields { place: table.place.clone(), path, kind, values: BTreeMap::new() };
        match keys {
            Some(keys) => self.against(table, &keys, &of, empty),
            None => empty,
        }
    }

    /// Checks a table against keys; `of` says in words whose keys they are.
    pub fn against(&mut self, table: &Table, keys: &[Key], of: &str, mut fields: Fields) -> Fields {
        for (typed, place, node) in &table.entries {
            let full = fields.key(typed);
            let Some(key) = keys.iter().find(|k| k.name == typed) else {
                let names: Vec<&str> = keys.iter().map(|k| k.name).collect();
                let d = Diagnostic::new(place, full, format!("unknown key in {of}"), one_of(&names));
                self.diagnostics.push(d.suggest(nearest(typed, names)));
                continue;
            };
            if let Some(content) = self.value(node, key.form, &full) {
                fields.values.insert(key.name, Field { place: node.place.clone(), content });
            }
        }
        for key in keys.iter().filter(|k| k.required && table.get(k.name).is_none()) {
            let full = fields.key(key.name);
            self.tell(&table.place, &full, "missing", format!("{} ({})", form_words(key.form), key.help));
        }
        fields
    }

    /// The keys that this table may have, and the word of its kind. `None`: the kind is wrong (and told), so
    /// nothing can be said of its keys.
    fn keys(&mut self, table: &Table, section: &Section, path: &str) -> (Option<Vec<Key>>, String) {
        let mut keys = section.keys.to_vec();
        let word = |name: &str| match table.get(name) {
            Some(Node { value: Raw::Text(s), place }) => Some((s.as_str(), place)),
            _ => None,
        };
        match section.kinds {
            Kinds::None => (Some(keys), String::new()),
            Kinds::Listed(tag, kinds) => {
                let Some((typed, place)) = word(tag) else {
                    // Missing, or not a string: the common keys tell it.
                    let wrong = self.common(table, section, path);
                    return (if wrong { None } else { Some(keys) }, String::new());
                };
                let Some(kind) = kinds.iter().find(|k| k.word == typed) else {
                    let words: Vec<&str> = kinds.iter().map(|k| k.word).collect();
                    self.unknown_kind(place, path, tag, typed, section.name, &words);
                    return (None, String::new());
                };
                keys.extend(kind.keys);
                (Some(keys), typed.to_string())
            }
            Kinds::Catalogue => {
                let part = word("part");
                let of_part = part.and_then(|(name, place)| (self.kind_of_part)(place, name));
                let Some(typed) = word("kind").map(|w| w.0.to_string()).or(of_part.clone()) else {
                    // A part that cannot be found is told where parts are resolved.
                    if part.is_none() {
                        self.common(table, section, path);
                    }
                    return (None, String::new());
                };
                let place = table.get("kind").map_or(&table.place, |n| &n.place);
                let Some(entry) = self.catalogue.iter().find(|e| e.kind == typed) else {
                    let words: Vec<&str> = self.catalogue.iter().map(|e| e.kind).collect();
                    self.unknown_kind(place, path, "kind", &typed, section.name, &words);
                    return (None, String::new());
                };
                if of_part.as_ref().is_some_and(|k| *k != typed) {
                    let found = format!("the part is of kind `{}`", of_part.unwrap_or_default());
                    self.tell(place, &format!("{path}.kind"), found, format!("a part of kind `{typed}`"));
                }
                keys.extend(entry.params.iter().map(|p| Key::of_param(p, part.is_some())));
                (Some(keys), typed)
            }
        }
    }

    fn unknown_kind(
        &mut self,
        place: &Place,
        path: &str,
        tag: &str,
        typed: &str,
        section: &str,
        words: &[&str],
    ) {
        let key = format!("{path}.{tag}");
        let d = Diagnostic::new(place, key, format!("[{section}] has no {tag} `{typed}`"), one_of(words));
        self.diagnostics.push(d.suggest(nearest(typed, words.iter().copied())));
    }

    /// Tells that the key which says the kind is missing or no string.
    fn common(&mut self, table: &Table, section: &Section, path: &str) -> bool {
        let (tag, words): (&str, Vec<&str>) = match section.kinds {
            Kinds::Listed(tag, kinds) => (tag, kinds.iter().map(|k| k.word).collect()),
            _ => ("kind", self.catalogue.iter().map(|e| e.kind).collect()),
        };
        let key = format!("{path}.{tag}");
        match table.get(tag) {
            None => self.tell(&table.place, &key, "missing", one_of(&words)),
            Some(node) => {
                self.tell(&node.place, &key, format!("found {}", node.value.word()), one_of(&words))
            }
        }
        true
    }

    fn value(&mut self, node: &Node, form: Form, key: &str) -> Option<Content> {
        let place = &node.place;
        match (form, &node.value) {
            (Form::Quantity(unit, range), _) => self.number(node, unit, range, key).map(Content::Number),
            (Form::Any, _) => Some(Content::Any),
            (Form::Measure, Raw::Text(s)) => Some(Content::Measure(Ok(s.clone()))),
            (Form::Measure, Raw::Whole(x)) => Some(Content::Measure(Err(*x as f64))),
            (Form::Measure, Raw::Number(x)) => Some(Content::Measure(Err(*x))),
            (Form::Whole(a, b), Raw::Whole(x)) if (a..=b).contains(x) => Some(Content::Whole(*x)),
            (Form::Whole(..), Raw::Whole(x)) => {
                self.tell(place, key, format!("`{x}` is out of range"), form_words(form));
                None
            }
            (Form::Flag, Raw::Flag(x)) => Some(Content::Flag(*x)),
            (Form::Text, Raw::Text(s)) => self.text(s, place, key).map(Content::Text),
            (Form::Name, Raw::Text(s)) => self.name(s, place, key).map(|n| Content::Text(n.name)),
            (Form::Word(words), Raw::Text(s)) => {
                if words.contains(&s.as_str()) {
                    return Some(Content::Text(s.clone()));
                }
                let d = Diagnostic::new(place, key, format!("unknown word `{s}`"), one_of(words));
                self.diagnostics.push(d.suggest(nearest(s, words.iter().copied())));
                None
            }
            (Form::Texts, Raw::List(items)) => self.each(items, key, |this, item, key| match &item.value {
                Raw::Text(s) => {
                    this.text(s, &item.place, key).map(|name| Named { name, place: item.place.clone() })
                }
                _ => this.wrong_form(item, Form::Text, key),
            }),
            (Form::Names | Form::Pins, Raw::List(items)) => {
                self.each(items, key, |this, item, key| match &item.value {
                    Raw::Text(s) => this.name(s, &item.place, key),
                    _ => this.wrong_form(item, Form::Name, key),
                })
            }
            (Form::NameOrMap, Raw::Text(s)) => self.name(s, place, key).map(|n| Content::Texts(vec![n])),
            (Form::Pins | Form::NameOrMap, Raw::Table(t)) => self.map(t, key).map(Content::Map),
            (Form::Quantities(unit, range), Raw::List(items)) => {
                let numbers: Vec<_> = items.iter().map(|n| self.number(n, unit, range, key)).collect();
                numbers.into_iter().collect::<Option<Vec<_>>>().map(Content::Numbers)
            }
            (Form::Pairs(x, y), Raw::List(items)) => {
                let pairs: Vec<_> = items.iter().map(|n| self.pair(n, x, y, key)).collect();
                pairs.into_iter().collect::<Option<Vec<_>>>().map(Content::Pairs)
            }
            (Form::Table(section), Raw::Table(t)) => Some(Content::Table(self.table(t, section, key))),
            (Form::Tables(section), Raw::List(items)) => {
                let mut tables = Vec::new();
                for (k, item) in items.iter().enumerate() {
                    match &item.value {
                        Raw::Table(t) => tables.push(self.table(t, section, &format!("{key}[{}]", k + 1))),
                        _ => drop(self.wrong_form::<()>(item, form, key)),
                    }
                }
                Some(Content::Tables(tables))
            }
            _ => self.wrong_form(node, form, key),
        }
    }

    fn wrong_form<T>(&mut self, node: &Node, form: Form, key: &str) -> Option<T> {
        self.tell(&node.place, key, format!("found {}", node.value.word()), form_words(form));
        None
    }

    fn each(
        &mut self,
        items: &[Node],
        key: &str,
        one: impl Fn(&mut Self, &Node, &str) -> Option<Named>,
    ) -> Option<Content> {
        let names: Vec<_> = items.iter().map(|item| one(self, item, key)).collect();
        names.into_iter().collect::<Option<Vec<_>>>().map(Content::Texts)
    }

    fn map(&mut self, table: &Table, key: &str) -> Option<Vec<(Named, Named)>> {
        let mut pairs = Vec::new();
        for (name, place, node) in &table.entries {
            let from = self.name(name, place, key);
            let to = match &node.value {
                Raw::Text(s) => self.name(s, &node.place, &format!("{key}.{name}")),
                _ => self.wrong_form(node, Form::Name, &format!("{key}.{name}")),
            };
            pairs.push(from.zip(to));
        }
        pairs.into_iter().collect()
    }

    fn name(&mut self, text: &str, place: &Place, key: &str) -> Option<Named> {
        if shape::is_name(text) {
            return Some(Named { name: text.to_string(), place: place.clone() });
        }
        self.tell(place, key, format!("`{}` is not a name", shortened(text)), NAME_GRAMMAR);
        None
    }

    fn text(&mut self, text: &str, place: &Place, key: &str) -> Option<String> {
        if text.chars().any(char::is_control) {
            self.tell(place, key, "a control character in a text", "one line of text");
            return None;
        }
        Some(text.to_string())
    }

    fn number(&mut self, node: &Node, unit: &str, range: Range, key: &str) -> Option<f64> {
        let typed = match &node.value {
            Raw::Text(s) => Ok(s.as_str()),
            Raw::Whole(x) => Err(*x as f64),
            Raw::Number(x) => Err(*x),
            _ => return self.wrong_form(node, Form::Quantity(unit_of(unit), range), key),
        };
        match shape::quantity(typed, unit, range) {
            Ok(x) => Some(x),
            Err((found, expected, suggestion)) => {
                let d = Diagnostic::new(&node.place, key, found, expected);
                self.diagnostics.push(d.suggest(suggestion));
                None
            }
        }
    }

    fn pair(&mut self, node: &Node, x: &'static str, y: &'static str, key: &str) -> Option<(f64, f64)> {
        match &node.value {
            Raw::List(two) if two.len() == 2 => {
                let a = self.number(&two[0], x, Range::Any, key);
                a.zip(self.number(&two[1], y, Range::Any, key))
            }
            _ => self.wrong_form(node, Form::Pairs(x, y), key),
        }
    }
}

/// Units in key tables are static; a borrowed one is looked up among those the house uses only to word an error.
fn unit_of(unit: &str) -> &'static str {
    const COMMON: &[&str] = &["ohm", "V", "A", "s", "F", "H", "W", "J", "C", "Hz", "degC", "K", "rad", "1"];
    COMMON.iter().find(|u| **u == unit).copied().unwrap_or("1")
}

/// A text cut to what fits a line.
fn shortened(text: &str) -> String {
    if text.chars().count() <= 40 {
        return text.to_string();
    }
    text.chars().take(37).chain("...".chars()).collect()
}

/// "`a`, `b` or `c`".
pub fn one_of(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|w| format!("`{w}`")).collect();
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
        Form::Whole(a, b) if a == b => format!("{a}"),
        Form::Whole(a, b) => format!("an integer from {a} to {b}"),
        Form::Flag => "true or false".into(),
        Form::Text => "one line of text".into(),
        Form::Name => "a name".into(),
        Form::Word(words) => one_of(words),
        Form::Any => "a table".into(),
        Form::Texts => "a list of texts".into(),
        Form::Names => "a list of names".into(),
        Form::Quantities(unit, _) => format!("a list, each {} such as {}", kind(unit).0, kind(unit).1),
        Form::Pairs(x, y) => format!("a list of pairs [{}, {}]", kind(x).0, kind(y).0),
        Form::Pins => "a list of node names, or a table from pin to node".into(),
        Form::NameOrMap => "a name, or a table from name to name".into(),
        Form::Table(section) => format!("the table [{}]", section.name),
        Form::Tables(section) => format!("tables [[{}]]", section.name),
    }
}
