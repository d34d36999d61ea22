//! Writing quantities for people.

/// Units that take a prefix when written for people.
pub const PREFIXED: &[&str] =
    &["V", "A", "W", "J", "s", "F", "H", "ohm", "C", "Hz", "S", "m", "Wb", "Pa", "N"];
/// Powers of ten that have a prefix, and their prefixes.
pub const PREFIXES: &[(i32, &str)] = &[
    (-15, "f"),
    (-12, "p"),
    (-9, "n"),
    (-6, "µ"),
    (-3, "m"),
    (0, ""),
    (3, "k"),
    (6, "M"),
    (9, "G"),
    (12, "T"),
];

/// Units of longer times: from how many seconds on, the unit, and its seconds (ISO 80000-3; where one gives way to the
/// next is our choice).
const LONG: [(f64, &str, f64); 4] = [
    (63_115_200.0, "years", 31_557_600.0),
    (172_800.0, "d", 86_400.0),
    (7200.0, "h", 3600.0),
    (120.0, "min", 60.0),
];

/// A value (SI units) with an SI prefix and three significant digits: `312 A`, `4.53 mJ`, `48.2 °C`. Times have no
/// zeros at their end, and minutes, hours, days or years (of 365.25 d) where there are two or more: `6 µs`, `100 s`, `30 min`, `24 h`.
pub fn people(value: f64, unit: &str) -> String {
    people_digits(value, unit, 3)
}

/// Like [`people`], with a number of significant digits from 1 to 9.
pub fn people_digits(value: f64, unit: &str, digits: usize) -> String {
    let digits = digits.clamp(1, 9);
    let shown = match unit {
        "ohm" => "Ω",
        "degC" => "°C",
        "1" => "",
        other => other,
    };
    let join = |number: String, prefix: &str| {
        if prefix.is_empty() && shown.is_empty() { number } else { format!("{number} {prefix}{shown}") }
    };
    if !value.is_finite() {
        return join(value.to_string(), "");
    }
    if value == 0.0 {
        return join("0".into(), "");
    }
    if unit == "s" {
        return join_time(value, digits);
    }
    if unit == "degC" {
        // A temperature's zero is arbitrary: decimals, not digits.
        return join(format!("{value:.1}"), "");
    }
    // Rounding first, in scientific notation, so that 999.96 becomes 1.00 k.
    let rounded = format!("{value:.*e}", digits - 1);
    let (mantissa, exponent) = rounded.split_once('e').unwrap_or((&rounded, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let shift = exponent.div_euclid(3) * 3;
    if PREFIXED.contains(&unit) {
        if let Some((_, prefix)) = PREFIXES.iter().find(|p| p.0 == shift) {
            return join(placed(mantissa, (exponent - shift) as usize), prefix);
        }
    } else if (-3..6).contains(&exponent) {
        let decimals = (digits as i32 - 1 - exponent).max(0) as usize;
        return join(format!("{value:.decimals$}"), "");
    }
    join(rounded, "")
}

fn join_time(seconds: f64, digits: usize) -> String {
    // Rounded first, so that 119.96 s becomes 2 min.
    let rounded: f64 = format!("{seconds:.*e}", digits - 1).parse().unwrap_or(seconds);
    let (value, unit) = match LONG.iter().find(|l| rounded.abs() >= l.0) {
        Some(&(_, unit, one)) => (seconds / one, unit),
        None => (seconds, "s"),
    };
    let text = format!("{value:.*e}", digits - 1);
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let shift = if unit == "s" { exponent.div_euclid(3) * 3 } else { 0 };
    let number = match PREFIXES.iter().find(|p| p.0 == shift) {
        Some(_) if unit != "s" => format!("{value:.*}", (digits as i32 - 1 - exponent).max(0) as usize),
        Some(_) => placed(mantissa, (exponent - shift) as usize),
        None => text.clone(),
    };
    let number = match number.contains('.') && !number.contains('e') {
        true => number.trim_end_matches('0').trim_end_matches('.'),
        false => &number,
    };
    let prefix = PREFIXES.iter().find(|p| p.0 == shift).map_or("", |p| p.1);
    format!("{number} {prefix}{unit}")
}

/// The mantissa of a scientific number with its decimal point moved right by `places` (0 to 2).
fn placed(mantissa: &str, places: usize) -> String {
    let (sign, digits) = match mantissa.strip_prefix('-') {
        Some(rest) => ("-", rest.replace('.', "")),
        None => ("", mantissa.replace('.', "")),
    };
    let whole = places + 1;
    if digits.len() <= whole {
        return format!("{sign}{digits:0<whole$}");
    }
    format!("{sign}{}.{}", &digits[..whole], &digits[whole..])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_digits_and_a_prefix() {
        for (value, unit, text) in [
            (312.4, "A", "312 A"),
            (0.004534, "J", "4.53 mJ"),
            (999.96, "V", "1.00 kV"),
            (-0.0999999, "ohm", "-100 mΩ"),
            (2.5e-6, "s", "2.5 µs"),
            (6e-6, "s", "6 µs"),
            (-9.0293e-3, "s", "-9.03 ms"),
            (1.0, "s", "1 s"),
            (100.0, "s", "100 s"),
            (119.96, "s", "2 min"),
            (1800.0, "s", "30 min"),
            (1850.0, "s", "30.8 min"),
            (5400.0, "s", "90 min"),
            (7200.0, "s", "2 h"),
            (86_400.0, "s", "24 h"),
            (-86_400.0, "s", "-24 h"),
            (3.1536e7, "s", "365 d"),
            (3.1536e8, "s", "9.99 years"),
            (1e-20, "s", "1.00e-20 s"),
            (0.0, "s", "0 s"),
            (f64::INFINITY, "s", "inf s"),
            (87.44, "degC", "87.4 °C"),
            (0.0, "A", "0 A"),
            (1.5, "1", "1.50"),
            (0.00123, "K/W", "0.00123 K/W"),
            (4.0e7, "A^2 s", "4.00e7 A^2 s"),
            (1.0e-20, "F", "1.00e-20 F"),
            (f64::NAN, "V", "NaN V"),
        ] {
            assert_eq!(people(value, unit), text);
        }
        assert_eq!(people_digits(1234.56, "V", 4), "1.235 kV");
        assert_eq!(people_digits(123.0, "V", 1), "100 V");
    }
}
