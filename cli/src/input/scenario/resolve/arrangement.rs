//! A shipped arrangement: its parameters, and parts in its places.

use std::collections::BTreeMap;

use joulestep_models::arrangement;
use joulestep_models::model::Values;

use super::Resolve;
use super::parts::Parts;
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::shape::Key;
use crate::input::parts::given;
use crate::input::scenario::resolved::ArrangementSpec;
use crate::input::scenario::sections::Arrangement;

impl Resolve<'_> {
    pub(super) fn arrangement(&mut self, fields: &Fields, parts: &Parts) -> Option<ArrangementSpec> {
        let arrangement = arrangement::find(&fields.kind)?;
        let mut values = Values::with_defaults(arrangement.params);
        values.0.extend(given(fields, arrangement.params));
        let mut chosen = BTreeMap::new();
        let stated = Arrangement::read(fields)?;
        let places = Key::of_arrangement(arrangement).into_iter().take(arrangement.places.len());
        let of_places = places.filter_map(|key| Some((key.name, fields.get::<Named>(key)?)));
        for (place, name) in of_places.chain(stated.part.map(|part| ("", part))) {
            // A part that cannot be read is reported where parts are read.
            if let Some(part) = parts.of(name.span.file, &name.name) {
                chosen.insert(place.to_string(), part.clone());
            }
        }
        let places = fields.values.iter().map(|(key, f)| (key.to_string(), f.span.clone())).collect();
        Some(ArrangementSpec { kind: stated.kind, arrangement, values, parts: chosen, places })
    }
}
