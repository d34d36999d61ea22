//! Ratings of a part.

use joulestep_engine::units::people;
use joulestep_models::part::Ratings;

use super::{Read, typed};
use crate::input::keys::fields::Fields;

impl Read<'_> {
    pub(super) fn ratings(&mut self, f: &Fields) -> Option<Ratings> {
        let stated = typed::Ratings::read(f)?;
        let ratings = Ratings {
            lead_current: stated.lead_current,
            lead_pulse_current: stated.lead_pulse_current,
            lead_pulse_width: stated.lead_pulse_width,
            avalanche_current: stated.avalanche_current,
            avalanche_energy: stated.avalanche_energy,
            single_event_temperature: stated.single_event_temperature,
            repetitive_avalanche_energy: stated.repetitive_avalanche_energy,
            avalanche_temperature: stated.avalanche_temperature,
            middle_avalanche_current: stated.middle_avalanche_current,
            middle_avalanche_energy: stated.middle_avalanche_energy,
            middle_repetitive_avalanche_energy: stated.middle_repetitive_avalanche_energy,
        };
        let pulse = [ratings.lead_pulse_current, ratings.lead_pulse_width];
        if pulse.iter().any(Option::is_some) && (pulse.contains(&None) || ratings.lead_current.is_none()) {
            let key = match ratings.lead_pulse_current {
                Some(_) => typed::Ratings::lead_pulse_current,
                None => typed::Ratings::lead_pulse_width,
            };
            let expected = "`lead-current`, `lead-pulse-current` and `lead-pulse-width` together";
            self.diagnostics.push(f.wrong(key, "a pulse that is stated in part", expected));
        } else if let [Some(direct), Some(pulse)] = [ratings.lead_current, ratings.lead_pulse_current]
            && pulse <= direct
        {
            let [direct, pulse] = [direct, pulse].map(|x| people(x, "A"));
            let expected = format!("a pulse above the direct current, {direct}");
            self.diagnostics.push(f.wrong(typed::Ratings::lead_pulse_current, pulse, expected));
        }
        Some(ratings)
    }
}
