//! Safe operating area: for a voltage and the width of a rectangular pulse, the largest current, and the border that
//! it meets. A point of the area is a pulse of constant voltage and current (IEC 60747-8, safe operating area, from
//! memory), so its heat V·I is known and the junctions rise by Z_th of its width (JESD51-14); which die takes which
//! share, and what the part conducts at the junction temperatures that follow, comes from its model.

use super::output::{Output, Point};
use super::{HeatPath, MOST_DIES};
use crate::part::Ratings;

/// What a current meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Border {
    /// The part conducts no more with its gate on, in its resistive range.
    OnResistance,
    /// The part conducts no more with its gate on: its current saturates.
    Saturation,
    /// A junction reaches its highest temperature at the end of the pulse; the number of the die.
    Junction(usize),
    /// A rise of the junctions raises the current at the held gate voltage by enough to go on by itself.
    Instability,
    /// What leads and package carry.
    Leads,
}

impl Border {
    /// How it was found: a law and V·I·Z_th solved together, V·I·Z_th with the shares of the dies by the law, or stated by
    /// the part.
    pub fn found(self) -> &'static str {
        match self {
            Self::OnResistance | Self::Saturation | Self::Instability => "electro-thermal",
            Self::Junction(_) => "V·I·Z_th",
            Self::Leads => "stated",
        }
    }
}

/// A point of the border.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// Drain-source voltage, V.
    pub volts: f64,
    /// Largest drain current, A.
    pub current: f64,
    /// What it meets.
    pub border: Border,
    /// Junction temperatures at the end of the pulse, °C.
    pub celsius: [f64; MOST_DIES],
    /// The largest current that nothing but the conduction of the part forbids, A.
    pub allowed: f64,
}

/// Drift of a held current with the temperature of each die, relative to it, 1/K, tabulated against current and
/// junction temperature at one voltage: in saturation it hardly depends on that.
#[derive(Clone, Debug)]
pub struct Drifts {
    ln_current: Vec<f64>,
    celsius: Vec<f64>,
    /// By temperature, then current.
    table: Vec<[f64; MOST_DIES]>,
}

/// Currents and temperatures of that table.
const CURRENTS: usize = 29;
const TEMPERATURES: usize = 5;

impl Drifts {
    /// Tabulates a part at a voltage, V, for junctions between `coldest` and `hottest`, °C.
    #[inline(never)]
    pub fn new<O: Output + ?Sized>(part: &O, volts: f64, coldest: f64, hottest: f64) -> Option<Self> {
        let step = (hottest - coldest) / (TEMPERATURES - 1) as f64;
        let celsius: Vec<f64> = (0..TEMPERATURES).map(|k| coldest + step * k as f64).collect();
        // Four decades below saturation.
        let most = part.on(volts, &[hottest; MOST_DIES][..part.dies()])?.current;
        let ln_current: Vec<f64> = (0..CURRENTS)
            .map(|k| (0.98 * most).ln() - 4.0 * 10f64.ln() * (1.0 - k as f64 / (CURRENTS - 1) as f64))
            .collect();
        let mut table = Vec::new();
        for t in &celsius {
            for ln in &ln_current {
                let current = ln.exp();
                let drift = part.drift(volts, current, &[*t; MOST_DIES][..part.dies()])?;
                table.push(drift.map(|d| d / current));
            }
        }
        Some(Self { ln_current, celsius, table })
    }

    /// The same from every second node: what the straight lines between nodes err by shows in the difference.
    #[must_use]
    pub fn coarser(&self) -> Self {
        let every = |all: &[f64]| all.iter().copied().step_by(2).collect();
        let rows = self.table.chunks(self.ln_current.len()).step_by(2);
        Self {
            ln_current: every(&self.ln_current),
            celsius: every(&self.celsius),
            table: rows.flat_map(|row| row.iter().copied().step_by(2)).collect(),
        }
    }

    /// ∂ ln I/∂T of a die, 1/K; straight between the nodes, and as at the nearest outside.
    fn at(&self, current: f64, celsius: f64, die: usize) -> f64 {
        let place = |x: f64, all: &[f64]| -> (usize, f64) {
            let step = (all[all.len() - 1] - all[0]) / (all.len() - 1) as f64;
            let at = ((x - all[0]) / step).clamp(0.0, (all.len() - 1) as f64);
            let k = (at.floor() as usize).min(all.len() - 2);
            (k, at - k as f64)
        };
        let (i, x) = place(current.ln(), &self.ln_current);
        let (j, y) = place(celsius, &self.celsius);
        let at = |j: usize, i: usize| self.table[j * self.ln_current.len() + i][die];
        (1.0 - y) * ((1.0 - x) * at(j, i) + x * at(j, i + 1))
            + y * ((1.0 - x) * at(j + 1, i) + x * at(j + 1, i + 1))
    }
}

/// A part on its heat path.
#[derive(Debug)]
pub struct Area<'a, O: Output + ?Sized> {
    /// The part.
    pub part: &'a O,
    /// Where its heat goes.
    pub path: &'a HeatPath,
    /// Highest junction temperature, °C.
    pub hottest: f64,
    /// What its leads carry.
    pub ratings: &'a Ratings,
    /// How its current drifts; without it instability is not looked for.
    pub drifts: Option<&'a Drifts>,
}

/// A junction meets its highest temperature.
#[derive(Clone, Copy, Debug)]
struct Meeting {
    /// A.
    current: f64,
    die: usize,
    share: [f64; MOST_DIES],
}

/// Looks for the first such current: their distance in logarithms, and how many at most.
const STRIDE: f64 = 0.15;
const MOST_LOOKS: usize = 8;
/// How near in voltage the corner between two borders is found, as a share.
const CORNER: f64 = 1e-5;
/// Corners between two voltages, at most.
const CORNERS: usize = 8;
/// Rounds of a fixed point, and how near it comes.
const ROUNDS: usize = 60;
const NEAR: f64 = 1e-9;
/// Currents between which instability is looked for: so many to a decade, for two decades.
const LOOKS: i32 = 24;

impl<O: Output + ?Sized> Area<'_, O> {
    /// Rise of die a for a watt in die b for a time, K/W; ∞: for ever.
    fn impedance(&self, width: f64, a: usize, b: usize) -> f64 {
        if width.is_infinite() { self.path.resistance(a, b) } else { self.path.impedance(width, a, b) }
    }

    /// Rise of each die per watt of the whole part, K/W.
    fn rises(&self, width: f64, share: &[f64; MOST_DIES]) -> [f64; MOST_DIES] {
        let dies = self.part.dies();
        let rise = |a: usize| (0..dies).map(|b| self.impedance(width, a, b) * share[b]).sum();
        std::array::from_fn(|a| if a < dies { rise(a) } else { 0.0 })
    }

    fn celsius(&self, watts: f64, rises: &[f64; MOST_DIES]) -> [f64; MOST_DIES] {
        let cold = self.path.cold();
        std::array::from_fn(|a| cold.get(a).map_or(f64::NEG_INFINITY, |cold| cold + watts * rises[a]))
    }

    /// Within what the law is asked for.
    fn known(&self, celsius: [f64; MOST_DIES]) -> Vec<f64> {
        celsius[..self.part.dies()].iter().map(|t| t.min(self.hottest)).collect()
    }

    /// The smallest current at which a junction reaches its highest temperature at the end of the pulse, which junction,
    /// and the shares of the dies. More may be cooler again: with its gate further on, the die that the gate drives takes
    /// less of the voltage.
    fn junction(&self, volts: f64, width: f64) -> Option<Meeting> {
        let dies = self.part.dies();
        let cold = &self.path.cold()[..dies];
        let limit = |share: [f64; MOST_DIES]| {
            let rises = self.rises(width, &share);
            let of = |a: usize| (self.hottest - cold[a]) / (volts * rises[a]);
            let die = (0..dies).min_by(|&a, &b| of(a).total_cmp(&of(b)))?;
            Some(Meeting { current: of(die), die, share })
        };
        let alone = |k: usize| limit(std::array::from_fn(|d| if d == k { 1.0 } else { 0.0 }));
        if dies == 1 {
            return alone(0);
        }
        // All heat in one die is the least current; no coupling between them the most.
        let least = (0..dies).filter_map(|k| Some(alone(k)?.current)).fold(f64::INFINITY, f64::min);
        let coldest = cold.iter().copied().fold(f64::INFINITY, f64::min);
        let own: f64 = (0..dies).map(|k| 1.0 / self.impedance(width, k, k)).sum();
        let most = (self.hottest - coldest) / volts * own;
        let full = self.part.on(volts, cold)?;
        if full.current <= least {
            return limit(full.share);
        }
        // Shares at a current, at the temperatures that the last ones gave: they settle as the search does.
        let mut celsius = vec![self.hottest; dies];
        let mut excess = |ln: f64| {
            let current = ln.exp();
            let share = self.part.held(volts, current, &celsius)?.share;
            celsius = self.known(self.celsius(volts * current, &self.rises(width, &share)));
            let found = limit(share)?;
            Some(((found.current / current).ln(), found))
        };
        let (from, to) = (least.ln(), most.ln());
        let looks = (((to - from) / STRIDE).ceil() as usize).clamp(1, MOST_LOOKS);
        let at = |k: usize| from + (to - from) * k as f64 / looks as f64;
        let mut low = (from, excess(from)?);
        if low.1.0 <= 0.0 {
            return Some(low.1.1);
        }
        let mut high = low;
        for k in 1..=looks {
            high = (at(k), excess(at(k))?);
            if high.1.0 <= 0.0 {
                break;
            }
            low = high;
        }
        let mut last = 0;
        for _ in 0..ROUNDS {
            let line = (low.0 * high.1.0 - high.0 * low.1.0) / (high.1.0 - low.1.0);
            let next = if line > low.0 && line < high.0 { line } else { 0.5 * (low.0 + high.0) };
            let found = excess(next)?;
            if found.0.abs() <= NEAR || high.0 - low.0 <= NEAR {
                return Some(found.1);
            }
            if found.0 > 0.0 {
                low = (next, found);
                high.1.0 *= if last > 0 { 0.5 } else { 1.0 };
                last = 1;
            } else {
                high = (next, found);
                low.1.0 *= if last < 0 { 0.5 } else { 1.0 };
                last = -1;
            }
        }
        Some(low.1.1)
    }

    /// The largest current that the part conducts at the end of the pulse, at most `most`: where the law meets itself.
    fn conducted(&self, volts: f64, width: f64, most: f64) -> Option<(f64, Point)> {
        let on = |current: f64, share: &[f64; MOST_DIES]| {
            let celsius = self.celsius(volts * current, &self.rises(width, share));
            self.part.on(volts, &self.known(celsius))
        };
        let cold = self.part.on(volts, &self.part_cold())?;
        let most = most.min(cold.current);
        let full = on(most, &cold.share)?;
        if full.current >= most {
            return Some((most, full));
        }
        let (mut low, mut high) = ((0.0, cold.current), (most, full.current - most));
        let mut found = (most, full);
        let mut last = 0;
        for _ in 0..ROUNDS {
            let line = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
            let point = on(line, &found.1.share)?;
            let excess = point.current - line;
            found = (line, point);
            if excess.abs() <= NEAR * line {
                break;
            }
            if excess > 0.0 {
                low = (line, excess);
                high.1 *= if last > 0 { 0.5 } else { 1.0 };
                last = 1;
            } else {
                high = (line, excess);
                low.1 *= if last < 0 { 0.5 } else { 1.0 };
                last = -1;
            }
        }
        Some(found)
    }

    fn part_cold(&self) -> Vec<f64> {
        self.path.cold()[..self.part.dies()].to_vec()
    }

    /// Thermal loop gain at a point: V·Σ ∂I/∂T_b·(rise of die b per watt of the part); 1 = a rise goes on by itself
    /// (Spirito, Breglio, d'Alessandro & Rinaldi, ISPSD 2002, from memory; for the junctions as a whole, not a spot).
    pub fn loop_gain(&self, drifts: &Drifts, volts: f64, current: f64, rises: &[f64; MOST_DIES]) -> f64 {
        let celsius = self.celsius(volts * current, rises);
        (0..self.part.dies()).map(|b| volts * current * drifts.at(current, celsius[b], b) * rises[b]).sum()
    }

    /// The smallest current below `most` at which the loop gain is 1.
    fn unstable(&self, volts: f64, most: f64, rises: &[f64; MOST_DIES]) -> Option<f64> {
        let drifts = self.drifts?;
        let gain = |current: f64| self.loop_gain(drifts, volts, current, rises);
        let at = |k: i32| most * 10f64.powf(f64::from(k) / f64::from(LOOKS));
        let first = (-2 * LOOKS..=0).find(|&k| gain(at(k)) >= 1.0)?;
        let (mut low, mut high) = (at(first - 1), at(first));
        while high - low > NEAR * high {
            let middle = 0.5 * (low + high);
            if gain(middle) < 1.0 { low = middle } else { high = middle }
        }
        Some(low)
    }

    /// The border at a voltage for a pulse of `width` s (∞: for ever). `None` where the part has no operating point.
    #[inline(never)]
    pub fn at(&self, volts: f64, width: f64) -> Option<Corner> {
        let Meeting { current: hot, die, share } = self.junction(volts, width)?;
        let rises = self.rises(width, &share);
        let mut allowed = (hot, Border::Junction(die));
        let leads = self.ratings.lead_limit(width);
        if leads < allowed.0 {
            allowed = (leads, Border::Leads);
        }
        let (conducted, point) = self.conducted(volts, width, allowed.0)?;
        let mut found = (allowed.0, allowed.1, share);
        if conducted < allowed.0 {
            let celsius = self.known(self.celsius(volts * conducted, &self.rises(width, &point.share)));
            let further = self.part.on(1.02 * volts, &celsius)?.current;
            let steep = (further / point.current).ln() / 1.02f64.ln() > 0.5;
            found = (conducted, if steep { Border::OnResistance } else { Border::Saturation }, point.share);
        }
        // With the gate fully on nothing holds the current but the part itself: no loop to become unstable.
        if found.1 != Border::OnResistance
            && let Some(current) = self.unstable(volts, found.0, &rises)
        {
            found = (current, Border::Instability, share);
            allowed.0 = current;
        }
        let celsius = self.celsius(volts * found.0, &self.rises(width, &found.2));
        Some(Corner { volts, current: found.0, border: found.1, celsius, allowed: allowed.0 })
    }

    /// The border at rising voltages, with the corners where it changes from one to another between two of them.
    #[inline(never)]
    pub fn border(&self, volts: &[f64], width: f64) -> Option<Vec<Corner>> {
        let mut out: Vec<Corner> = Vec::new();
        for &v in volts {
            let here = self.at(v, width)?;
            let mut before = out.last().copied();
            // Several may change between two voltages, each found in turn.
            for _ in 0..CORNERS {
                let Some(from) = before.filter(|b| b.border != here.border) else { break };
                let (mut low, mut high) = (from, here);
                while high.volts / low.volts > 1.0 + CORNER {
                    let middle = self.at((low.volts * high.volts).sqrt(), width)?;
                    if middle.border == from.border { low = middle } else { high = middle }
                }
                out.extend([low, high].into_iter().filter(|c| c.volts > from.volts && c.volts < v));
                before = Some(high).filter(|h| h.volts < v);
            }
            out.push(here);
        }
        Some(out)
    }
}

/// The current that is allowed at a voltage, from the points of a border: straight in logarithms between them, beyond
/// the first at its power, beyond the last none.
pub fn allowed(border: &[Corner], volts: f64) -> f64 {
    match border {
        [first, ..] if volts <= first.volts => first.allowed * first.volts / volts.max(f64::MIN_POSITIVE),
        [.., last] if volts > last.volts => 0.0,
        _ => {
            let k = border.partition_point(|c| c.volts < volts).max(1);
            let (a, b) = (border[k - 1], border[k]);
            let share = (volts / a.volts).ln() / (b.volts / a.volts).ln();
            (a.allowed.ln() * (1.0 - share) + b.allowed.ln() * share).exp()
        }
    }
}
