//! Reading quantities.

use super::UnitError;
use super::dimension::{Dimension, Unit, nearest, single};

/// A number in SI base units (a temperature on the Celsius scale: in °C), and what it measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// In SI base units; °C for a temperature on the scale.
    pub value: f64,
    /// What it measures.
    pub dimension: Dimension,
}

/// Length in bytes of the number that begins `text`, and where its exponent begins.
fn number_length(text: &str) -> (usize, Option<usize>) {
    let bytes = text.as_bytes();
    let digits = |from: usize| bytes[from..].iter().take_while(|b| b.is_ascii_digit() || **b == b'_').count();
    let mut at = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let start = at;
    at += digits(at);
    if bytes.get(at) == Some(&b'.') {
        at += 1 + digits(at + 1);
    }
    if !bytes[start..at].iter().any(u8::is_ascii_digit) {
        return (0, None);
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
        let count = digits(at + 1 + sign);
        if count > 0 {
            return (at + 1 + sign + count, Some(at));
        }
    }
    (at, None)
}

/// Reads a number followed by a unit (or by nothing: a plain number).
///
/// # Errors
/// When there is no finite number, or the unit is unknown or ambiguous.
pub fn parse_quantity(text: &str) -> Result<Quantity, UnitError> {
    read(text, "\"20 mohm\"")
}

fn read(text: &str, example: &str) -> Result<Quantity, UnitError> {
    let (text, example) = (text.trim(), example.to_string());
    let (length, exponent) = number_length(text);
    if length == 0 {
        let word = text.trim_start_matches(['+', '-']).to_lowercase();
        if word.starts_with("nan") || word.starts_with("inf") {
            return Err(UnitError::NotFinite { text: text.into(), example });
        }
        return Err(UnitError::NotAQuantity { text: text.into(), example });
    }
    let symbol = text[length..].trim();
    let unit = if symbol.is_empty() { single("1").ok_or(()) } else { Err(()) };
    let unit = unit.or_else(|()| unit_of(symbol, &example))?;
    // The unit's power of ten goes into the exponent, so that "20 mohm" is the double nearest to 0.02.
    let mantissa = text[..exponent.unwrap_or(length)].replace('_', "");
    let power: i32 = match exponent {
        Some(at) => text[at + 1..length].replace('_', "").parse().unwrap_or(i32::MAX / 2),
        None => 0,
    };
    let number: f64 = format!("{mantissa}e{}", power.saturating_add(unit.ten)).parse().unwrap_or(f64::NAN);
    let value = number * unit.factor;
    if !value.is_finite() {
        return Err(UnitError::NotFinite { text: text.into(), example });
    }
    Ok(Quantity { value, dimension: unit.dimension })
}

/// Reads a unit expression: `A^2 s`, `W/(m K)`, `mΩ·cm²`.
///
/// # Errors
/// When a symbol is unknown or the expression ambiguous.
pub fn parse_unit(symbol: &str) -> Result<Unit, UnitError> {
    unit_of(symbol, "\"W/(m K)\"")
}

fn unit_of(symbol: &str, example: &str) -> Result<Unit, UnitError> {
    let bad = |why| UnitError::UnreadableUnit { symbol: symbol.into(), why, example: example.into() };
    let symbol = symbol.trim();
    let (above, below) = match symbol.split_once('/') {
        Some((a, b)) => (a.trim(), Some(b.trim())),
        None => (symbol, None),
    };
    let mut unit = product(above.trim_matches(['(', ')']), example)?;
    if let Some(below) = below {
        if below.contains('/') {
            return Err(bad("more than one `/`"));
        }
        let inner = below.strip_prefix('(').and_then(|b| b.strip_suffix(')'));
        if inner.is_none() && factors(below).count() > 1 {
            return Err(bad("a divisor of several units needs brackets"));
        }
        let divisor = product(inner.unwrap_or(below), example)?;
        unit = times(unit, power(divisor, -1)).ok_or_else(|| bad("a power is too high"))?;
    }
    let on_scale = unit.dimension.on_scale;
    if on_scale && (unit.dimension.exponents != [0, 0, 0, 0, 1, 0] || symbol.contains('/')) {
        return Err(bad("degC stands alone; a difference is in K"));
    }
    Ok(unit)
}

fn factors(text: &str) -> impl Iterator<Item = &str> {
    text.split(['*', '·', '\u{22c5}', ' ']).filter(|f| !f.is_empty())
}

fn product(text: &str, example: &str) -> Result<Unit, UnitError> {
    let unreadable =
        |why| UnitError::UnreadableUnit { symbol: text.into(), why, example: example.to_string() };
    let mut all: Option<Unit> = None;
    for factor in factors(text) {
        let (name, exponent) =
            split_power(factor).ok_or_else(|| unreadable("a power is not a small integer"))?;
        let unit = single(name).ok_or_else(|| UnitError::UnknownUnit {
            symbol: name.into(),
            suggestion: nearest(name),
            example: example.to_string(),
        })?;
        let unit = power(unit, exponent);
        all = Some(match all {
            None => unit,
            Some(before) => times(before, unit).ok_or_else(|| unreadable("a power is too high"))?,
        });
    }
    all.ok_or_else(|| unreadable("a unit is missing"))
}

/// Name and exponent: `m^2`, `s^-1`, `V²`.
fn split_power(factor: &str) -> Option<(&str, i8)> {
    if let Some((name, digits)) = factor.split_once('^') {
        let exponent: i8 = digits.parse().ok()?;
        return (exponent.abs() <= 4 && exponent != 0).then_some((name, exponent));
    }
    for (sign, exponent) in [('²', 2), ('³', 3)] {
        if let Some(name) = factor.strip_suffix(sign) {
            return Some((name, exponent));
        }
    }
    Some((factor, 1))
}

fn power(unit: Unit, exponent: i8) -> Unit {
    let mut dimension = unit.dimension;
    for e in &mut dimension.exponents {
        *e = e.saturating_mul(exponent);
    }
    Unit { dimension, ten: unit.ten * i32::from(exponent), factor: unit.factor.powi(exponent.into()) }
}

fn times(a: Unit, b: Unit) -> Option<Unit> {
    let mut dimension = a.dimension;
    for (e, other) in dimension.exponents.iter_mut().zip(b.dimension.exponents) {
        *e = e.checked_add(other).filter(|x| x.abs() <= 12)?;
    }
    // A Celsius temperature in a product makes the expression unreadable; `unit_of` refuses it.
    dimension.on_scale |= b.dimension.on_scale;
    Some(Unit { dimension, ten: a.ten + b.ten, factor: a.factor * b.factor })
}

/// Reads a quantity that must have the dimension of `unit`, and gives it in that unit. All units in use are coherent
/// SI units, so the value is in SI base units, but for `degC` and `eV`.
///
/// # Errors
/// When it cannot be read or measures something else.
pub fn in_unit(text: &str, unit: &str) -> Result<f64, UnitError> {
    let target = parse_unit(unit)?;
    let wanted = target.dimension;
    let found = read(text, &wanted.example())?;
    if found.dimension == wanted {
        return Ok(if is_coherent(&target) { found.value } else { found.value / size(&target) });
    }
    let kind = if found.dimension == Dimension::default() {
        "a plain number without a unit".to_string()
    } else {
        found.dimension.kind()
    };
    Err(UnitError::WrongDimension {
        text: text.trim().into(),
        found: kind,
        expected: wanted.kind(),
        example: wanted.example(),
    })
}

/// Whether numbers in this unit are numbers in SI base units.
fn is_coherent(unit: &Unit) -> bool {
    unit.ten == 0 && unit.factor == 1.0
}

fn size(unit: &Unit) -> f64 {
    unit.factor * 10f64.powi(unit.ten)
}

/// A number typed without a unit, where `unit` is expected: taken as SI base units. A temperature on the scale
/// needs its unit, since 25 could mean 25 °C or 25 K; so does what is usually not told in SI units (`eV`).
///
/// # Errors
/// When it is not finite, or is a temperature.
pub fn bare_in(number: f64, unit: &str) -> Result<f64, UnitError> {
    let target = parse_unit(unit)?;
    let wanted = target.dimension;
    let coherent = is_coherent(&target);
    let (text, example) =
        (number.to_string(), if coherent { wanted.example() } else { format!("\"1 {unit}\"") });
    if !number.is_finite() {
        return Err(UnitError::NotFinite { text, example });
    }
    if wanted.on_scale || !coherent {
        let found = "a plain number without a unit".into();
        return Err(UnitError::WrongDimension { text, found, expected: wanted.kind(), example });
    }
    Ok(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SI Brochure, 9th edition, table 7: name, symbol and factor of each prefix that is read here.
    #[test]
    fn prefixes_of_the_si_brochure() {
        let table = [
            ("f", 1e-15),
            ("p", 1e-12),
            ("n", 1e-9),
            ("µ", 1e-6),
            ("u", 1e-6),
            ("m", 1e-3),
            ("k", 1e3),
            ("M", 1e6),
            ("G", 1e9),
            ("T", 1e12),
        ];
        for (prefix, factor) in table {
            for unit in ["V", "Hz", "ohm", "Ω", "J", "s"] {
                let text = format!("1 {prefix}{unit}");
                assert_eq!(parse_quantity(&text).map(|q| q.value), Ok(factor), "{text}");
            }
        }
    }

    /// SI Brochure, 9th edition, table 4: derived units with special names, in base units and in other units.
    #[test]
    fn derived_units_of_the_si_brochure() {
        let table = [
            ("Hz", "1/s", "s^-1"),
            ("N", "kg m/s^2", "kg m s^-2"),
            ("Pa", "N/m^2", "kg m^-1 s^-2"),
            ("J", "N m", "kg m^2 s^-2"),
            ("W", "J/s", "kg m^2 s^-3"),
            ("C", "A s", "A s"),
            ("V", "W/A", "kg m^2 s^-3 A^-1"),
            ("F", "C/V", "kg^-1 m^-2 s^4 A^2"),
            ("ohm", "V/A", "kg m^2 s^-3 A^-2"),
            ("S", "A/V", "kg^-1 m^-2 s^3 A^2"),
            ("Wb", "V s", "kg m^2 s^-2 A^-1"),
            ("T", "Wb/m^2", "kg s^-2 A^-1"),
            ("H", "Wb/A", "kg m^2 s^-2 A^-2"),
        ];
        for (unit, others, base) in table {
            let [a, b, c] = [unit, others, base].map(|u| parse_unit(u).unwrap());
            assert_eq!((a.dimension, a.ten, a.factor), (b.dimension, b.ten, b.factor), "{unit} = {others}");
            assert_eq!((a.dimension, a.ten, a.factor), (c.dimension, c.ten, c.factor), "{unit} = {base}");
        }
        // Table 8: units accepted beside the SI.
        assert_eq!(in_unit("2 min", "s"), Ok(120.0));
        assert_eq!(in_unit("1 h", "s"), Ok(3600.0));
        assert_eq!(in_unit("1 eV", "J"), Ok(1.602_176_634e-19));
        assert_eq!(in_unit("180 deg", "rad"), Ok(std::f64::consts::PI));
    }

    #[test]
    fn quantities_are_the_nearest_double() {
        assert_eq!(in_unit("20 mohm", "ohm"), Ok(0.02));
        assert_eq!(in_unit("2.2 mF", "F"), Ok(0.0022));
        assert_eq!(in_unit("12 A/us", "A/s"), Ok(12e6));
        assert_eq!(in_unit("0.5 K/W", "K/W"), Ok(0.5));
        assert_eq!(in_unit("3 J/K", "J/K"), Ok(3.0));
        assert_eq!(in_unit("-40 degC", "degC"), Ok(-40.0));
        assert_eq!(in_unit("30 %", "1"), Ok(0.3));
        assert_eq!(in_unit("1.5e2kV", "V"), Ok(150_000.0));
        assert_eq!(in_unit("120 W/(m K)", "W/(m K)"), Ok(120.0));
        assert_eq!(in_unit("1 mΩ·cm²", "ohm m^2"), Ok(1e-7));
        assert_eq!(in_unit("1 kg", "kg"), Ok(1.0));
        assert_eq!(in_unit("1.2 eV", "eV"), Ok(1.2));
        assert!(bare_in(1.2, "eV").is_err());
    }

    #[test]
    fn wrong_dimension_says_what_is_what() {
        let error = in_unit("20 mV", "ohm").unwrap_err();
        assert_eq!(error.to_string(), "`20 mV` is a voltage");
        assert_eq!(error.expected("ohm"), "a resistance such as \"20 mohm\"");
        assert!(matches!(in_unit("50 K", "degC"), Err(UnitError::WrongDimension { .. })));
        assert!(matches!(in_unit("50 degC", "K"), Err(UnitError::WrongDimension { .. })));
        assert!(matches!(in_unit("50 %", "rad"), Err(UnitError::WrongDimension { .. })));
        assert!(matches!(bare_in(50.0, "degC"), Err(UnitError::WrongDimension { .. })));
        assert_eq!(bare_in(0.02, "ohm"), Ok(0.02));
    }

    #[test]
    fn unknown_units_get_a_suggestion() {
        for (typed, expected) in [
            ("1 Ohms", "ohm"),
            ("1 usec", "us"),
            ("1 KHz", "kHz"),
            ("1 mhom", "mohm"),
            ("1 volts", "V"),
            ("1 Celsius", "degC"),
        ] {
            assert_eq!(parse_quantity(typed).unwrap_err().suggestion(), Some(expected), "{typed}");
        }
        assert_eq!(parse_quantity("1 furlong").unwrap_err().suggestion(), None);
    }

    #[test]
    fn hostile_text_is_refused() {
        for text in [
            "", "-", ".", "V", "nan V", "inf", "1e999 V", "1 W/m/K", "1 W/m K", "1 V^99", "1 /", "1 ()",
            "1 V^",
        ] {
            assert!(parse_quantity(text).is_err(), "{text}");
        }
        for text in
            ["1 degC/W", "1 W/degC", "1 degC^2", "1 m m m m m^4 m^4 m^4", "1e99999999999 V", "1 \u{0}"]
        {
            assert!(parse_quantity(text).is_err(), "{text}");
        }
        assert!(parse_quantity("nan V").unwrap_err().to_string().contains("finite"));
    }
}
