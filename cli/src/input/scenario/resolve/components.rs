//! Components: pins to nodes, parameters from part and table.

use joulestep_models::devices::catalogue;
use joulestep_models::model::{Entry, Values};
use joulestep_models::part::Spread;

use super::Resolve;
use super::parts::Parts;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::conform::{form_words, one_of};
use crate::input::keys::fields::{Content, Fields, Named};
use crate::input::keys::shape::{GROUND, Key, zero_as_ground};
use crate::input::parts::given;
use crate::input::scenario::resolved::ComponentSpec;
use crate::input::scenario::sections::Component;

impl Resolve<'_> {
    pub(super) fn component(&mut self, fields: &Fields, parts: &Parts) -> Option<ComponentSpec> {
        let entry = catalogue().iter().find(|e| e.kind == fields.kind)?;
        let component = Component::read(fields)?;
        let nodes = self.pins(fields, &component.pins, entry);
        let mut values = Values::with_defaults(entry.params);
        let part = component.part.as_ref().and_then(|part| parts.of(part.span.file, &part.name));
        if let Some(part) = part {
            let of_part = &part.values;
            let own = of_part.0.iter().filter(|(key, _)| entry.params.iter().any(|p| p.key == **key));
            values.0.extend(own.map(|(key, value)| (*key, value.clone())));
        }
        values.0.extend(given(fields, entry.params));
        for param in entry.params.iter().filter(|p| p.default.is_none() && !p.optional) {
            // Without a part, a missing key is reported by the table's check.
            if !values.0.contains_key(param.key) && component.part.is_some() && !fields.has(param.key) {
                let expected = form_words(Key::of_param(param, false).form);
                let found = "missing: neither the part nor the component gives it";
                self.report(
                    &fields.span,
                    fields.key(param.key),
                    found,
                    format!("{expected} ({})", param.help),
                );
            }
        }
        let heat = match component.heat {
            Some(Content::Texts(one)) => one.into_iter().map(|n| (None, n)).collect(),
            Some(Content::Map(map)) => map.into_iter().map(|(die, n)| (Some(die), n)).collect(),
            _ => Vec::new(),
        };
        let known_current = part.and_then(|p| p.known_current()).unwrap_or(f64::INFINITY);
        let ratings = part.map(|p| p.ratings.clone()).unwrap_or_default();
        let dies = part.map_or(Vec::new(), |p| p.dies.clone());
        let mut spread = part.map_or(Spread::default(), |p| p.spread.clone());
        // What the component states itself is what it says.
        spread.deviations.retain(|d| !fields.has(d.0));
        Some(ComponentSpec {
            name: component.name,
            entry,
            nodes: nodes?,
            values,
            heat,
            known_current,
            ratings,
            dies,
            spread,
        })
    }

    /// Whether none of the nodes is called `0`; those that are, are reported.
    fn no_zero<'n>(&mut self, nodes: impl Iterator<Item = &'n Named>, key: &str) -> bool {
        let wrong = self.diagnostics.len();
        for node in nodes {
            if let Some(found) = zero_as_ground(&node.name) {
                self.report(&node.span, key, found, format!("`{GROUND}`"));
            }
        }
        self.diagnostics.len() == wrong
    }

    /// Nodes in the order of the pins.
    fn pins(&mut self, fields: &Fields, pins: &Content, entry: &Entry) -> Option<Vec<Named>> {
        let (fixed, optional) = (entry.needed_pins(), entry.optional_pins());
        let both = [&fixed[..], &optional].concat();
        let mut listed = one_of(&fixed).replace(" or ", " and ");
        if !optional.is_empty() {
            listed = format!("{listed}, and perhaps {}", one_of(&optional).replace(" or ", " and "));
        }
        match pins {
            Content::Texts(nodes) => {
                let good = nodes.len() >= fixed.len() && (entry.open_ended() || nodes.len() <= both.len());
                if !good {
                    let more = if entry.open_ended() { " and further ones" } else { "" };
                    let are = if nodes.len() == 1 { " is" } else { "s are" };
                    let found = format!("{} pin{are} connected", nodes.len());
                    let expected = format!("{} nodes in the order {listed}{more}", fixed.len());
                    self.wrong(fields, Component::pins, found, expected);
                    return None;
                }
                self.no_zero(nodes.iter(), &fields.key(Component::pins)).then(|| nodes.clone())
            }
            Content::Map(map) => {
                let mut good = true;
                for (pin, _) in map {
                    if !both.contains(&pin.name.as_str()) {
                        let d = Diagnostic::new(
                            &pin.span,
                            fields.key(Component::pins),
                            format!("kind `{}` has no pin `{}`", entry.kind, pin.name),
                            one_of(&both),
                        );
                        self.diagnostics.push(d.suggest(nearest(&pin.name, both.iter().copied())));
                        good = false;
                    }
                }
                let node = |pin: &&str| map.iter().find(|m| m.0.name == *pin).map(|m| m.1.clone());
                let missing: Vec<&str> = fixed.iter().filter(|p| node(p).is_none()).copied().collect();
                if !missing.is_empty() {
                    let found = format!("pin {} is not connected", one_of(&missing).replace(" or ", " and "));
                    self.wrong(fields, Component::pins, found, format!("nodes for {listed}"));
                    good = false;
                }
                good &= self.no_zero(map.iter().map(|m| &m.1), &fields.key(Component::pins));
                good.then(|| both.iter().filter_map(node).collect())
            }
            _ => None,
        }
    }
}
