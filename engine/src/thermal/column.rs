//! A die whose conductivity and heat capacity follow its temperature, beside a network that is linear.
//!
//! The die is a column of cells, thin at its face, on what the network has beneath it. The column is stepped twice
//! under the same power: with the laws of its material, H' = Σ flux + P with the exact heat content H = ∫c dT of each
//! cell, and as the network has it, with the properties at one temperature. The difference in the heated volume is added to what
//! the network says, so a die within its linear range has the network's own temperature. Both are implicit (backward
//! Euler, L-stable) with the same steps, so that most of the error of stepping cancels; what is left is told by a second
//! pair with steps twice as long, whose difference is the error of a method of order 1 (Richardson; Hairer, Nørsett &
//! Wanner, Solving ODEs I, section II.4).
//!
//! Conductances take the mean conductivity between the temperatures of two cells, ∫k dT/ΔT: exact for a steady flux
//! (Kirchhoff's transform: Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., section 2.16).

use super::convert::foster_to_cauer;
use super::error::ThermalError;
use super::field::property::Law;
use super::modal::approach;
use super::network::{CauerCell, FosterTerm};

/// Cells of a die.
const CELLS: usize = 20;
/// Those of them that make up the heated volume, all of one height; below it they grow evenly.
const HEATED: usize = 4;
/// The heated volume as a share of the die: at least and at most.
const DEPTHS: [f64; 2] = [0.01, 0.9];
/// When the share of the heat that goes down is told: in thickness²/diffusivity.
const SHARED: f64 = 0.2;
/// That share at least and at most.
const SHARES: [f64; 2] = [0.3, 1.1];
/// How near 1 it is 1: the cells themselves are right to within 2 %.
const ALL: f64 = 0.03;
/// Iterations of a step allowed.
const MOST: usize = 60;
/// Change of temperature, K, below which a step has settled.
const SETTLED: f64 = 1e-8;
/// 0 °C in K.
const ZERO: f64 = 273.15;

/// A die as a plate: heat arises evenly in its uppermost `depth` and goes down through `area`.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// m².
    pub area: f64,
    /// m.
    pub thickness: f64,
    /// Of the heated volume, m; taken as at least 1 % and at most 90 % of the thickness.
    pub depth: f64,
    /// Through the plate, W/(m·K).
    pub conductivity: Law,
    /// Per volume, J/(m³·K).
    pub heat_capacity: Law,
    /// Temperature at which the network's own numbers hold, °C.
    pub temperature: f64,
}

/// What never changes of a column.
#[derive(Debug, Clone, PartialEq)]
struct Cells {
    plate: Plate,
    /// Of the die's cells, m.
    heights: Vec<f64>,
    /// Share of the power that arises in each cell of the heated volume; also its weight in the mean temperature there.
    shares: Vec<f64>,
    /// Of all cells, and then beneath the die: heat capacitance, J/K, and thermal conductance to the next, W/K, at the
    /// plate's temperature.
    fixed: Vec<(f64, f64)>,
    /// Part of the die's heat that goes down the column.
    downwards: f64,
}

/// Rises of all cells over what surrounds them, and where the heat of the power is, J.
#[derive(Debug, Clone, PartialEq)]
struct Rises {
    kelvin: Vec<f64>,
    stored: f64,
    out: f64,
}

impl Rises {
    fn none(count: usize) -> Self {
        Self { kelvin: vec![0.0; count], stored: 0.0, out: 0.0 }
    }
}

/// The column with its laws, and as the network has it.
#[derive(Debug, Clone, PartialEq)]
struct Pair {
    followed: Rises,
    linear: Rises,
}

/// A column at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Number of the heat input whose die it is.
    pub(super) input: usize,
    cells: std::sync::Arc<Cells>,
    fine: Pair,
    coarse: Pair,
    /// What the coarse pair has still to step: s, J.
    waiting: Option<(f64, f64)>,
    /// Whether there is a coarse pair.
    checked: bool,
    /// Heat of the input at the last step, J.
    pub(super) seen: f64,
    /// Power of the input in the steady state from which it started, W: only more than that is followed.
    pub(super) standing: f64,
    /// Largest difference of the two pairs so far, K; infinite where a step did not settle.
    error: f64,
}

impl Column {
    /// The die of heat input `input`, whose own impedance in the network is `terms`: what remains of its ladder beyond the
    /// heat capacity of the die lies beneath.
    ///
    /// # Errors
    /// Terms that make no ladder.
    pub fn new(input: usize, plate: Plate, terms: &[FosterTerm]) -> Result<Self, ThermalError> {
        let kelvin = plate.temperature + ZERO;
        let whole = plate.area * plate.thickness * plate.heat_capacity.at(kelvin);
        let rest = beneath(&foster_to_cauer(terms)?, whole);
        let heights = heights(&plate);
        let shares = vec![1.0 / HEATED as f64; HEATED];
        let count = CELLS + rest.len();
        let none = Pair { followed: Rises::none(count), linear: Rises::none(count) };
        let apart = |k: usize| 0.5 * (heights[k] + heights.get(k + 1).unwrap_or(&0.0));
        let own = |k: usize| {
            let capacity = heights[k] * plate.area * plate.heat_capacity.at(kelvin);
            (capacity, plate.area / apart(k) * plate.conductivity.at(kelvin))
        };
        let beneath = rest.iter().map(|cell| (cell.capacitance, 1.0 / cell.resistance));
        let fixed = (0..CELLS).map(own).chain(beneath).collect();
        let mut cells = Cells { plate, heights, shares, fixed, downwards: 1.0 };
        cells.downwards = cells.share(terms);
        let cells = std::sync::Arc::new(cells);
        let (fine, coarse) = (none.clone(), none);
        Ok(Self {
            input,
            cells,
            fine,
            coarse,
            waiting: None,
            checked: true,
            seen: 0.0,
            standing: 0.0,
            error: 0.0,
        })
    }

    /// The same that does not tell what its steps have wrong, a third cheaper: for who steps it twice.
    #[must_use]
    pub fn unchecked(self) -> Self {
        Self { checked: false, ..self }
    }

    /// The heat input whose die it is.
    pub fn input(&self) -> usize {
        self.input
    }

    /// With nothing risen.
    pub(super) fn start(&mut self) {
        let count = self.fine.linear.kelvin.len();
        let none = Pair { followed: Rises::none(count), linear: Rises::none(count) };
        (self.fine, self.coarse) = (none.clone(), none);
        (self.waiting, self.seen, self.standing, self.error) = (None, 0.0, 0.0, 0.0);
    }

    /// By how much the face is hotter than the network says, K.
    pub(super) fn hotter(&self) -> f64 {
        self.cells.hotter(&self.fine)
    }

    /// Heat, J: by how much more is stored, and more was given off, than the network says. Their sum is 0.
    pub(super) fn heat(&self) -> [f64; 2] {
        let Pair { followed, linear } = &self.fine;
        [followed.stored - linear.stored, followed.out - linear.out]
    }

    /// Error of the rise that comes from the steps, K; infinite where one did not settle.
    pub fn error(&self) -> f64 {
        self.error
    }

    /// One step of `dt` s in which the heat `heat` (J) arose; the network says `network` °C at its end.
    pub(super) fn step(&mut self, dt: f64, heat: f64, network: f64) {
        let cells = std::sync::Arc::clone(&self.cells);
        let mut settled = cells.step(&mut self.fine, dt, heat, network);
        match self.waiting.take() {
            None if !self.checked => {}
            None => self.waiting = Some((dt, heat)),
            Some((before, earlier)) => {
                settled &= cells.step(&mut self.coarse, before + dt, earlier + heat, network);
                let apart = (cells.hotter(&self.fine) - cells.hotter(&self.coarse)).abs();
                self.error = self.error.max(apart);
            }
        }
        if !settled {
            self.error = f64::INFINITY;
        }
    }
}

impl Cells {
    fn face(&self, rises: &Rises) -> f64 {
        self.shares.iter().zip(&rises.kelvin).map(|(share, rise)| share * rise).sum()
    }

    fn hotter(&self, pair: &Pair) -> f64 {
        self.face(&pair.followed) - self.face(&pair.linear)
    }

    /// The network's own rise over that of the column while the heat is about to reach the back of the die: less than 1
    /// where heat goes upwards too, into a die that stands on this one.
    fn share(&self, terms: &[FosterTerm]) -> f64 {
        let kelvin = self.plate.temperature + ZERO;
        let diffusivity = self.plate.conductivity.at(kelvin) / self.plate.heat_capacity.at(kelvin);
        let (time, steps) = (SHARED * self.plate.thickness.powi(2) / diffusivity, 200);
        let mut rises = Rises::none(self.fixed.len());
        for _ in 0..steps {
            let dt = time / f64::from(steps);
            self.straight(&mut rises, dt, dt);
        }
        let of = |t: &FosterTerm| t.resistance * approach(time / t.time_constant.max(f64::MIN_POSITIVE));
        let network: f64 = terms.iter().map(of).sum();
        let share = (network / self.face(&rises)).clamp(SHARES[0], SHARES[1]);
        if (share - 1.0).abs() < ALL { 1.0 } else { share }
    }

    /// Steps both columns; whether they settled.
    fn step(&self, pair: &mut Pair, dt: f64, heat: f64, network: f64) -> bool {
        let heat = self.downwards * heat;
        self.straight(&mut pair.linear, dt, heat);
        // What does not come from this die's own power lifts all of the column.
        let level = network + ZERO - self.face(&pair.linear);
        self.follow(&mut pair.followed, dt, heat, level)
    }

    /// One step of backward Euler with the properties at the plate's own temperature.
    fn straight(&self, rises: &mut Rises, dt: f64, heat: f64) {
        let before = &rises.kelvin;
        let row = |k: usize| {
            let capacity = self.fixed[k].0;
            (capacity, capacity * before[k] + heat * self.shares.get(k).unwrap_or(&0.0))
        };
        let next = tridiagonal(|k| self.fixed[k].1, before.len(), dt, row);
        let stored = next.iter().zip(before).zip(&self.fixed).map(|((to, from), own)| own.0 * (to - from));
        rises.stored += stored.sum::<f64>();
        rises.out += dt * self.fixed.last().map_or(0.0, |own| own.1) * next.last().unwrap_or(&0.0);
        rises.kelvin = next;
    }

    /// One step of backward Euler with the laws of the material; the rises stand on `level`, K. Whether it settled.
    fn follow(&self, rises: &mut Rises, dt: f64, heat: f64, level: f64) -> bool {
        let (plate, count) = (&self.plate, rises.kelvin.len());
        let volume = |k: usize| self.heights[k] * plate.area;
        let contents = |rise: f64| plate.heat_capacity.with_integral(level + rise);
        let before = rises.kelvin.clone();
        let held: Vec<f64> = before[..CELLS].iter().map(|&rise| contents(rise).1).collect();
        let (mut down, mut own) = (vec![0.0; count], vec![(0.0, 0.0); count]);
        for _ in 0..MOST {
            let now = &rises.kelvin;
            let conducts = |k: usize| (now[k], plate.conductivity.with_integral(level + now[k]));
            let mut here = conducts(0);
            for k in 0..CELLS {
                let next = conducts(k + 1);
                let apart = 0.5 * (self.heights[k] + self.heights.get(k + 1).unwrap_or(&0.0));
                down[k] = plate.area / apart * mean(here, next);
                here = next;
                let (capacity, content) = contents(now[k]);
                own[k] = (volume(k) * capacity, volume(k) * (content - held[k]));
            }
            for k in CELLS..count {
                let (capacity, conductance) = self.fixed[k];
                (down[k], own[k]) = (conductance, (capacity, capacity * (now[k] - before[k])));
            }
            let row = |k: usize| {
                let (capacity, content) = own[k];
                (capacity, capacity * now[k] - content + heat * self.shares.get(k).unwrap_or(&0.0))
            };
            let next = tridiagonal(|k| down[k], count, dt, row);
            let moved = next.iter().zip(now).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            rises.kelvin = next;
            if moved < SETTLED {
                let to = &rises.kelvin;
                let die: f64 = (0..CELLS).map(|k| volume(k) * (contents(to[k]).1 - held[k])).sum();
                let rest: f64 = (CELLS..count).map(|k| self.fixed[k].0 * (to[k] - before[k])).sum();
                rises.stored += die + rest;
                rises.out += dt * down[count - 1] * to[count - 1];
                return true;
            }
            if !moved.is_finite() {
                break;
            }
        }
        rises.kelvin = before;
        false
    }
}

/// Heights of a die's cells from its face, m.
fn heights(plate: &Plate) -> Vec<f64> {
    let depth = plate.depth.clamp(DEPTHS[0] * plate.thickness, DEPTHS[1] * plate.thickness);
    let (first, below) = (depth / HEATED as f64, plate.thickness - depth);
    let sizes = |growth: f64| (1..=CELLS - HEATED).map(move |k| first * growth.powi(k as i32));
    // The sum rises with the growth: halved until the digits end.
    let (mut low, mut high) = (0.0, 50.0);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if sizes(middle).sum::<f64>() < below { low = middle } else { high = middle }
    }
    std::iter::repeat_n(first, HEATED).chain(sizes(low)).collect()
}

/// Mean of a law between two temperatures, each with the law's value and integral there.
fn mean(a: (f64, (f64, f64)), b: (f64, (f64, f64))) -> f64 {
    let ((x, (y, area)), (x1, (y1, area1))) = (a, b);
    if (x1 - x).abs() < 1e-2 { 0.5 * (y + y1) } else { (area1 - area) / (x1 - x) }
}

/// What lies beneath a heat capacitance (J/K) at the head of a ladder; at least its last resistance.
fn beneath(ladder: &[CauerCell], mut capacitance: f64) -> Vec<CauerCell> {
    let mut rest = Vec::new();
    for cell in ladder {
        let taken = capacitance.min(cell.capacitance);
        capacitance -= taken;
        if capacitance <= 0.0 {
            rest.push(CauerCell { capacitance: cell.capacitance - taken, ..*cell });
        }
    }
    if rest.is_empty() {
        rest.extend(ladder.last().map(|last| CauerCell { capacitance: 0.0, ..*last }));
    }
    rest
}

/// Solves C·x + dt·(flux down − flux from above) = b from above to below and back (Thomas): conductances `down` of each
/// cell to the next, the last to what does not rise; `row` gives C and b.
fn tridiagonal(
    down: impl Fn(usize) -> f64,
    count: usize,
    dt: f64,
    row: impl Fn(usize) -> (f64, f64),
) -> Vec<f64> {
    let mut passed = Vec::with_capacity(count);
    let mut x = Vec::with_capacity(count);
    let (mut above, mut factor, mut value) = (0.0, 0.0, 0.0);
    for k in 0..count {
        let (g, (capacity, b)) = (down(k), row(k));
        // Sums of positive terms: what the row above leaves of its conductance is above·(1 − factor).
        let pivot = capacity + dt * g + above * (1.0 - factor);
        value = (b + above * value) / pivot;
        factor = dt * g / pivot;
        above = dt * g;
        passed.push(factor);
        x.push(value);
    }
    for k in (1..x.len()).rev() {
        x[k - 1] += passed[k - 1] * x[k];
    }
    x
}
