//! Ratings that no law of a die knows: what terminals, clips and wires carry, and avalanche.

use serde::Serialize;

/// Ratings beside those of the model.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Ratings {
    /// Direct current that leads and package carry, whatever the junctions do, A.
    pub lead_current: Option<f64>,
    /// The largest pulse that they carry, A.
    pub lead_pulse_current: Option<f64>,
    /// The width up to which they carry it, s.
    pub lead_pulse_width: Option<f64>,
    /// Current of a single avalanche pulse, A; of a cascode its JFET's.
    pub avalanche_current: Option<f64>,
    /// Energy of a single avalanche pulse, J.
    pub avalanche_energy: Option<f64>,
    /// Junction temperature allowed once, from a fault on, °C; its highest junction temperature holds until then.
    pub single_event_temperature: Option<f64>,
    /// Energy of each of many avalanche pulses, J.
    pub repetitive_avalanche_energy: Option<f64>,
    /// Junction temperature at the start of a pulse for which the energies are stated, °C; `None`: 25 °C.
    pub avalanche_temperature: Option<f64>,
    /// Current of a single avalanche pulse of a cascode's MOSFET, A.
    pub middle_avalanche_current: Option<f64>,
    /// Energy of a single avalanche pulse of a cascode's MOSFET, J.
    pub middle_avalanche_energy: Option<f64>,
    /// Energy of each of many avalanche pulses of a cascode's MOSFET, J.
    pub middle_repetitive_avalanche_energy: Option<f64>,
}

/// The avalanche ratings of one die.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OfAvalanche {
    /// Current of a single pulse, A.
    pub current: Option<f64>,
    /// Energy of a single pulse, J.
    pub single: Option<f64>,
    /// Energy of each of many pulses, J.
    pub repetitive: Option<f64>,
}

impl Ratings {
    /// The avalanche ratings of the die that blocks the part's voltage, or of the one at the middle node.
    pub fn of_avalanche(&self, blocks: bool) -> OfAvalanche {
        if !blocks {
            return OfAvalanche {
                current: self.middle_avalanche_current,
                single: self.middle_avalanche_energy,
                repetitive: self.middle_repetitive_avalanche_energy,
            };
        }
        let (current, single) = (self.avalanche_current, self.avalanche_energy);
        OfAvalanche { current, single, repetitive: self.repetitive_avalanche_energy }
    }

    /// The ratings that go with the area of the dies: name, unit, value.
    pub fn of_dies(&mut self) -> [(&'static str, &'static str, &mut Option<f64>); 6] {
        [
            ("avalanche-energy", "J", &mut self.avalanche_energy),
            ("avalanche-current", "A", &mut self.avalanche_current),
            ("repetitive-avalanche-energy", "J", &mut self.repetitive_avalanche_energy),
            ("middle-avalanche-current", "A", &mut self.middle_avalanche_current),
            ("middle-avalanche-energy", "J", &mut self.middle_avalanche_energy),
            ("middle-repetitive-avalanche-energy", "J", &mut self.middle_repetitive_avalanche_energy),
        ]
    }

    /// Whether none is stated.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Junction temperature allowed once, °C; infinite where none is stated.
    pub fn single_event(&self) -> f64 {
        self.single_event_temperature.unwrap_or(f64::INFINITY)
    }

    /// Time constant of the leads, s: of a conductor of constant resistance whose rise is one exponential,
    /// ΔT ∝ I²·(1 − e^(−t/τ)), and which both ratings bring to the same temperature.
    pub fn lead_time_constant(&self) -> Option<f64> {
        let (direct, pulse, width) = (self.lead_current?, self.lead_pulse_current?, self.lead_pulse_width?);
        (pulse > direct).then(|| -width / (-(direct / pulse).powi(2)).ln_1p())
    }

    /// The square pulse that the leads carry for `width` s (∞: for ever), A; infinite where nothing is stated. Up to the
    /// width of the stated pulse that pulse; beyond it by their time constant. Without a stated pulse the direct current
    /// holds for every width.
    pub fn lead_limit(&self, width: f64) -> f64 {
        let Some(direct) = self.lead_current else { return f64::INFINITY };
        let (Some(time), Some(pulse)) = (self.lead_time_constant(), self.lead_pulse_current) else {
            return direct;
        };
        pulse.min(direct / (-(-width / time).exp_m1()).sqrt())
    }

    /// The peak of a pulse of another shape, whose ∫ i² dt is `square_integral` times peak² · width: that of equal I²t, at
    /// most the stated pulse.
    pub fn lead_peak(&self, square_integral: f64, width: f64) -> f64 {
        self.lead_limit(0.0).min(self.lead_limit(width) / square_integral.sqrt())
    }

    /// How long the leads carry a square pulse of this current, s.
    pub fn lead_time(&self, current: f64) -> f64 {
        match self.lead_current {
            None => f64::INFINITY,
            Some(direct) if current <= direct => f64::INFINITY,
            Some(_) if current > self.lead_limit(0.0) => 0.0,
            Some(direct) => {
                self.lead_time_constant().map_or(0.0, |time| -time * (-(direct / current).powi(2)).ln_1p())
            }
        }
    }

    /// The current of a single avalanche pulse at `volts` for `width` s, A: the stated one, and the stated energy as
    /// V·I·t. `None` where neither is stated.
    pub fn avalanche_limit(&self, volts: f64, width: f64) -> Option<f64> {
        let by_energy = self.avalanche_energy.map(|energy| energy / (volts * width));
        match (self.avalanche_current, by_energy) {
            (None, None) => None,
            (a, b) => Some(a.unwrap_or(f64::INFINITY).min(b.unwrap_or(f64::INFINITY))),
        }
    }
}
