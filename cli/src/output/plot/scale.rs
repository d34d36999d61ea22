//! From values to places on an axis, and where its ticks are.

use joulestep_engine::units::{PREFIXED, PREFIXES, people};

use super::Axis;

/// A tick.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Tick {
    /// In the data's unit.
    pub at: f64,
    /// Its label; `None`: a grid line between labelled ones.
    pub label: Option<String>,
}

/// An axis with its bounds.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Scale {
    pub from: f64,
    pub to: f64,
    pub log: bool,
    whole: bool,
    title: String,
    unit: String,
    /// What a label's 1 is in the unit, and the unit with its prefix as printed; linear axes only.
    one: f64,
    shown: String,
}

/// Least span of a linear axis as a share of its size: finer labels would have too many digits to be read.
const LEAST: f64 = 5e-4;

/// Sizes between which steps and decades can be computed with.
const TINY: f64 = 1e-290;
/// The larger one.
const HUGE: f64 = 1e290;

/// The unit as printed.
pub(super) fn printed(unit: &str) -> String {
    if unit == "1" {
        return String::new();
    }
    unit.replace("ohm", "Ω").replace("degC", "°C").replace("^2", "²").replace("^3", "³")
}

/// Whether the unit's first symbol takes a prefix (only the whole unit's when it is a power).
fn takes_prefix(unit: &str) -> bool {
    let first = unit.split(['/', ' ', '*']).next().unwrap_or("");
    PREFIXED.contains(&first)
}

/// What 1 is in labels up to this size, and the unit as printed then: with a prefix, or minutes, hours and days.
fn shown_in(largest: f64, unit: &str) -> (f64, String) {
    // As times are reported in words.
    let report = if unit == "s" { people(largest, unit) } else { String::new() };
    let long = [("min", 60.0), ("h", 3600.0), ("d", 86_400.0)];
    if let Some((name, seconds)) = long.into_iter().find(|l| report.rsplit(' ').next() == Some(l.0)) {
        return (seconds, name.into());
    }
    let (power, prefix) = prefix_of(largest, unit);
    (10f64.powi(power), format!("{prefix}{}", printed(unit)))
}

fn prefix_of(largest: f64, unit: &str) -> (i32, &'static str) {
    if !takes_prefix(unit) || largest <= 0.0 {
        return (0, "");
    }
    // A hair is added so that 1000 of a prefix becomes 1 of the next.
    let shift = ((largest.log10() + 1e-9).floor() as i32).div_euclid(3) * 3;
    *PREFIXES.iter().find(|p| p.0 == shift).unwrap_or(&(0, ""))
}

/// 1, 2 or 5 times a power of ten, at least as large as x.
fn round_step(x: f64) -> f64 {
    let ten = 10f64.powf(x.log10().floor());
    let m = x / ten;
    let nice = [1.0, 2.0, 5.0].into_iter().find(|&n| m <= n * (1.0 + 1e-9)).unwrap_or(10.0);
    nice * ten
}

fn decimal(value: f64, decimals: usize) -> String {
    let text = {
        let decimals = decimals.min(300);
        format!("{value:.decimals$}")
    };
    // No minus before a zero, and the proper sign elsewhere.
    if text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.')) {
        return text.trim_start_matches('-').to_string();
    }
    text.replace('-', "\u{2212}")
}

impl Scale {
    /// Bounds from the axis or from the least and largest value (`around` is included, where given: the zero of bars).
    pub fn new(axis: &Axis, data: Option<(f64, f64)>, around: Option<f64>) -> Option<Self> {
        let ok = |(a, b): (f64, f64)| {
            let fits = a.abs() < HUGE && b.abs() < HUGE && b >= a && (!axis.log || a > TINY);
            fits.then_some((a, b))
        };
        let given = axis.range.and_then(ok).filter(|r| r.1 - r.0 > TINY);
        let (mut from, mut to) = given.or_else(|| data.and_then(ok))?;
        if given.is_none() {
            if let Some(zero) = around {
                (from, to) = (from.min(zero), to.max(zero));
            }
            if axis.log {
                (from, to) = Self::decades(from, to);
            } else {
                (from, to) = Self::widened(from, to, around);
            }
        }
        let (one, shown) = if axis.log {
            (1.0, printed(&axis.unit))
        } else {
            shown_in(from.abs().max(to.abs()), &axis.unit)
        };
        let (title, unit) = (axis.title.clone(), axis.unit.clone());
        Some(Self { from, to, log: axis.log, whole: axis.whole, title, unit, one, shown })
    }

    /// Whole decades where there is more than one, else bounds a little outside.
    fn decades(from: f64, to: f64) -> (f64, f64) {
        let (a, b) = (from.log10(), to.log10());
        if b - a > 1.2 {
            // A bound that is nearly on a decade belongs to it.
            return (10f64.powf((a + 0.02).floor()), 10f64.powf((b - 0.02).ceil()));
        }
        let margin = (0.05 * (b - a)).max(0.03);
        (10f64.powf(a - margin), 10f64.powf(b + margin))
    }

    /// To whole steps of the ticks that will be drawn; a bound at `around` stays.
    fn widened(from: f64, to: f64, around: Option<f64>) -> (f64, f64) {
        let span = to - from;
        let size = from.abs().max(to.abs());
        if span <= 1e-9 * size || span <= TINY {
            let half = if size > TINY { 0.1 * size } else { 1.0 };
            return (from - half, to + half);
        }
        let lacking = 0.5 * (LEAST * size - span).max(0.0);
        let (from, to) = (from - lacking, to + lacking);
        let step = round_step((to - from) / 10.0);
        let low = (from / step + 1e-6).floor() * step;
        let high = (to / step - 1e-6).ceil() * step;
        let held = |x: f64, own: f64| if around == Some(own) { own } else { x };
        (held(low, from), held(high, to))
    }

    /// 0 at the lower bound, 1 at the upper one; NaN for what cannot be placed.
    pub fn place(&self, x: f64) -> f64 {
        if !self.log {
            return (x - self.from) / (self.to - self.from);
        }
        if x > 0.0 { (x / self.from).ln() / (self.to / self.from).ln() } else { f64::NAN }
    }

    /// The axis title with its unit.
    pub fn title(&self) -> String {
        if self.shown.is_empty() || (self.log && takes_prefix(&self.unit)) {
            return self.title.clone();
        }
        format!("{} ({})", self.title, self.shown)
    }

    /// A value as it stands beside a tick or a bar: with the axis's prefix, three digits at most.
    pub fn short(&self, value: f64) -> String {
        let x = value / self.one;
        let digits = if x == 0.0 { 0 } else { (1 - x.abs().log10().floor() as i32).clamp(0, 6) };
        let text = decimal(x, digits as usize);
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
    }

    /// Ticks, about as many labelled ones as `wanted`.
    pub fn ticks(&self, wanted: usize) -> Vec<Tick> {
        if self.log { self.log_ticks(wanted) } else { self.linear_ticks(wanted) }
    }

    fn linear_ticks(&self, wanted: usize) -> Vec<Tick> {
        let unit = self.one;
        let step = round_step((self.to - self.from) / unit / wanted.max(2) as f64) * unit;
        let step = if self.whole { step.max(1.0) } else { step };
        let decimals = (-((step / unit).log10() + 1e-9).floor()).max(0.0) as usize;
        let (first, last) = ((self.from / step - 1e-6).ceil() as i64, (self.to / step + 1e-6).floor() as i64);
        // Where the bounds are so near each other that ticks fall together, none helps.
        if last.saturating_sub(first) > 20 * wanted.max(2) as i64 {
            return Vec::new();
        }
        (first..=last)
            .map(|k| k as f64 * step)
            .map(|at| Tick { at, label: Some(decimal(at / unit, decimals)) })
            .collect()
    }

    fn log_ticks(&self, wanted: usize) -> Vec<Tick> {
        let (a, b) = (self.from.log10(), self.to.log10());
        let (first, last) = ((a - 1e-9).floor() as i32, (b + 1e-9).ceil() as i32);
        let every = ((b - a) / wanted.max(2) as f64).ceil().max(1.0) as i32;
        // Up to two decades: labels between the decades too.
        let between: &[u8] = match b - a {
            s if s < 0.7 => &[1, 2, 3, 4, 5, 6, 7, 8, 9],
            s if s < 2.01 => &[1, 2, 5],
            _ => &[1],
        };
        let mut out = Vec::new();
        for decade in first..=last {
            for m in 1..10u8 {
                let at = f64::from(m) * 10f64.powi(decade);
                if at < self.from * (1.0 - 1e-9) || at > self.to * (1.0 + 1e-9) || (every > 1 && m > 1) {
                    continue;
                }
                let labelled = between.contains(&m) && (decade - first) % every == 0;
                out.push(Tick { at, label: labelled.then(|| self.log_label(m, decade)) });
            }
        }
        out
    }

    fn log_label(&self, m: u8, decade: i32) -> String {
        // Seconds have no prefix above one; the axis's title leaves the unit to the labels.
        if self.unit == "s" && (3..6).contains(&decade) {
            return format!("{} s", u64::from(m) * 10u64.pow(decade as u32));
        }
        let shift = decade.div_euclid(3) * 3;
        let prefix = PREFIXES.iter().find(|p| p.0 == shift);
        if let (true, Some((_, prefix))) = (takes_prefix(&self.unit), prefix) {
            return format!(
                "{} {prefix}{}",
                u64::from(m) * 10u64.pow((decade - shift) as u32),
                printed(&self.unit)
            );
        }
        if (-3..=4).contains(&decade) {
            return decimal(f64::from(m) * 10f64.powi(decade), (-decade).max(0) as usize);
        }
        let power: String = decade.to_string().chars().map(raised).collect();
        if m == 1 { format!("10{power}") } else { format!("{m}·10{power}") }
    }
}

fn raised(c: char) -> char {
    match c {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '0' | '4'..='9' => char::from_u32(0x2070 + c as u32 - '0' as u32).unwrap_or(c),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(scale: &Scale, wanted: usize) -> Vec<String> {
        scale.ticks(wanted).into_iter().filter_map(|t| t.label).collect()
    }

    #[test]
    fn linear_ticks_have_round_numbers_and_a_prefix() {
        let s = Scale::new(&Axis::linear("time", "s"), Some((0.0, 5.2e-6)), None).unwrap();
        assert_eq!(s.title(), "time (µs)");
        assert_eq!(labels(&s, 6), ["0", "1", "2", "3", "4", "5", "6"]);
        let s = Scale::new(&Axis::linear("voltage", "V"), Some((-0.2, 0.41)), None).unwrap();
        assert_eq!(s.title(), "voltage (mV)");
        assert_eq!(labels(&s, 6), ["\u{2212}200", "0", "200", "400"]);
        let s = Scale::new(&Axis::linear("current", "A"), Some((7.0, 7.0)), None).unwrap();
        assert!(s.from < 7.0 && s.to > 7.0);
    }

    #[test]
    fn log_ticks_are_decades_with_lines_between() {
        let s = Scale::new(&Axis::log("pulse width", "s"), Some((1.3e-6, 0.7e-2)), None).unwrap();
        assert_eq!((s.from, s.to), (1e-6, 1e-2));
        assert_eq!(labels(&s, 8), ["1 µs", "10 µs", "100 µs", "1 ms", "10 ms"]);
        assert_eq!(s.ticks(8).len(), 4 * 9 + 1);
        let s = Scale::new(&Axis::log("impedance", "K/W"), Some((0.011, 0.9)), None).unwrap();
        assert_eq!(s.title(), "impedance (K/W)");
        assert_eq!(labels(&s, 8), ["0.01", "0.02", "0.05", "0.1", "0.2", "0.5", "1"]);
        let s = Scale::new(&Axis::log("life", "1"), Some((1e5, 2e7)), None).unwrap();
        assert_eq!(labels(&s, 8), ["10⁵", "10⁶", "10⁷", "10⁸"]);
    }

    #[test]
    fn long_times_are_in_minutes_and_hours() {
        let s = Scale::new(&Axis::linear("time", "s").within(0.0, 1800.0), None, None).unwrap();
        assert_eq!(s.title(), "time (min)");
        assert_eq!(labels(&s, 6), ["0", "5", "10", "15", "20", "25", "30"]);
        let s = Scale::new(&Axis::linear("time", "s").within(0.0, 86_400.0), None, None).unwrap();
        assert_eq!(
            (s.title(), labels(&s, 4)),
            ("time (h)".into(), vec!["0".into(), "10".into(), "20".into()])
        );
        let s = Scale::new(&Axis::log("time", "s"), Some((1.0, 1e4)), None).unwrap();
        assert_eq!(labels(&s, 8), ["1 s", "10 s", "100 s", "1000 s", "10000 s"]);
    }

    #[test]
    fn what_hardly_changes_has_short_labels() {
        let s = Scale::new(&Axis::linear("temperature", "degC"), Some((50.0, 50.00004)), None).unwrap();
        assert!(labels(&s, 3).iter().all(|label| label.len() <= 6), "{:?}", labels(&s, 3));
        assert!(s.from < 50.0 && s.to > 50.00004);
    }

    #[test]
    fn what_cannot_be_placed() {
        let axis = Axis::log("x", "1");
        assert_eq!(Scale::new(&axis, None, None), None);
        assert_eq!(Scale::new(&axis, Some((-1.0, 1.0)), None), None);
        assert!(Scale::new(&axis, Some((1.0, 10.0)), None).unwrap().place(-3.0).is_nan());
    }
}
