//! What stands in a schema several times is kept once, under `$defs`.

use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

/// A reference is no shorter than what has fewer bytes.
const SHORT: usize = 90;

/// A schema whose repeated parts stand under `$defs`, named by the key under which they are met first.
pub(super) fn shared(mut root: Value) -> Value {
    let mut seen = Seen::default();
    each(&mut root, "", &mut |value, key| seen.count(value, key));
    let mut defs = match root.as_object_mut().and_then(|r| r.remove("$defs")) {
        Some(Value::Object(defs)) => defs,
        _ => Map::new(),
    };
    let names = seen.names(&defs);
    replace(&mut root, &names, &mut defs);
    if let Some(root) = root.as_object_mut().filter(|_| !defs.is_empty()) {
        root.insert("$defs".into(), Value::Object(defs));
    }
    root
}

/// Reference to a definition.
pub(super) fn reference(name: &str) -> Value {
    json!({ "$ref": format!("#/$defs/{name}") })
}

/// Schemas by their text: how often, and under which key first.
#[derive(Default)]
struct Seen(BTreeMap<String, (usize, String)>);

impl Seen {
    /// Counts a schema; `true` where it is new, and what it holds is to be counted too.
    fn count(&mut self, value: &Value, key: &str) -> bool {
        let entry = self.0.entry(value.to_string()).or_insert((0, key.to_string()));
        entry.0 += 1;
        entry.0 == 1
    }

    /// Names for what is long and stands more than once.
    fn names(self, taken: &Map<String, Value>) -> BTreeMap<String, String> {
        let mut used: Vec<String> = taken.keys().cloned().collect();
        let mut names = BTreeMap::new();
        for (text, (count, key)) in self.0 {
            if count < 2 || text.len() < SHORT {
                continue;
            }
            let numbered = (2..).map(|k| format!("{key}-{k}"));
            let name = std::iter::once(key.clone()).chain(numbered).find(|n| !used.contains(n));
            let name = name.unwrap_or(key);
            used.push(name.clone());
            names.insert(text, name);
        }
        names
    }
}

/// Shows every schema within another one, with the property or kind that it stands under; goes deeper where `show` says
/// so.
fn each(value: &mut Value, key: &str, show: &mut dyn FnMut(&mut Value, &str) -> bool) {
    let Some(map) = value.as_object_mut() else { return };
    // The key that states a kind holds its word alone.
    let word = map.get("properties").and_then(|p| {
        let of = |tag: &str| p.get(tag)?.get("const")?.as_str().map(String::from);
        of("kind").or_else(|| of("quantity"))
    });
    let key = word.unwrap_or_else(|| key.to_string());
    for (word, inner) in map.iter_mut() {
        let mut one = |inner: &mut Value, key: &str| {
            if inner.is_object() && show(inner, key) {
                each(inner, key, show);
            }
        };
        match (word.as_str(), inner) {
            ("properties", Value::Object(properties)) => {
                properties.iter_mut().for_each(|(key, inner)| one(inner, key));
            }
            ("anyOf" | "oneOf" | "prefixItems", Value::Array(all)) => {
                all.iter_mut().for_each(|inner| one(inner, &key));
            }
            ("items" | "additionalProperties", inner) => one(inner, &key),
            _ => {}
        }
    }
}

/// Puts references where a schema has a name, and the schema under it.
fn replace(value: &mut Value, names: &BTreeMap<String, String>, defs: &mut Map<String, Value>) {
    each(value, "", &mut |inner, _| {
        let Some(name) = names.get(&inner.to_string()) else { return true };
        let mut whole = std::mem::replace(inner, reference(name));
        if !defs.contains_key(name) {
            // Holds the place while its own parts are looked at.
            defs.insert(name.clone(), Value::Null);
            replace(&mut whole, names, defs);
            defs.insert(name.clone(), whole);
        }
        false
    });
}
