//! Checks a table as typed against its description: every key known, every value of its form, nothing missing.
//! Goes on after an error, so that one reading reports all of them.

mod values;

use joulestep_models::arrangement;
use joulestep_models::model::Entry;

use crate::diagnostic::{Diagnostic, Span, nearest, worded};
use crate::input::keys::fields::{Content, Field, Fields, Named, TypedAt};
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::renamed;
use crate::input::keys::shape::{self, Form, Key, Kinds, Section};
pub use crate::input::keys::words::{form_words, one_of};

/// Names of the arrangements.
fn arrangements() -> Vec<&'static str> {
    arrangement::shipped().iter().map(|a| a.kind).collect()
}

/// What the check knows of the world: the catalogue, and which kind a part is of.
pub struct Conform<'a> {
    /// The catalogue of models.
    pub catalogue: &'a [Entry],
    /// Kind of a part by the name under which the scenario asks for it.
    pub kind_of_part: &'a dyn Fn(&Span, &str) -> Option<String>,
    /// What was wrong so far.
    pub diagnostics: Vec<Diagnostic>,
}

impl Conform<'_> {
    pub(super) fn report(
        &mut self,
        span: &Span,
        key: &str,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.diagnostics.push(Diagnostic::new(span, key, found, expected));
    }

    /// Checks a table; what is right of it comes back.
    pub fn table(&mut self, table: &RawTable, section: &Section, path: &str) -> Fields {
        let path = match table.get("name").map(|n| &n.value) {
            Some(Raw::Text(name)) if shape::is_name(name) && !path.is_empty() => {
                format!("{}.{name}", path.split('[').next().unwrap_or(path))
            }
            _ => path.to_string(),
        };
        let (keys, kind) = self.keys(table, section, &path);
        let of = match (section.name, kind.as_str()) {
            _ if matches!(section.kinds, Kinds::Part(_)) => "a part file".to_string(),
            ("", _) => "the scenario".to_string(),
            (name, "") => format!("[{name}]"),
            (name, kind) => format!("[{name}] of kind `{kind}`"),
        };
        let empty = Fields::empty(&table.span, path, kind);
        match keys {
            Some(keys) => self.against(table, &keys, &of, empty),
            None => empty,
        }
    }

    /// Checks a table against keys; `of` says in words whose keys they are.
    pub fn against(&mut self, table: &RawTable, keys: &[Key], of: &str, mut fields: Fields) -> Fields {
        for (typed, span, node) in &table.entries {
            let full = fields.key(typed);
            let key = keys.iter().find(|k| k.name == typed);
            let Some(key) = key.or_else(|| self.renamed(typed, keys, span, &full)) else {
                let worded = worded(&self.diagnostics);
                let names: Vec<&str> = keys.iter().filter(|_| worded).map(|k| k.name).collect();
                let d = Diagnostic::new(span, full, format!("unknown key in {of}"), one_of(&names));
                self.diagnostics.push(d.suggest(nearest(typed, names)));
                continue;
            };
            if let Some(content) = self.value(node, key.form, &fields.key(key.name)) {
                fields.values.insert(key.name, Field { span: node.span.clone(), content });
            }
        }
        for key in keys.iter().filter(|k| k.required && !renamed::has(table, k.name)) {
            let full = fields.key(key.name);
            self.tell_form(&table.span, &full, "missing", key.form, Some(key.help));
        }
        fields
    }

    /// The keys that this table may have, and the word of its kind. `None`: the kind is wrong (and reported), so
    /// nothing can be said of its keys.
    fn keys(&mut self, table: &RawTable, section: &Section, path: &str) -> (Option<Vec<Key>>, String) {
        let mut keys = section.keys.to_vec();
        let word = |name: &str| match table.get(name) {
            Some(Node { value: Raw::Text(s), span }) => Some((s.as_str(), span)),
            _ => None,
        };
        match section.kinds {
            Kinds::None => (Some(keys), String::new()),
            Kinds::Listed(tag, kinds) => {
                if let Some(kind) = section.default_kind().filter(|_| table.get(tag).is_none()) {
                    keys.extend(kind.keys);
                    return (Some(keys), kind.word.to_string());
                }
                let Some((typed, span)) = word(tag) else {
                    // Missing, or not a string: the common keys tell it.
                    let wrong = self.common(table, section, path);
                    return (if wrong { None } else { Some(keys) }, String::new());
                };
                let Some(kind) = kinds.iter().find(|k| k.word == typed) else {
                    let words: Vec<&str> = kinds.iter().map(|k| k.word).collect();
                    self.unknown_kind(span, path, tag, typed, section.name, &words);
                    return (None, String::new());
                };
                keys.extend(kind.keys);
                (Some(keys), typed.to_string())
            }
            Kinds::Arrangements => {
                let Some((typed, span)) = word("kind") else {
                    self.common(table, section, path);
                    return (None, String::new());
                };
                let Some(a) = arrangement::find(typed) else {
                    self.unknown_kind(span, path, "kind", typed, section.name, &arrangements());
                    return (None, String::new());
                };
                keys.extend(Key::of_arrangement(a));
                (Some(keys), typed.to_string())
            }
            Kinds::Part(tables) => self.of_part(table, tables, keys, path),
            Kinds::Catalogue => {
                let part = word("part");
                let of_part = part.and_then(|(name, span)| (self.kind_of_part)(span, name));
                let Some(typed) = word("kind").map(|w| w.0.to_string()).or(of_part.clone()) else {
                    // A part that cannot be found is reported where parts are resolved.
                    if part.is_none() {
                        self.common(table, section, path);
                    }
                    return (None, String::new());
                };
                let span = table.get("kind").map_or(&table.span, |n| &n.span);
                let typed = self.kind_now(typed, word("kind").map(|w| (w.1, path)));
                let Some(entry) = self.catalogue.iter().find(|e| e.kind == typed) else {
                    let words: Vec<&str> = self.catalogue.iter().map(|e| e.kind).collect();
                    self.unknown_kind(span, path, "kind", &typed, section.name, &words);
                    return (None, String::new());
                };
                if of_part.as_ref().is_some_and(|k| *k != typed) {
                    let found = format!("the part is of kind `{}`", of_part.unwrap_or_default());
                    self.report(span, &format!("{path}.kind"), found, format!("a part of kind `{typed}`"));
                }
                keys.extend(entry.params.iter().map(|p| Key::of_param(p, part.is_some())));
                (Some(keys), typed)
            }
        }
    }

    fn of_part(
        &mut self,
        table: &RawTable,
        tables: &[Key],
        mut keys: Vec<Key>,
        path: &str,
    ) -> (Option<Vec<Key>>, String) {
        let Some(Node { value: Raw::Text(typed), span }) = table.get("kind") else {
            // Missing, or not a string: the common keys tell it, and nothing is said of the parameters.
            keys.extend(tables.iter().map(|t| Key { required: false, ..*t }));
            return (Some(keys), String::new());
        };
        let typed = &self.kind_now(typed.clone(), Some((span, path)));
        let Some(entry) = self.catalogue.iter().find(|e| e.kind == *typed) else {
            let kinds: Vec<&str> = self.catalogue.iter().map(|e| e.kind).collect();
            let found = format!("there is no kind `{typed}`");
            let d = Diagnostic::new(span, format!("{path}.kind"), found, one_of(&kinds));
            self.diagnostics.push(d.suggest(nearest(typed, kinds)));
            return (None, String::new());
        };
        let form = Form::Parameters(entry.kind, entry.params);
        keys.extend(tables.iter().map(|t| Key { form, ..*t }));
        (Some(keys), typed.clone())
    }

    /// Tells that the key which says the kind is missing or no string.
    fn common(&mut self, table: &RawTable, section: &Section, path: &str) -> bool {
        let (tag, words): (&str, Vec<&str>) = match section.kinds {
            Kinds::Listed(tag, kinds) => (tag, kinds.iter().map(|k| k.word).collect()),
            _ if !worded(&self.diagnostics) => ("kind", Vec::new()),
            Kinds::Arrangements => ("kind", arrangements()),
            _ => ("kind", self.catalogue.iter().map(|e| e.kind).collect()),
        };
        let key = format!("{path}.{tag}");
        match table.get(tag) {
            None => match table.entries.iter().find(|e| nearest(&e.0, [tag, "part"]).is_some()) {
                Some((typed, span, _)) if matches!(section.kinds, Kinds::Catalogue) => {
                    let found = format!("unknown key in [{}]", section.name);
                    let d = Diagnostic::new(span, format!("{path}.{typed}"), found, "`kind` or `part`");
                    self.diagnostics.push(d.suggest(nearest(typed, [tag, "part"])));
                }
                _ => self.report(&table.span, &key, "missing", one_of(&words)),
            },
            Some(node) => {
                self.report(&node.span, &key, format!("found {}", node.value.word()), one_of(&words))
            }
        }
        true
    }

    fn value(&mut self, node: &Node, form: Form, key: &str) -> Option<Content> {
        let span = &node.span;
        match (form, &node.value) {
            (Form::Quantity(unit, range), _) => self.number(node, unit, range, key).map(Content::Number),
            (Form::Any, _) => Some(Content::Any),
            (Form::Measure, Raw::Text(s)) => Some(Content::Measure(Ok(s.clone()))),
            (Form::Measure, Raw::Whole(x)) => Some(Content::Measure(Err(*x as f64))),
            (Form::Measure, Raw::Number(x)) => Some(Content::Measure(Err(*x))),
            (Form::Whole(a, b), Raw::Whole(x)) if (a..=b).contains(x) => Some(Content::Whole(*x)),
            (Form::Whole(least, _), Raw::Whole(x)) => self.out_of_range(span, key, *x, (least, form)),
            (Form::Flag, Raw::Flag(x)) => Some(Content::Flag(*x)),
            (Form::Text, Raw::Text(s)) => self.text(s, span, key).map(Content::Text),
            (Form::Name, Raw::Text(s)) => self.name(s, span, key).map(|n| Content::Text(n.name)),
            (Form::Word(words), Raw::Text(s)) if words.contains(&s.as_str()) => {
                Some(Content::Text(s.clone()))
            }
            (Form::Word(words), Raw::Text(s)) => {
                let found =
                    renamed::kind(s).map_or(format!("unknown word `{s}`"), |new| renamed::called(s, new));
                let d = Diagnostic::new(span, key, found, one_of(words));
                self.diagnostics.push(d.suggest(nearest(s, words.iter().copied())));
                None
            }
            (Form::OneOrMore, Raw::Text(s)) => {
                let name = self.text(s, span, key)?;
                Some(Content::Texts(vec![Named { name, span: span.clone() }]))
            }
            (Form::Texts | Form::OneOrMore, Raw::List(items)) => {
                self.each(items, key, |this, item, key| match &item.value {
                    Raw::Text(s) => {
                        this.text(s, &item.span, key).map(|name| Named { name, span: item.span.clone() })
                    }
                    _ => this.wrong_form(item, Form::Text, key),
                })
            }
            (Form::Names | Form::Pins, Raw::List(items)) => {
                self.each(items, key, |this, item, key| match &item.value {
                    Raw::Text(s) => this.name(s, &item.span, key),
                    _ => this.wrong_form(item, Form::Name, key),
                })
            }
            (Form::NameOrMap, Raw::Text(s)) => self.name(s, span, key).map(|n| Content::Texts(vec![n])),
            (Form::Pins | Form::NameOrMap, Raw::Table(t)) => self.map(t, key).map(Content::Map),
            (Form::Quantities(unit, range), Raw::Text(_) | Raw::Whole(_) | Raw::Number(_)) => {
                self.number(node, unit, range, key).map(|x| Content::Numbers(vec![x]))
            }
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
            (Form::Measures, Raw::List(items)) => {
                let typed: Vec<_> = items.iter().map(|n| self.typed(n, key)).collect();
                typed.into_iter().collect::<Option<Vec<_>>>().map(Content::Measures)
            }
            (Form::Rows, Raw::List(items)) => {
                let rows: Vec<_> = items.iter().map(|n| self.row(n, key)).collect();
                rows.into_iter().collect::<Option<Vec<_>>>().map(Content::Rows)
            }
            (Form::Named(section), Raw::Table(t)) => {
                let mut tables = Vec::new();
                for (name, span, node) in &t.entries {
                    let full = format!("{key}.{name}");
                    match (self.name(name, span, key), &node.value) {
                        (Some(named), Raw::Table(t)) => tables.push((named, self.table(t, section, &full))),
                        (Some(_), _) => drop(self.wrong_form::<()>(node, Form::Table(section), &full)),
                        _ => {}
                    }
                }
                Some(Content::Named(tables))
            }
            (Form::Parameters(kind, params), Raw::Table(t)) => {
                let keys: Vec<Key> = params.iter().map(|p| Key::of_param(p, true)).collect();
                let name = key.rsplit('.').next().unwrap_or(key);
                let of = format!("[{name}] of kind `{kind}`");
                let empty = Fields::empty(&t.span, key.to_string(), kind.to_string());
                Some(Content::Table(self.against(t, &keys, &of, empty)))
            }
            _ => self.wrong_form(node, form, key),
        }
    }

    fn typed(&mut self, node: &Node, key: &str) -> Option<TypedAt> {
        match &node.value {
            Raw::Text(s) => Some((node.span.clone(), Ok(s.clone()))),
            Raw::Whole(x) => Some((node.span.clone(), Err(*x as f64))),
            Raw::Number(x) => Some((node.span.clone(), Err(*x))),
            _ => self.wrong_form(node, Form::Measure, key),
        }
    }

    fn row(&mut self, node: &Node, key: &str) -> Option<[TypedAt; 2]> {
        match &node.value {
            Raw::List(two) if two.len() == 2 => {
                let a = self.typed(&two[0], key);
                a.zip(self.typed(&two[1], key)).map(|(a, b)| [a, b])
            }
            Raw::List(more) => {
                let found = format!("a list of {}", more.len());
                self.report(&node.span, key, found, "a pair: abscissa, ordinate");
                None
            }
            _ => self.wrong_form(node, Form::Rows, key),
        }
    }

    fn wrong_form<T>(&mut self, node: &Node, form: Form, key: &str) -> Option<T> {
        self.tell_form(&node.span, key, &format!("found {}", node.value.word()), form, None);
        None
    }

    /// Tells what form was expected, where the error may still be shown.
    fn tell_form(&mut self, span: &Span, key: &str, found: &str, form: Form, help: Option<&str>) {
        let words = if worded(&self.diagnostics) { form_words(form) } else { String::new() };
        self.report(span, key, found, help.map_or(words.clone(), |help| format!("{words} ({help})")));
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

    fn map(&mut self, table: &RawTable, key: &str) -> Option<Vec<(Named, Named)>> {
        let mut pairs = Vec::new();
        for (name, span, node) in &table.entries {
            let from = self.name(name, span, key);
            let to = match &node.value {
                Raw::Text(s) => self.name(s, &node.span, &format!("{key}.{name}")),
                _ => self.wrong_form(node, Form::Name, &format!("{key}.{name}")),
            };
            pairs.push(from.zip(to));
        }
        pairs.into_iter().collect()
    }
}
