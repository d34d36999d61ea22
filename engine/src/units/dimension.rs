//! Dimensions as exponents of base units, and the table of units.

/// Exponents of the base units, and whether a temperature is one on a scale (°C) or a difference (K).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dimension {
    /// Exponents of m, kg, s, A, K and of the plane angle (kept apart so that a percentage is no angle).
    pub exponents: [i8; 6],
    /// A temperature on the Celsius scale.
    pub on_scale: bool,
}

/// A unit: value in SI base units = number · 10^`ten` · `factor`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// What it measures.
    pub dimension: Dimension,
    /// Power of ten.
    pub ten: i32,
    /// What is not a power of ten (60 for the minute).
    pub factor: f64,
}

const fn si(exponents: [i8; 6]) -> Dimension {
    Dimension { exponents, on_scale: false }
}

/// Symbol, dimension, power of ten, factor, takes prefixes.
type Line = (&'static str, Dimension, i32, f64, bool);

const PLAIN: Dimension = si([0, 0, 0, 0, 0, 0]);
const VOLT: Dimension = si([2, 1, -3, -1, 0, 0]);
const OHM: Dimension = si([2, 1, -3, -2, 0, 0]);
const ANGLE: Dimension = si([0, 0, 0, 0, 0, 1]);
const SCALE: Dimension = Dimension { exponents: [0, 0, 0, 0, 1, 0], on_scale: true };
const JOULE: Dimension = si([2, 1, -2, 0, 0, 0]);
const WATT: Dimension = si([2, 1, -3, 0, 0, 0]);

/// SI Brochure tables 2 (base units), 4 (derived units with names) and 8 (units accepted beside the SI).
const UNITS: &[Line] = &[
    ("m", si([1, 0, 0, 0, 0, 0]), 0, 1.0, true),
    ("g", si([0, 1, 0, 0, 0, 0]), -3, 1.0, true),
    ("s", si([0, 0, 1, 0, 0, 0]), 0, 1.0, true),
    ("A", si([0, 0, 0, 1, 0, 0]), 0, 1.0, true),
    ("K", si([0, 0, 0, 0, 1, 0]), 0, 1.0, true),
    ("V", VOLT, 0, 1.0, true),
    ("ohm", OHM, 0, 1.0, true),
    ("Ω", OHM, 0, 1.0, true),
    ("\u{2126}", OHM, 0, 1.0, true),
    ("S", si([-2, -1, 3, 2, 0, 0]), 0, 1.0, true),
    ("F", si([-2, -1, 4, 2, 0, 0]), 0, 1.0, true),
    ("H", si([2, 1, -2, -2, 0, 0]), 0, 1.0, true),
    ("C", si([0, 0, 1, 1, 0, 0]), 0, 1.0, true),
    ("W", WATT, 0, 1.0, true),
    ("J", JOULE, 0, 1.0, true),
    ("N", si([1, 1, -2, 0, 0, 0]), 0, 1.0, true),
    ("Pa", si([-1, 1, -2, 0, 0, 0]), 0, 1.0, true),
    ("Hz", si([0, 0, -1, 0, 0, 0]), 0, 1.0, true),
    ("Wb", si([2, 1, -2, -1, 0, 0]), 0, 1.0, true),
    ("T", si([0, 1, -2, -1, 0, 0]), 0, 1.0, true),
    ("rad", ANGLE, 0, 1.0, true),
    // The electronvolt's value is exact (SI Brochure table 8, note).
    ("eV", JOULE, 0, 1.602_176_634e-19, true),
    ("deg", ANGLE, 0, std::f64::consts::PI / 180.0, false),
    ("°", ANGLE, 0, std::f64::consts::PI / 180.0, false),
    ("min", si([0, 0, 1, 0, 0, 0]), 0, 60.0, false),
    ("h", si([0, 0, 1, 0, 0, 0]), 0, 3600.0, false),
    ("d", si([0, 0, 1, 0, 0, 0]), 0, 86_400.0, false),
    // 365.25 d, the Julian year of astronomers: calendars change in length.
    ("year", si([0, 0, 1, 0, 0, 0]), 0, 31_557_600.0, false),
    ("years", si([0, 0, 1, 0, 0, 0]), 0, 31_557_600.0, false),
    ("degC", SCALE, 0, 1.0, false),
    ("°C", SCALE, 0, 1.0, false),
    ("%", PLAIN, -2, 1.0, false),
    ("ppm", PLAIN, -6, 1.0, false),
    ("1", PLAIN, 0, 1.0, false),
];

/// SI Brochure table 7, femto to tera, with centi for the centimetre of semiconductor data.
const PREFIXES: &[(&str, i32)] = &[
    ("f", -15),
    ("p", -12),
    ("n", -9),
    ("u", -6),
    ("\u{b5}", -6),
    ("\u{3bc}", -6),
    ("m", -3),
    ("k", 3),
    ("M", 6),
    ("G", 9),
    ("T", 12),
];

/// Kind in words, unit symbol of the example, example.
const KINDS: &[(&str, &str, &str)] = &[
    ("a plain number", "1", "0.5 or \"50 %\""),
    ("a length", "m", "\"3 mm\""),
    ("an area", "m^2", "\"20 mm^2\""),
    ("a mass", "kg", "\"0.2 kg\""),
    ("a time", "s", "\"20 us\""),
    ("a current", "A", "\"250 A\""),
    ("a temperature difference", "K", "\"10 K\""),
    ("a temperature", "degC", "\"60 degC\""),
    ("an angle", "rad", "\"90 deg\""),
    ("a frequency", "Hz", "\"20 kHz\""),
    ("a voltage", "V", "\"400 V\""),
    ("a resistance", "ohm", "\"20 mohm\""),
    ("a conductance", "S", "\"5 S\""),
    ("a capacitance", "F", "\"2.2 mF\""),
    ("an inductance", "H", "\"40 uH\""),
    ("a charge", "C", "\"120 nC\""),
    ("a power", "W", "\"12 kW\""),
    ("an energy", "J", "\"3 mJ\""),
    ("a magnetic flux", "Wb", "\"1 mWb\""),
    ("a thermal resistance", "K/W", "\"0.5 K/W\""),
    ("a thermal capacitance", "J/K", "\"3 J/K\""),
    ("a thermal conductivity", "W/(m K)", "\"120 W/(m K)\""),
    ("a rate of current rise", "A/s", "\"12 A/us\""),
    ("a rate of voltage rise", "V/s", "\"20 V/ns\""),
    ("an I²t value", "A^2 s", "\"400 A^2 s\""),
    ("a transconductance factor", "A/V^2", "\"15 A/V^2\""),
    ("a relative change per temperature", "1/K", "\"0.004 1/K\""),
    ("an electric field", "V/m", "\"1.4 MV/cm\""),
    ("a voltage per temperature", "V/K", "\"-5 mV/K\""),
    ("a reciprocal voltage", "1/V", "\"0.02 1/V\""),
];

impl Dimension {
    /// The kind of quantity in words, with its article.
    pub fn kind(&self) -> String {
        match self.line() {
            Some((kind, _, _)) => (*kind).to_string(),
            None => format!("a quantity in {}", self.symbol()),
        }
    }

    /// A quantity of this kind as one would type it.
    pub fn example(&self) -> String {
        match self.line() {
            Some((_, _, example)) => (*example).to_string(),
            None => format!("\"1 {}\"", self.symbol()),
        }
    }

    fn line(&self) -> Option<&'static (&'static str, &'static str, &'static str)> {
        KINDS.iter().find(|(_, unit, _)| super::parse_unit(unit).is_ok_and(|u| u.dimension == *self))
    }

    /// The dimension written in base units ("kg m^2/s^3").
    pub fn symbol(&self) -> String {
        if self.on_scale {
            return "degC".into();
        }
        let side = |sign: i8| -> Vec<String> {
            ["m", "kg", "s", "A", "K", "rad"]
                .iter()
                .zip(self.exponents)
                .filter(|(_, e)| e * sign > 0)
                .map(|(name, e)| if e.abs() == 1 { (*name).into() } else { format!("{name}^{}", e.abs()) })
                .collect()
        };
        let (above, below) = (side(1), side(-1));
        let above = if above.is_empty() { "1".to_string() } else { above.join(" ") };
        match below.len() {
            0 => above,
            1 => format!("{above}/{}", below[0]),
            _ => format!("{above}/({})", below.join(" ")),
        }
    }
}

/// The unit of one symbol without powers, with its prefix if it has one.
pub(super) fn single(symbol: &str) -> Option<Unit> {
    let plain = |s: &str| UNITS.iter().find(|u| u.0 == s);
    if let Some(&(_, dimension, ten, factor, _)) = plain(symbol) {
        return Some(Unit { dimension, ten, factor });
    }
    if symbol == "cm" {
        return Some(Unit { dimension: si([1, 0, 0, 0, 0, 0]), ten: -2, factor: 1.0 });
    }
    PREFIXES.iter().find_map(|(prefix, shift)| {
        let &(_, dimension, ten, factor, _) = plain(symbol.strip_prefix(prefix)?).filter(|u| u.4)?;
        Some(Unit { dimension, ten: ten + shift, factor })
    })
}

/// Every symbol that may be typed, prefixes included.
pub fn known_units() -> Vec<String> {
    let prefixed = UNITS.iter().filter(|u| u.4);
    let prefixed = prefixed.flat_map(|u| PREFIXES.iter().map(move |p| format!("{}{}", p.0, u.0)));
    UNITS.iter().map(|u| u.0.to_string()).chain(prefixed).chain(["cm".to_string()]).collect()
}

/// Words people write for a unit, and what to write instead.
const WORDS: &[(&str, &str)] = &[
    ("ohms", "ohm"),
    ("r", "ohm"),
    ("volt", "V"),
    ("volts", "V"),
    ("amp", "A"),
    ("amps", "A"),
    ("ampere", "A"),
    ("amperes", "A"),
    ("sec", "s"),
    ("second", "s"),
    ("seconds", "s"),
    ("usec", "us"),
    ("msec", "ms"),
    ("nsec", "ns"),
    ("hertz", "Hz"),
    ("watt", "W"),
    ("watts", "W"),
    ("joule", "J"),
    ("farad", "F"),
    ("henry", "H"),
    ("celsius", "degC"),
    ("deg_c", "degC"),
    ("kelvin", "K"),
    ("percent", "%"),
    ("degrees", "deg"),
];

/// The unit nearest to an unknown symbol.
pub(super) fn nearest(symbol: &str) -> Option<String> {
    let lower = symbol.to_lowercase();
    if let Some((_, unit)) = WORDS.iter().find(|(word, _)| *word == lower) {
        return Some((*unit).into());
    }
    let all = known_units();
    if let Some(same) = all.iter().find(|u| u.to_lowercase() == lower) {
        return Some(same.clone());
    }
    let near = all.iter().map(|u| (strsim::damerau_levenshtein(&u.to_lowercase(), &lower), u));
    let (distance, unit) = near.min_by_key(|(d, _)| *d)?;
    (distance == 1 && symbol.chars().count() > 2).then(|| unit.clone())
}
