//! A shipped arrangement: its parameters, and parts in its places.

use std::collections::BTreeMap;

use joulestep_models::arrangement;
use joulestep_models::model::Values;

use super::Resolve;
use super::parts::Parts;
use crate::input::keys::fields::Fields;
use crate::input::parts::given;
use crate::input::scenario::resolved::ArrangementSpec;

impl Resolve<'_> {
    pub(super) fn arrangement(&mut self, fields: &Fields, parts: &Parts) -> Option<ArrangementSpec> {
        let arrangement = arrangement::find(&fields.kind)?;
        let mut values = Values::with_defaults(arrangement.params);
        values.0.extend(given(fields, arrangement.params));
        let mut chosen = BTreeMap::new();
        for key in arrangement.places.iter().chain(&["part"]) {
            let Some(name) = fields.text(key) else { continue };
            // A part that cannot be read is reported where parts are read.
            if let Some(part) = parts.of(fields.place_of(key).file, name) {
                chosen.insert(if *key == "part" { String::new() } else { key.to_string() }, part.clone());
            }
        }
        let places = fields.values.iter().map(|(key, f)| (key.to_string(), f.place.clone())).collect();
        Some(ArrangementSpec { kind: fields.named("kind")?, arrangement, values, parts: chosen, places })
    }
}
