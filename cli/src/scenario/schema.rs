//! The JSON Schema of a scenario file, made from the same tables as the checking.

use joulestep_models::arrangement;
use joulestep_models::model::{Entry, Range};
use serde_json::{Map, Value, json};

use crate::scenario::conform::form_words;
use crate::scenario::sections::SCENARIO;
use crate::scenario::shape::{Form, Key, Kinds, NAME_PATTERN, Section};

/// The schema (draft 2020-12). It knows shapes, keys and ranges of bare numbers; units within strings, names that
/// must exist and everything physical is for `check`.
pub fn schema(catalogue: &[Entry]) -> Value {
    titled(&SCENARIO, "Joulestep scenario", catalogue)
}

/// The schema of a file whose root table is this section.
pub fn titled(root: &Section, title: &str, catalogue: &[Entry]) -> Value {
    let mut root = section(root, catalogue);
    if let Some(map) = root.as_object_mut() {
        map.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        map.insert("title".into(), json!(title));
    }
    root
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

/// An object for each kind; the key that tells the kind holds its word alone.
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
            let kinds = kinds.iter().map(|k| of_kind(tag, k.word, k.help, k.keys, false));
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
                let more = tables.iter().map(|&(name, required, help)| Key {
                    name,
                    form: Form::Parameters(entry.kind, entry.params),
                    required,
                    help,
                });
                of_kind("kind", entry.kind, entry.help, &more.collect::<Vec<_>>(), false)
            });
            json!({ "description": section.help, "oneOf": kinds.collect::<Vec<_>>() })
        }
        Kinds::Catalogue => {
            let mut kinds: Vec<Value> = Vec::new();
            for entry in catalogue {
                // Without a part every parameter that has no default must be given; with one, none.
                for from_part in [false, true] {
                    let more: Vec<Key> = entry.params.iter().map(|p| Key::of_param(p, from_part)).collect();
                    let mut map = of_kind("kind", entry.kind, entry.help, &more, !from_part);
                    if from_part && let Some(list) = map["required"].as_array_mut() {
                        list.push(json!("part"));
                    } else if let Some(properties) = map["properties"].as_object_mut() {
                        properties.remove("part");
                    }
                    kinds.push(map);
                }
            }
            json!({ "description": section.help, "anyOf": kinds })
        }
    }
}

fn property(key: &Key, catalogue: &[Entry]) -> Value {
    let mut value = form(key.form, catalogue);
    if let Some(map) = value.as_object_mut() {
        let words = match key.form {
            Form::Table(_) | Form::Tables(_) | Form::Named(_) | Form::Parameters(..) => key.help.to_string(),
            other => format!("{} ({})", key.help, form_words(other)),
        };
        map.insert("description".into(), json!(words));
    }
    value
}

fn quantity(unit: &str, range: Range) -> Value {
    let text = json!({ "type": "string", "pattern": "^\\s*[+-]?[0-9.]" });
    if unit == "degC" {
        return text;
    }
    let mut number = json!({ "type": "number" });
    match range {
        Range::Any => {}
        Range::Positive => number["exclusiveMinimum"] = json!(0),
        Range::NotNegative => number["minimum"] = json!(0),
        Range::Between(a, b) => {
            number["exclusiveMinimum"] = json!(a);
            number["exclusiveMaximum"] = json!(b);
        }
    }
    json!({ "anyOf": [text, number] })
}

fn form(form: Form, catalogue: &[Entry]) -> Value {
    let name = || json!({ "type": "string", "pattern": NAME_PATTERN });
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
        Form::Names => list(name()),
        Form::Quantities(unit, range) => list(quantity(unit, range)),
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
