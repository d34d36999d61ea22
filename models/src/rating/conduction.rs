//! The conduction law of a part, tabulated from the operating points of its model: drop and heat of each die against
//! current and junction temperatures. The table is made at once, or piece by piece as the law is asked: a single rating
//! looks at a small share of it. What the interpolation errs by shows when the same law is read from every second or
//! fourth node ([`Conduction::coarser`]), which costs no operating point more.

use std::sync::{Arc, OnceLock};

use super::sourced::Sourced;
use super::{Carried, Conducts, MOST_DIES, RatingError};
use crate::operating::{Feed, between};
use crate::part::Part;

/// Spacing of the temperatures, K; they are multiples of it, so that tables of different ranges share their nodes.
const SPACING: f64 = 25.0;
/// Largest drop tabulated, V: a part that would need more for a current is taken to saturate below it.
const TOP: f64 = 60.0;
/// Voltages that are solved together, each from the one before; the first piece has zero beside them.
const PIECE: usize = 24;
/// Pieces of a row.
const PIECES: usize = 6;
/// Temperatures that an interpolation takes.
const TAKEN: usize = 4;
/// The widest stride at which a table is read; intervals of temperatures and voltages are a multiple of it.
const WIDEST: usize = 4;

/// What a row of the table holds at one voltage: current, and share of the heat in the first die.
type Entry = [f64; 2];

/// Voltages of one pair of temperatures: what the table holds, and the solution at the last, from which the next piece
/// goes on.
#[derive(Clone, Debug)]
struct Piece {
    entries: Vec<Entry>,
    last: Vec<f64>,
}

/// The law of a part at a gate voltage.
#[derive(Clone, Debug)]
pub struct Conduction {
    part: Part,
    /// Names of the dies.
    dies: Vec<&'static str>,
    /// First temperature, °C, their spacing, K, and how many.
    first: f64,
    spacing: f64,
    count: usize,
    /// Up to which temperature it is known, °C.
    known: f64,
    voltages: Vec<f64>,
    /// By temperature of the first die, of the second, and piece.
    table: Arc<Vec<OnceLock<Piece>>>,
    /// What the first piece that has no operating point says.
    error: Arc<OnceLock<String>>,
    gate: Option<f64>,
    /// Of which nodes it is read: of every one, every second, every fourth.
    stride: usize,
}

impl Conduction {
    /// Tabulates a part with its gate-source voltage at `gate` (V; nothing where it has no gate) for junctions from
    /// `coldest` to `hottest`, °C. A few tenths of a second.
    ///
    /// # Errors
    /// [`RatingError::Part`]: the model refuses its values, has no die with a temperature, or no operating point.
    pub fn new(part: &Part, gate: Option<f64>, coldest: f64, hottest: f64) -> Result<Self, RatingError> {
        let law = Self::on_demand(part, gate, coldest, hottest)?;
        let rows = law.table.len() / PIECES;
        (0..rows).for_each(|row| {
            law.piece(row, PIECES - 1);
        });
        match law.error() {
            Some(error) => Err(error),
            None => Ok(law),
        }
    }

    /// The same law, whose table is made as it is asked. Where the model has no operating point it carries nothing, and
    /// [`Conduction::error`] reports it.
    ///
    /// # Errors
    /// [`RatingError::Part`]: the model refuses its values, or has no die with a temperature.
    pub fn on_demand(
        part: &Part,
        gate: Option<f64>,
        coldest: f64,
        hottest: f64,
    ) -> Result<Self, RatingError> {
        Self::refined(part, gate, coldest, hottest, 0)
    }

    /// The same from a table whose temperatures and voltages are closer, twice for each doubling; made as it is asked.
    ///
    /// # Errors
    /// As [`Conduction::on_demand`].
    pub fn refined(
        part: &Part,
        gate: Option<f64>,
        coldest: f64,
        hottest: f64,
        doublings: u32,
    ) -> Result<Self, RatingError> {
        let error = |what: String| RatingError::Part { part: part.name.clone(), what };
        let has_gate = part.entry().pins.contains(&"gate");
        if has_gate && gate.is_none() {
            return Err(error("it has a gate, and no gate voltage is given".into()));
        }
        let placed = between(part.entry(), &part.values, gate.unwrap_or(0.0), Feed::Voltage(0.0));
        let built = placed.map_err(|e| error(e.to_string()))?.built;
        let dies: Vec<&'static str> = built.dies.iter().map(|d| d.0).collect();
        if dies.is_empty() || dies.len() > MOST_DIES {
            return Err(error(format!("a {} has no die with a temperature", part.kind)));
        }
        let first = (coldest / SPACING).floor() * SPACING - SPACING;
        let wide = ((hottest - first) / SPACING).ceil();
        let known = first + wide * SPACING;
        let intervals = (wide as usize + 1).next_multiple_of(WIDEST).max((TAKEN - 1) * WIDEST) << doublings;
        let spacing = SPACING / f64::from(1u32 << doublings);
        let count = intervals + 1;
        let top = PIECES * (PIECE << doublings);
        let voltages = (0..=top).map(|k| TOP * (k as f64 / top as f64).powi(4)).collect();
        let rows = if dies.len() > 1 { count * count } else { count };
        let table = Arc::new(vec![OnceLock::new(); rows * PIECES]);
        let (part, error) = (part.clone(), Arc::default());
        Ok(Self { part, dies, first, spacing, count, known, voltages, table, error, gate, stride: 1 })
    }

    /// The law as read from every `stride`-th node of the same table: 1, 2 or 4; other numbers count as the next of
    /// these.
    #[must_use]
    pub fn coarser(&self, stride: usize) -> Self {
        Self { stride: stride.next_power_of_two().clamp(1, WIDEST), ..self.clone() }
    }

    /// Voltages that a piece adds.
    fn per_piece(&self) -> usize {
        (self.voltages.len() - 1) / PIECES
    }

    /// Numbers of the voltages of a piece.
    fn within(&self, piece: usize) -> std::ops::RangeInclusive<usize> {
        let n = self.per_piece();
        (if piece == 0 { 0 } else { piece * n + 1 })..=(piece + 1) * n
    }

    /// That a part of the table could not be made.
    pub fn error(&self) -> Option<RatingError> {
        let what = self.error.get()?.clone();
        Some(RatingError::Part { part: self.part.name.clone(), what })
    }

    /// A piece of a row; those below it are made first.
    fn piece(&self, row: usize, piece: usize) -> &Piece {
        let cell = &self.table[row * PIECES + piece];
        cell.get_or_init(|| {
            let near = if piece > 0 { self.piece(row, piece - 1).last.clone() } else { Vec::new() };
            self.solve(row, piece, near).unwrap_or_else(|what| {
                let _ = self.error.set(what);
                Piece { entries: vec![[f64::NAN; 2]; self.per_piece() + 1], last: Vec::new() }
            })
        })
    }

    /// The operating points of a piece, the first from one that is near.
    fn solve(&self, row: usize, piece: usize, near: Vec<f64>) -> Result<Piece, String> {
        let (part, dies) = (&self.part, self.dies.len());
        let (a, b) = if dies > 1 { (row / self.count, row % self.count) } else { (row, 0) };
        let celsius = [a, b].map(|k| self.first + k as f64 * self.spacing);
        let sourced = Sourced::new(part, self.gate.unwrap_or(0.0), 0.0, &celsius[..dies]);
        let mut sourced = sourced.map_err(|e| e.to_string())?;
        let mut x = near;
        let mut before: Vec<f64> = Vec::new();
        let mut entries = Vec::with_capacity(self.per_piece() + 1);
        let begin = *self.within(piece).start();
        for k in self.within(piece) {
            let volts = self.voltages[k];
            sourced.points.set(sourced.feed, volts);
            // On from the last two in a straight line: an iteration less than from the last.
            let mut near = x.clone();
            if k > begin + 1 {
                let [v0, v1] = [self.voltages[k - 2], self.voltages[k - 1]];
                let share = (volts - v1) / (v1 - v0);
                near.iter_mut().zip(&before).for_each(|(x, before)| *x += share * (*x - before));
            }
            before = x;
            x = sourced.points.at(&near).map_err(|e| format!("at {volts} V: {e}"))?;
            let heat = sourced.heat(&x);
            let total: f64 = heat.iter().sum();
            entries.push([if volts > 0.0 { total / volts } else { 0.0 }, heat[0] / total]);
        }
        if piece == 0 {
            // Without voltage there is no heat to be shared: as just above.
            entries[0][1] = entries[1][1];
        }
        Ok(Piece { entries, last: x })
    }

    /// Names of the dies, in the order of temperatures and heats.
    pub fn names(&self) -> &[&'static str] {
        &self.dies
    }

    /// The gate voltage, V.
    pub fn gate(&self) -> Option<f64> {
        self.gate
    }

    /// First of the temperatures taken, and their weights (Lagrange, cubic).
    fn weights(&self, celsius: f64) -> (usize, [f64; TAKEN]) {
        let stride = self.stride;
        let at = (celsius - self.first) / (self.spacing * stride as f64);
        let from = (at.floor().max(1.0) as usize - 1).min((self.count - 1) / stride + 1 - TAKEN);
        let x = at - from as f64;
        let weight = |k: usize| {
            let others = (0..TAKEN).filter(|j| *j != k);
            others.map(|j| (x - j as f64) / (k as f64 - j as f64)).product()
        };
        (from * stride, std::array::from_fn(weight))
    }
}

impl Conducts for Conduction {
    fn dies(&self) -> usize {
        self.dies.len()
    }

    fn hottest_known(&self) -> f64 {
        self.known
    }

    fn carry(&self, amperes: f64, celsius: &[f64]) -> Option<Carried> {
        let (a, wa) = self.weights(celsius[0]);
        let (b, wb) = if self.dies.len() > 1 { self.weights(celsius[1]) } else { (0, [1.0, 0.0, 0.0, 0.0]) };
        let taken = if self.dies.len() > 1 { TAKEN } else { 1 };
        let row = if self.dies.len() > 1 { self.count } else { 1 };
        let (stride, n) = (self.stride, self.per_piece());
        let weights: [f64; TAKEN * TAKEN] = std::array::from_fn(|k| wa[k / TAKEN] * wb[k % TAKEN]);
        // The nodes around, all in one piece.
        let around = |piece: usize| -> [&[Entry]; TAKEN * TAKEN] {
            std::array::from_fn(|k| {
                let (i, j) = (k / TAKEN, k % TAKEN);
                let row = (a + i * stride) * row + b + j * stride;
                if j < taken { self.piece(row, piece).entries.as_slice() } else { &[] }
            })
        };
        let mut nodes = (usize::MAX, [&[][..]; TAKEN * TAKEN]);
        let mut at = |k: usize, what: usize| -> f64 {
            let piece = k.saturating_sub(1) / n;
            if nodes.0 != piece {
                nodes = (piece, around(piece));
            }
            let entry = k - self.within(piece).start();
            let all = weights.iter().zip(&nodes.1).filter(|(_, entries)| !entries.is_empty());
            all.map(|(weight, entries)| weight * entries[entry][what]).sum()
        };
        let top = self.voltages.len() - 1;
        if amperes <= 0.0 {
            return Some(Carried::default());
        }
        // Currents rise with the voltage: the piece is looked for from the lowest, the row of nodes by halving. A
        // current that is no number is not carried.
        let mut high = (1..=PIECES).map(|p| p * n).find(|&k| amperes < at(k, 0))?;
        let mut low = high - n;
        while high - low > stride {
            let middle = low + (high - low) / stride / 2 * stride;
            if at(middle, 0) <= amperes { low = middle } else { high = middle }
        }
        // Voltage as a cubic of the current through the nodes around, held between the two that enclose it: near
        // saturation a cubic may swing.
        let from = low.saturating_sub(stride).min(top - 3 * stride);
        let i: [f64; 4] = std::array::from_fn(|k| at(from + k * stride, 0));
        let mut drop = 0.0;
        for k in 0..4 {
            let others = (0..4).filter(|j| *j != k);
            let weight: f64 = others.map(|j| (amperes - i[j]) / (i[k] - i[j])).product();
            drop += weight * self.voltages[from + k * stride];
        }
        if !drop.is_finite() {
            drop = self.voltages[low];
        }
        let drop = drop.clamp(self.voltages[low], self.voltages[high]);
        let share = (drop - self.voltages[low]) / (self.voltages[high] - self.voltages[low]);
        let first = at(low, 1) * (1.0 - share) + at(high, 1) * share;
        let heat = drop * amperes;
        let heat = if self.dies.len() > 1 { [heat * first, heat * (1.0 - first)] } else { [heat, 0.0] };
        Some(Carried { drop, power: heat })
    }
}
