//! The JSON Schema of a scenario file, made from the same tables as the checking.

mod shared;

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_models::arrangement;
use joulestep_models::model::{Entry, Param, Range, Shape, Value as Given, Values};
use serde_json::{Map, Value, json};

use self::shared::{reference, shared};
use crate::input::keys::conform::form_words;
use crate::input::keys::shape::{Form, Key, Kind, Kinds, NAME_PATTERN, Section};
use crate::input::scenario::sections::SCENARIO;

/// The schema (draft 2020-12). It knows shapes, keys and ranges of bare numbers; units within strings, names that
/// must exist and everything physical is for `check`.
pub fn schema(catalogue: &[Entry]) -> Value {
    titled(&SCENARIO, "Joulestep scenario", catalogue)
}

/// The schema of a file whose root table is this section.
pub fn titled(root: &Section, title: &str, catalogue: &[Entry]) -> Value {
    let mut root = section(root, catalogue);
    if let Some(map) = root.as_object_mut() {
        let text = Value::Object(map.clone()).to_string();
        let used = basics().into_iter().filter(|(name, _)| text.contains(&format!("#/$defs/{name}\"")));
        map.insert("$defs".into(), used.map(|(name, what)| (name.to_string(), what)).collect());
        map.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        map.insert("title".into(), json!(title));
    }
    shared(root)
}

/// What nearly every key is made of.
fn basics() -> Vec<(&'static str, Value)> {
    let text = json!({ "type": "string", "pattern": "^\\s*[+-]?[0-9.]" });
    let with = |number: Value| json!({ "anyOf": [text, number] });
    vec![
        ("name", json!({ "type": "string", "pattern": NAME_PATTERN })),
        ("text-quantity", text.clone()),
        ("quantity", with(json!({ "type": "number" }))),
        ("quantity-above-zero", with(json!({ "type": "number", "exclusiveMinimum": 0 }))),
        ("quantity-not-negative", with(json!({ "type": "number", "minimum": 0 }))),
    ]
}

fn object(help: &str, keys: &[Key], catalogue: &[Entry]) -> Map<String, Value> {
    let properties: Map<String, Value> =
        keys.iter().map(|k| (k.name.to_string(), property(k, catalogue))).collect();
    let required: Vec<&str> = keys.iter().filter(|k| k.required).map(|k| k.name).collect();
    let mut map = Map::new();
    map.insert("type".into(), json!("object"));
    map.insert("description".into(), json!(help));
    map.insert("properties".into(), Value::Object(properties));
    map.insert("required".into(), json!(required));
    map.insert("additionalProperties".into(), json!(false));
    map
}

/// An object for each kind; the key that states the kind holds its word alone.
fn section(section: &Section, catalogue: &[Entry]) -> Value {
    let of_kind = |tag: &str, word: &str, help: &str, more: &[Key], required: bool| {
        let keys: Vec<Key> = section.keys.iter().chain(more).copied().collect();
        let mut map = object(help, &keys, catalogue);
        map["properties"][tag] = json!({ "const": word });
        if required && let Some(list) = map["required"].as_array_mut() {
            list.push(json!(tag));
            list.dedup();
        }
        Value::Object(map)
    };
    match section.kinds {
        Kinds::None => Value::Object(object(section.help, section.keys, catalogue)),
        Kinds::Listed(tag, kinds) => {
            // A kind that may be left out is the first; the others must be named.
            let default = section.default_kind().map(|k| k.word);
            let named = |k: &Kind| default.is_some_and(|d| d != k.word);
            let kinds = kinds.iter().map(|k| of_kind(tag, k.word, k.help, k.keys, named(k)));
            json!({ "description": section.help, "oneOf": kinds.collect::<Vec<_>>() })
        }
        Kinds::Arrangements => {
            let kinds = arrangement::shipped()
                .iter()
                .map(|a| of_kind("kind", a.kind, a.help, &Key::of_arrangement(a), false));
            json!({ "description": section.help, "oneOf": kinds.collect::<Vec<_>>() })
        }
        Kinds::Part(tables) => {
            let kinds = catalogue.iter().map(|entry| {
                let form = Form::Parameters(entry.kind, entry.params);
                let more = tables.iter().map(|t| Key { form, ..*t });
                of_kind("kind", entry.kind, entry.help, &more.collect::<Vec<_>>(), false)
            });
            json!({ "description": section.help, "oneOf": kinds.collect::<Vec<_>>() })
        }
        Kinds::Catalogue => {
            let kinds = catalogue.iter().map(|entry| {
                let more: Vec<Key> = entry.params.iter().map(|p| Key::of_param(p, true)).collect();
                let mut map = of_kind("kind", entry.kind, &words(entry), &more, false);
                map["properties"]["pins"] = pins(entry);
                // A part gives what has no default; without one the kind and all of that must be given.
                let needed = entry.params.iter().filter(|p| Key::of_param(p, false).required);
                let needed: Vec<&str> = std::iter::once("kind").chain(needed.map(|p| p.key)).collect();
                map["anyOf"] = json!([{ "required": ["part"] }, { "required": needed }]);
                map
            });
            json!({ "description": section.help, "anyOf": kinds.collect::<Vec<_>>() })
        }
    }
}

/// The pins of a kind: nodes in their order, or pin = node.
fn pins(entry: &Entry) -> Value {
    let (needed, optional) = (entry.needed_pins(), entry.optional_pins());
    let all = [&needed[..], &optional].concat();
    let mut list = json!({ "type": "array", "items": reference("name"), "minItems": needed.len() });
    if !entry.open_ended() {
        list["maxItems"] = json!(all.len());
    }
    let properties: Map<String, Value> = all.iter().map(|p| (p.to_string(), reference("name"))).collect();
    let further = if entry.open_ended() { ", and further ones" } else { "" };
    let perhaps =
        if optional.is_empty() { String::new() } else { format!(", and perhaps {}", optional.join(", ")) };
    json!({
        "description": format!("nodes of {}{perhaps}{further} in this order, or pin = node; `gnd` is ground", needed.join(", ")),
        "anyOf": [
            list,
            { "type": "object", "properties": properties, "required": needed, "additionalProperties": false },
        ],
    })
}

/// Help of a kind, with what of it may be recorded.
fn words(entry: &Entry) -> String {
    let names = quantities(entry);
    if names.is_empty() {
        return entry.help.to_string();
    }
    let signals = names.iter().map(|n| format!("NAME.{n}")).collect::<Vec<_>>().join(", ");
    format!("{}. Signals: {signals}", entry.help)
}

/// Quantities of a kind. A model states them when it is built: of the values of a shipped part, else of plain ones.
fn quantities(entry: &Entry) -> Vec<&'static str> {
    let plain = |p: &Param, sign: f64| match (p.shape, p.range) {
        (Shape::Table(..), _) => Given::Table(vec![(0.0, 1.0), (1.0, 2.0)]),
        (Shape::List(_), _) => Given::List(vec![1.0, 1.0]),
        (Shape::Number(_), Range::Between(a, b)) => Given::Number(0.5 * (a + b)),
        (Shape::Number(_), Range::Any) => Given::Number(sign),
        (Shape::Number(_), _) => Given::Number(1.0),
    };
    let guessed = |sign: f64| {
        let mut values = Values::with_defaults(entry.params);
        let needed = entry.params.iter().filter(|p| Key::of_param(p, false).required);
        values.0.extend(needed.map(|p| (p.key, plain(p, sign))));
        values
    };
    let shipped = crate::input::parts::shipped_of_kind(entry.kind).map(|part| part.values);
    // Some models want one of several optional values.
    let with_one = entry.params.iter().map(|p| {
        let mut values = guessed(1.0);
        values.0.insert(p.key, plain(p, 1.0));
        values
    });
    let tried = shipped.into_iter().chain([guessed(1.0), guessed(-1.0)]).chain(with_one);
    let built = |values: Values| {
        let mut circuit = Circuit::new();
        let pins: Vec<NodeId> = entry.needed_pins().iter().map(|p| circuit.node(p)).collect();
        (entry.build)(&mut circuit, "X", &pins, &values).ok()
    };
    let found = tried.into_iter().find_map(built);
    found.map_or(Vec::new(), |b| b.quantities.iter().map(|q| q.0).collect())
}

fn property(key: &Key, catalogue: &[Entry]) -> Value {
    let mut value = form(key.form, catalogue);
    if let Some(map) = value.as_object_mut() {
        let words = match key.form {
            Form::Table(_) | Form::Tables(_) | Form::Named(_) | Form::Parameters(..) => key.help.to_string(),
            other => format!("{} ({})", key.help, form_words(other)),
        };
        map.insert("description".into(), json!(words));
        if let (Some(x), Form::Quantity(unit, _)) = (key.default, key.form) {
            map.insert("default".into(), default(x, unit));
        }
    }
    value
}

/// A default as one would type it.
fn default(x: f64, unit: &str) -> Value {
    if unit == "1" || unit.is_empty() {
        return json!(x);
    }
    let plain = x == 0.0 || (1e-3..1e6).contains(&x.abs());
    json!(if plain { format!("{x} {unit}") } else { format!("{x:e} {unit}") })
}

fn quantity(unit: &str, range: Range) -> Value {
    match range {
        _ if unit == "degC" => reference("text-quantity"),
        Range::Any => reference("quantity"),
        Range::Positive => reference("quantity-above-zero"),
        Range::NotNegative => reference("quantity-not-negative"),
        Range::Between(a, b) => json!({ "anyOf": [
            reference("text-quantity"),
            { "type": "number", "exclusiveMinimum": a, "exclusiveMaximum": b },
        ] }),
    }
}

fn form(form: Form, catalogue: &[Entry]) -> Value {
    let name = || reference("name");
    let list = |items: Value| json!({ "type": "array", "items": items });
    let names = || json!({ "type": "object", "additionalProperties": name() });
    match form {
        Form::Quantity(unit, range) => quantity(unit, range),
        Form::Measure => quantity("", Range::Any),
        Form::Measures => list(quantity("", Range::Any)),
        Form::Whole(a, b) => json!({ "type": "integer", "minimum": a, "maximum": b }),
        Form::Flag => json!({ "type": "boolean" }),
        Form::Text => json!({ "type": "string" }),
        Form::Name => name(),
        Form::Word(words) => json!({ "enum": words }),
        Form::Any => json!({}),
        Form::Texts => list(json!({ "type": "string" })),
        Form::OneOrMore => json!({ "anyOf": [{ "type": "string" }, list(json!({ "type": "string" }))] }),
        Form::Names => list(name()),
        Form::Quantities(unit, range) => {
            json!({ "anyOf": [quantity(unit, range), list(quantity(unit, range))] })
        }
        Form::Pairs(x, y) => list(json!({
            "type": "array",
            "prefixItems": [quantity(x, Range::Any), quantity(y, Range::Any)],
            "minItems": 2,
            "maxItems": 2,
        })),
        Form::Pins => json!({ "anyOf": [list(name()), names()] }),
        Form::NameOrMap => json!({ "anyOf": [name(), names()] }),
        Form::Rows => list(json!({
            "type": "array",
            "items": quantity("", Range::Any),
            "minItems": 2,
            "maxItems": 2,
        })),
        Form::Named(table) => json!({
            "type": "object",
            "additionalProperties": section(table, catalogue),
            "propertyNames": { "pattern": NAME_PATTERN },
        }),
        Form::Parameters(kind, params) => {
            let keys: Vec<Key> = params.iter().map(|p| Key::of_param(p, true)).collect();
            Value::Object(object(&format!("Parameters of kind `{kind}`"), &keys, catalogue))
        }
        Form::Table(table) => section(table, catalogue),
        Form::Tables(table) => list(section(table, catalogue)),
    }
}
