//! Where a varied value stands in the tables of a scenario or of another subject: `component.limiter.inductance`,
//! `thermal.chain.jfet.resistance.2`, `event.3.at`, `package.layer.jfet.thickness`.

use joulestep_engine::units::{bare_in, in_unit, parse_quantity, parse_unit};
use joulestep_models::devices::catalogue;
use joulestep_models::model::{Entry, Value};

use crate::diagnostic::nearest;
use crate::input::keys::conform::one_of;
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::renamed;
use crate::input::keys::shape::{Form, Key, Kinds, Section};
use crate::input::scenario::resolved::Scenario;
use crate::judge::unit_of_difference;

/// The tables in which values are found, and what describes them.
#[derive(Clone, Copy, Debug)]
pub struct PathContext<'a> {
    /// What they are, in words ("the scenario").
    pub what: &'a str,
    /// The root table.
    pub root: &'a RawTable,
    /// Its keys.
    pub section: &'a Section,
    /// What the tables mean, where they are a scenario.
    pub scenario: Option<&'a Scenario>,
}

/// A number of the scenario.
#[derive(Clone, Debug, PartialEq)]
pub struct ParameterPath {
    /// As typed.
    pub path: String,
    /// Its unit symbol; "1" for a plain number.
    pub unit: String,
    /// Whether only integers fit.
    pub whole: bool,
}

/// Why a path leads nowhere: (found, expected, suggestion).
pub type PathError = (String, String, Option<String>);

/// Units by which the quantities of signals are reported.
const OF_SIGNALS: &[&str] = &["V", "A", "degC", "W", "J", "s", "ohm", "A^2 s", "1"];

impl ParameterPath {
    /// Finds a number.
    ///
    /// # Errors
    /// [`PathError`].
    pub fn find(path: &str, context: &PathContext<'_>) -> Result<Self, PathError> {
        if let Some(new) = renamed::path(path) {
            return Err((renamed::called(path, &new), format!("`{new}`"), None));
        }
        let segments: Vec<&str> = path.split('.').collect();
        let (unit, whole) = walk(&segments, "", context.root, context.section, context)?;
        Ok(Self { path: path.to_string(), unit, whole })
    }

    /// The unit of a difference of two such values.
    pub fn unit_of_difference(&self) -> &str {
        unit_of_difference(&self.unit)
    }

    /// The value (in the slot's unit) that the tables state, or that a component's part gives, or its default; `None`
    /// where there is none.
    pub fn stated(&self, context: &PathContext<'_>) -> Option<f64> {
        let segments: Vec<&str> = self.path.split('.').collect();
        match (stated(context.root, &segments), segments.as_slice()) {
            (Some(Raw::Number(x)), _) => Some(*x),
            (Some(Raw::Whole(x)), _) => Some(*x as f64),
            (Some(Raw::Text(text)), _) => in_unit(text, &self.unit).ok(),
            (None, ["component", name, key]) => {
                let component = context.scenario?.components.iter().find(|c| c.name.name == *name)?;
                component.values.0.get(key).and_then(|value| match value {
                    Value::Number(x) => Some(*x),
                    _ => None,
                })
            }
            _ => None,
        }
    }

    /// Puts a value (in the slot's unit) into the tables, in which the slot was found.
    ///
    /// # Errors
    /// When only an integer fits and the value is none.
    pub fn set(&self, root: &mut RawTable, value: f64) -> Result<(), String> {
        let raw = match self.whole {
            true if value.fract() == 0.0 && value.abs() < 1e15 => Raw::Whole(value as i64),
            true => return Err(format!("{}: {value} is no integer", self.path)),
            // Bare numbers are SI base units; a temperature needs its unit.
            false if bare_in(value, &self.unit).is_ok() => Raw::Number(value),
            false if value.is_finite() => Raw::Text(format!("{value:?} {}", self.unit)),
            false => return Err(format!("{}: {value} is no finite number", self.path)),
        };
        let segments: Vec<&str> = self.path.split('.').collect();
        match put(root, &segments, raw) {
            true => Ok(()),
            false => Err(format!("{}: there is no such value", self.path)),
        }
    }
}

/// Follows the segments through the tables to a number; its unit and whether it is whole.
fn walk(
    segments: &[&str],
    before: &str,
    table: &RawTable,
    section: &Section,
    context: &PathContext<'_>,
) -> Result<(String, bool), PathError> {
    follow(segments, before, table, &keys(table, section, context), context)
}

fn follow(
    segments: &[&str],
    before: &str,
    table: &RawTable,
    keys: &[Key],
    context: &PathContext<'_>,
) -> Result<(String, bool), PathError> {
    let Some((first, rest)) = segments.split_first() else {
        return Err((format!("`{before}` is a table"), "the path of a number in it".into(), None));
    };
    let Some(key) = keys.iter().find(|k| k.name == *first) else {
        let names: Vec<&str> = keys.iter().map(|k| k.name).filter(|n| *n != "name").collect();
        let place = if before.is_empty() { context.what.to_string() } else { format!("`{before}`") };
        let hint = nearest(first, names.iter().copied());
        return Err((format!("{place} has no key `{first}`"), one_of(&names), hint));
    };
    let full = if before.is_empty() { (*first).to_string() } else { format!("{before}.{first}") };
    let node = table.get(first).map(|n| &n.value);
    match (key.form, node, rest) {
        (Form::Quantity(unit, _), _, []) => Ok((unit.to_string(), false)),
        (Form::Whole(..), _, []) => Ok(("1".into(), true)),
        (Form::Measure, Some(raw), []) => Ok((unit_as_typed(raw), false)),
        (Form::Quantities(unit, _), Some(Raw::List(items)), [one]) => {
            match one.parse::<usize>().ok().filter(|k| (1..=items.len()).contains(k)) {
                Some(_) => Ok((unit.to_string(), false)),
                None => Err((
                    format!("`{full}` has no value number `{one}`"),
                    format!("a number from 1 to {}", items.len()),
                    None,
                )),
            }
        }
        (Form::Quantities(..), Some(Raw::List(items)), []) => Err((
            format!("`{full}` is a list"),
            format!("one of its values: {full}.1 to {full}.{}", items.len()),
            None,
        )),
        (Form::Table(section), Some(Raw::Table(inner)), _) => walk(rest, &full, inner, section, context),
        (Form::Parameters(_, params), Some(Raw::Table(inner)), _) => {
            let keys: Vec<Key> = params.iter().map(|p| Key::of_param(p, true)).collect();
            follow(rest, &full, inner, &keys, context)
        }
        (Form::Named(section), Some(Raw::Table(inner)), [one, deeper @ ..]) => {
            match inner.get(one).map(|n| &n.value) {
                Some(Raw::Table(named)) => walk(deeper, &format!("{full}.{one}"), named, section, context),
                _ => {
                    let names: Vec<&str> = inner.entries.iter().map(|e| e.0.as_str()).collect();
                    let hint = nearest(one, names.iter().copied());
                    Err((format!("`{full}` has no member `{one}`"), one_of(&names), hint))
                }
            }
        }
        (Form::Quantities(unit, _), Some(Raw::Text(_) | Raw::Number(_) | Raw::Whole(_)), []) => {
            Ok((unit.to_string(), false))
        }
        (Form::Tables(section), Some(Raw::List(items)), [one, ..]) => match descend(items, rest) {
            Some((k, deeper)) => {
                let full = if deeper.len() < rest.len() { format!("{full}.{one}") } else { full };
                match &items[k].value {
                    Raw::Table(inner) => walk(deeper, &full, inner, section, context),
                    _ => Err((format!("`{full}` is not a table"), "a table".into(), None)),
                }
            }
            None => {
                let names: Vec<&str> = items.iter().filter_map(name).collect();
                let expected = match names.is_empty() {
                    true => format!("a number from 1 to {}", items.len()),
                    false => one_of(&names),
                };
                let hint = nearest(one, names.iter().copied());
                Err((format!("`{full}` has no member `{one}`"), expected, hint))
            }
        },
        (Form::Tables(_), Some(Raw::List(_)), []) => {
            Err((format!("`{full}` is a list of tables"), format!("{full}.NAME.KEY"), None))
        }
        (_, None, _) if !matches!(key.form, Form::Quantity(..) | Form::Whole(..)) => Err((
            format!("{} does not give `{full}`", context.what),
            format!("a value that {} gives", context.what),
            None,
        )),
        (Form::Quantity(..) | Form::Whole(..) | Form::Measure, _, [further, ..]) => {
            Err((format!("`{full}` is a number and has no `{further}`"), format!("`{full}`"), None))
        }
        _ => Err((format!("`{full}` is not a number"), "a value that is a number".into(), None)),
    }
}

/// The unit of a quantity as it stands in the scenario.
fn unit_as_typed(raw: &Raw) -> String {
    let Raw::Text(text) = raw else { return "1".into() };
    let Ok(quantity) = parse_quantity(text) else { return "1".into() };
    let usual = OF_SIGNALS.iter().find(|u| parse_unit(u).is_ok_and(|u| u.dimension == quantity.dimension));
    usual.map_or_else(|| quantity.dimension.symbol(), |u| (*u).to_string())
}

/// The keys that a table of this section may have.
fn keys(table: &RawTable, section: &Section, context: &PathContext<'_>) -> Vec<Key> {
    let mut keys = section.keys.to_vec();
    let word = |key: &str| match table.get(key).map(|n| &n.value) {
        Some(Raw::Text(word)) => Some(word.as_str()),
        _ => None,
    };
    match section.kinds {
        Kinds::Listed(tag, kinds) => {
            let typed = word(tag).or(section.default_kind().map(|k| k.word));
            keys.extend(kinds.iter().filter(|k| Some(k.word) == typed).flat_map(|k| k.keys));
        }
        Kinds::Catalogue => {
            let components = context.scenario.map_or(&[][..], |s| &s.components);
            let of_name = components.iter().find(|c| Some(c.name.name.as_str()) == word("name"));
            let kind = of_name.map(|c| c.entry.kind);
            let entry = catalogue().iter().find(|e| Some(e.kind) == kind);
            keys.extend(entry.iter().flat_map(|e| e.params).map(|p| Key::of_param(p, true)));
        }
        Kinds::Arrangements => {
            let found = word("kind").and_then(joulestep_models::arrangement::find);
            keys.extend(found.into_iter().flat_map(Key::of_arrangement));
        }
        Kinds::Part(tables) => {
            let entry = catalogue().iter().find(|e| Some(e.kind) == word("kind"));
            let of = |e: &'static Entry| Form::Parameters(e.kind, e.params);
            keys.extend(
                entry.into_iter().flat_map(|e| tables.iter().map(move |t| Key { form: of(e), ..*t })),
            );
        }
        Kinds::None => {}
    }
    keys
}

fn name(node: &Node) -> Option<&str> {
    match &node.value {
        Raw::Table(table) => match &table.get("name")?.value {
            Raw::Text(name) => Some(name),
            _ => None,
        },
        _ => None,
    }
}

/// Number of a member in the list: by its name, else by its place counted from 1.
fn number(items: &[Node], one: &str) -> Option<usize> {
    let by_place = || one.parse::<usize>().ok()?.checked_sub(1).filter(|k| *k < items.len());
    items.iter().position(|n| name(n) == Some(one)).or_else(by_place)
}

/// Number of the member that a path goes on into, and what follows; the only one of a list need not be named.
fn descend<'a, 's>(items: &[Node], path: &'a [&'s str]) -> Option<(usize, &'a [&'s str])> {
    let (one, deeper) = path.split_first()?;
    match number(items, one) {
        Some(k) => Some((k, deeper)),
        None => (items.len() == 1 && matches!(items[0].value, Raw::Table(_))).then_some((0, path)),
    }
}

fn stated<'a>(table: &'a RawTable, segments: &[&str]) -> Option<&'a Raw> {
    let (first, rest) = segments.split_first()?;
    match (&table.get(first)?.value, rest) {
        (value, []) => Some(value),
        (Raw::Table(inner), _) => stated(inner, rest),
        (Raw::List(items), _) => {
            let (k, deeper) = descend(items, rest)?;
            match (&items[k].value, deeper) {
                (Raw::Table(inner), _) => stated(inner, deeper),
                (value, []) => Some(value),
                _ => None,
            }
        }
        _ => None,
    }
}

fn put(table: &mut RawTable, segments: &[&str], raw: Raw) -> bool {
    let Some((first, rest)) = segments.split_first() else { return false };
    let span = table.span.clone();
    let Some(entry) = table.entries.iter_mut().find(|e| e.0 == *first) else {
        if !rest.is_empty() {
            return false;
        }
        // A value that the part gives, or a default.
        table.entries.push(((*first).to_string(), span.clone(), Node { span, value: raw }));
        return true;
    };
    match (&mut entry.2.value, rest) {
        (value, []) => {
            *value = raw;
            true
        }
        (Raw::Table(inner), _) => put(inner, rest, raw),
        (Raw::List(items), _) => {
            let Some((k, deeper)) = descend(items, rest) else { return false };
            match (&mut items[k].value, deeper) {
                (Raw::Table(inner), _) => put(inner, deeper, raw),
                (value, []) => {
                    *value = raw;
                    true
                }
                _ => false,
            }
        }
        _ => false,
    }
}
