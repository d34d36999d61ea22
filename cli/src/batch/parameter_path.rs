//! Where a varied value stands in the tables of a scenario or of another subject: `component.limiter.inductance`,
//! `thermal.chain.jfet.resistance.2`, `event.3.at`, `package.layer.jfet.thickness`.

use joulestep_engine::units::{parse_quantity, parse_unit};
use joulestep_models::devices::catalogue;
use joulestep_models::model::{Entry, Range, Value};

use crate::diagnostic::nearest;
use crate::input::keys::conform::{form_words, one_of};
use crate::input::keys::fields::{Content, Field, Fields};
use crate::input::keys::renamed;
use crate::input::keys::shape::{Form, Key, Kinds, Section, WrongValue, quantity, within};
use crate::input::scenario::resolved::Scenario;
use crate::input::scenario::sections::Root;
use crate::judge::unit_of_difference;

/// The tables in which values are found, and what describes them.
#[derive(Clone, Copy, Debug)]
pub struct PathContext<'a> {
    /// What they are, in words ("the scenario").
    pub what: &'a str,
    /// The root table, checked.
    pub root: &'a Fields,
    /// Its keys.
    pub section: &'a Section,
    /// What the tables mean, where they are a scenario.
    pub scenario: Option<&'a Scenario>,
}

/// A number of the scenario, and where it stands in the checked tables.
#[derive(Clone, Debug)]
pub struct ParameterPath {
    /// As typed.
    pub path: String,
    /// Its unit symbol; "1" for a plain number.
    pub unit: String,
    /// Whether only integers fit.
    pub whole: bool,
    /// What its key takes.
    form: Form,
    /// The tables that lead to it, each with its number in a list.
    tables: Vec<(&'static str, usize)>,
    /// Its key, and its number in a list.
    key: (&'static str, usize),
}

/// Units by which the quantities of signals are reported.
const OF_SIGNALS: &[&str] = &["V", "A", "degC", "W", "J", "s", "ohm", "A^2 s", "1"];

impl ParameterPath {
    /// Finds a number.
    ///
    /// # Errors
    /// [`WrongValue`].
    pub fn find(path: &str, context: &PathContext<'_>) -> Result<Self, WrongValue> {
        if let Some(new) = renamed::path(path) {
            return Err((renamed::called(path, &new), format!("`{new}`"), None));
        }
        let segments: Vec<&str> = path.split('.').collect();
        let mut walk = Walk { path, what: context.what, tables: Vec::new() };
        walk.table(&segments, "", context.root, context.section)
    }

    /// The unit of a difference of two such values.
    pub fn unit_of_difference(&self) -> &str {
        unit_of_difference(&self.unit)
    }

    /// The value (in the slot's unit) that the tables state, or that a component's part gives, or its default; `None`
    /// where there is none.
    pub fn stated(&self, context: &PathContext<'_>) -> Option<f64> {
        let mut table = context.root;
        for &(key, k) in &self.tables {
            table = match &table.values.get(key)?.content {
                Content::Table(one) => one,
                Content::Tables(all) => all.get(k)?,
                Content::Named(all) => &all.get(k)?.1,
                _ => return None,
            };
        }
        match (table.values.get(self.key.0).map(|f| &f.content), self.tables.as_slice()) {
            (Some(Content::Number(x)), _) => Some(*x),
            (Some(Content::Whole(x)), _) => Some(*x as f64),
            (Some(Content::Numbers(all)), _) => all.get(self.key.1).copied(),
            (Some(Content::Measure(typed)), _) => {
                quantity(typed.as_deref().map_err(|x| *x), &self.unit, Range::Any).ok()
            }
            (None, [(of, k)]) if *of == Root::component.name => {
                match context.scenario?.components.get(*k)?.values.0.get(self.key.0)? {
                    Value::Number(x) => Some(*x),
                    _ => None,
                }
            }
            _ => None,
        }
    }

    /// Puts a value (in the slot's unit) into the tables in which the slot was found, or into others like them.
    ///
    /// # Errors
    /// What is wrong with the value, with its place.
    pub fn set(&self, root: &mut Fields, value: f64) -> Result<(), String> {
        let nowhere = || format!("{}: there is no such value", self.path);
        let mut table = root;
        for &(key, k) in &self.tables {
            let inner = match &mut table.values.get_mut(key).ok_or_else(nowhere)?.content {
                Content::Table(one) => Some(one),
                Content::Tables(all) => all.get_mut(k),
                Content::Named(all) => all.get_mut(k).map(|named| &mut named.1),
                _ => None,
            };
            table = inner.ok_or_else(nowhere)?;
        }
        let content = self.checked(value).map_err(|wrong| match wrong {
            Ok((found, expected, _)) => table.wrong(self.key.0, found, expected).line(),
            Err(what) => format!("{}: {what}", self.path),
        })?;
        match (table.values.get_mut(self.key.0), content) {
            (Some(Field { content: Content::Numbers(all), .. }), Content::Number(x)) => {
                *all.get_mut(self.key.1).ok_or_else(nowhere)? = x;
            }
            (Some(field), content) => field.content = content,
            // A value that the part gives, or a default.
            (None, content) => {
                table.values.insert(self.key.0, Field { span: table.span.clone(), content });
            }
        }
        Ok(())
    }

    /// A value as it stands in a checked table; else what is wrong with it by its key, or at all.
    fn checked(&self, value: f64) -> Result<Content, Result<WrongValue, String>> {
        match self.form {
            _ if self.whole && (value.fract() != 0.0 || value.abs() >= 1e15) => {
                Err(Err(format!("{value} is no integer")))
            }
            _ if !value.is_finite() => Err(Err(format!("{value} is no finite number"))),
            Form::Whole(least, most) => {
                let x = value as i64;
                let wrong = || (format!("`{x}` is out of range"), form_words(self.form), None);
                if (least..=most).contains(&x) { Ok(Content::Whole(x)) } else { Err(Ok(wrong())) }
            }
            Form::Quantity(unit, range) | Form::Quantities(unit, range) => {
                within(value, || value.to_string(), unit, range).map(Content::Number).map_err(Ok)
            }
            _ => Ok(Content::Number(value)),
        }
    }
}

/// The way that a path goes.
struct Walk<'a> {
    path: &'a str,
    what: &'a str,
    /// The tables passed.
    tables: Vec<(&'static str, usize)>,
}

impl Walk<'_> {
    /// Follows the segments through a table to a number.
    fn table(
        &mut self,
        segments: &[&str],
        before: &str,
        table: &Fields,
        section: &Section,
    ) -> Result<ParameterPath, WrongValue> {
        self.follow(segments, before, table, &keys(table, section))
    }

    fn found(&mut self, unit: &str, key: &Key, number: usize) -> ParameterPath {
        ParameterPath {
            path: self.path.to_string(),
            unit: unit.to_string(),
            whole: matches!(key.form, Form::Whole(..)),
            form: key.form,
            tables: std::mem::take(&mut self.tables),
            key: (key.name, number),
        }
    }

    fn follow(
        &mut self,
        segments: &[&str],
        before: &str,
        table: &Fields,
        keys: &[Key],
    ) -> Result<ParameterPath, WrongValue> {
        let Some((first, rest)) = segments.split_first() else {
            return Err((format!("`{before}` is a table"), "the path of a number in it".into(), None));
        };
        let Some(key) = keys.iter().find(|k| k.name == *first) else {
            let names: Vec<&str> = keys.iter().map(|k| k.name).filter(|n| *n != "name").collect();
            let place = if before.is_empty() { self.what.to_string() } else { format!("`{before}`") };
            let hint = nearest(first, names.iter().copied());
            return Err((format!("{place} has no key `{first}`"), one_of(&names), hint));
        };
        let full = if before.is_empty() { (*first).to_string() } else { format!("{before}.{first}") };
        let content = table.values.get(key.name).map(|f| &f.content);
        match (key.form, content, rest) {
            (Form::Quantity(unit, _), _, []) => Ok(self.found(unit, key, 0)),
            (Form::Whole(..), _, []) => Ok(self.found("1", key, 0)),
            (Form::Measure, Some(Content::Measure(typed)), []) => {
                Ok(self.found(&unit_as_typed(typed), key, 0))
            }
            (Form::Quantities(unit, _), Some(Content::Numbers(all)), []) if all.len() == 1 => {
                Ok(self.found(unit, key, 0))
            }
            (Form::Quantities(unit, _), Some(Content::Numbers(all)), [one]) => {
                match one.parse::<usize>().ok().filter(|k| (1..=all.len()).contains(k)) {
                    Some(k) => Ok(self.found(unit, key, k - 1)),
                    None => Err((
                        format!("`{full}` has no value number `{one}`"),
                        format!("a number from 1 to {}", all.len()),
                        None,
                    )),
                }
            }
            (Form::Quantities(..), Some(Content::Numbers(all)), []) => Err((
                format!("`{full}` is a list"),
                format!("one of its values: {full}.1 to {full}.{}", all.len()),
                None,
            )),
            (Form::Table(section), Some(Content::Table(inner)), _) => {
                self.tables.push((key.name, 0));
                self.table(rest, &full, inner, section)
            }
            (Form::Parameters(_, params), Some(Content::Table(inner)), _) => {
                let keys: Vec<Key> = params.iter().map(|p| Key::of_param(p, true)).collect();
                self.tables.push((key.name, 0));
                self.follow(rest, &full, inner, &keys)
            }
            (Form::Named(section), Some(Content::Named(all)), [one, deeper @ ..]) => {
                match all.iter().position(|named| named.0.name == *one) {
                    Some(k) => {
                        self.tables.push((key.name, k));
                        self.table(deeper, &format!("{full}.{one}"), &all[k].1, section)
                    }
                    None => {
                        let names: Vec<&str> = all.iter().map(|named| named.0.name.as_str()).collect();
                        let hint = nearest(one, names.iter().copied());
                        Err((format!("`{full}` has no member `{one}`"), one_of(&names), hint))
                    }
                }
            }
            (Form::Tables(section), Some(Content::Tables(all)), [one, ..]) => match descend(all, rest) {
                Some((k, deeper)) => {
                    let full = if deeper.len() < rest.len() { format!("{full}.{one}") } else { full };
                    self.tables.push((key.name, k));
                    self.table(deeper, &full, &all[k], section)
                }
                None => {
                    let names: Vec<&str> = all.iter().filter_map(name).collect();
                    let expected = match names.is_empty() {
                        true => format!("a number from 1 to {}", all.len()),
                        false => one_of(&names),
                    };
                    let hint = nearest(one, names.iter().copied());
                    Err((format!("`{full}` has no member `{one}`"), expected, hint))
                }
            },
            (Form::Tables(_), Some(Content::Tables(_)), []) => {
                Err((format!("`{full}` is a list of tables"), format!("{full}.NAME.KEY"), None))
            }
            (_, None, _) if !matches!(key.form, Form::Quantity(..) | Form::Whole(..)) => Err((
                format!("{} does not give `{full}`", self.what),
                format!("a value that {} gives", self.what),
                None,
            )),
            (Form::Quantity(..) | Form::Whole(..) | Form::Measure, _, [further, ..]) => {
                Err((format!("`{full}` is a number and has no `{further}`"), format!("`{full}`"), None))
            }
            _ => Err((format!("`{full}` is not a number"), "a value that is a number".into(), None)),
        }
    }
}

/// The unit of a quantity as it stands in the scenario.
fn unit_as_typed(typed: &Result<String, f64>) -> String {
    let Ok(text) = typed else { return "1".into() };
    let Ok(quantity) = parse_quantity(text) else { return "1".into() };
    let usual = OF_SIGNALS.iter().find(|u| parse_unit(u).is_ok_and(|u| u.dimension == quantity.dimension));
    usual.map_or_else(|| quantity.dimension.symbol(), |u| (*u).to_string())
}

/// The keys that a table of this section may have.
fn keys(table: &Fields, section: &Section) -> Vec<Key> {
    let mut keys = section.keys.to_vec();
    let entry = || catalogue().iter().find(|e| e.kind == table.kind);
    match section.kinds {
        Kinds::Listed(_, kinds) => {
            keys.extend(kinds.iter().filter(|k| k.word == table.kind).flat_map(|k| k.keys));
        }
        Kinds::Catalogue => {
            keys.extend(entry().iter().flat_map(|e| e.params).map(|p| Key::of_param(p, true)));
        }
        Kinds::Arrangements => {
            let found = joulestep_models::arrangement::find(&table.kind);
            keys.extend(found.into_iter().flat_map(Key::of_arrangement));
        }
        Kinds::Part(tables) => {
            let of = |e: &'static Entry| Form::Parameters(e.kind, e.params);
            keys.extend(
                entry().into_iter().flat_map(|e| tables.iter().map(move |t| Key { form: of(e), ..*t })),
            );
        }
        Kinds::None => {}
    }
    keys
}

fn name(table: &Fields) -> Option<&str> {
    match &table.values.get("name")?.content {
        Content::Text(name) => Some(name),
        _ => None,
    }
}

/// Number of a member in the list: by its name, else by its place counted from 1.
fn number(all: &[Fields], one: &str) -> Option<usize> {
    let by_place = || one.parse::<usize>().ok()?.checked_sub(1).filter(|k| *k < all.len());
    all.iter().position(|table| name(table) == Some(one)).or_else(by_place)
}

/// Number of the member that a path goes on into, and what follows; the only one of a list need not be named.
fn descend<'a, 's>(all: &[Fields], path: &'a [&'s str]) -> Option<(usize, &'a [&'s str])> {
    let (one, deeper) = path.split_first()?;
    match number(all, one) {
        Some(k) => Some((k, deeper)),
        None => (all.len() == 1).then_some((0, path)),
    }
}
