//! The cells of a column, and one step of them.

use super::super::convert::foster_to_cauer;
use super::super::error::ThermalError;
use super::super::field::property::Prepared;
use super::super::modal::approach;
use super::super::network::{CauerCell, FosterTerm};
use super::Plate;

/// Cells of a die.
const CELLS: usize = 20;
/// Those of them that make up the heated volume, all of one height; below it they grow evenly.
const HEATED: usize = 4;
/// The die's cells and the first beneath them, in eights.
const EIGHTS: usize = (CELLS + 1).div_ceil(8);
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
/// Change of temperature, K, below which a step has settled. What Newton's iteration is then still wrong by is a share
/// of the square: properties change by less than a hundredth per kelvin, so 1e-8 K.
const SETTLED: f64 = 1e-3;
/// 0 °C in K.
const ZERO: f64 = 273.15;

/// What never changes of a column.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cells {
    /// Of the material.
    conductivity: Prepared,
    heat_capacity: Prepared,
    /// Of the die's cells, m³.
    volumes: [f64; CELLS],
    /// From each cell of the die to the next, and from the last to what is beneath: area over distance, m.
    apart: [f64; CELLS],
    /// Of all cells, and then beneath the die: heat capacitance, J/K, and thermal conductance to the next, W/K, at the
    /// plate's temperature.
    fixed: Vec<(f64, f64)>,
    /// Part of the die's heat that goes down the column.
    downwards: f64,
}

/// Rises of all cells over what surrounds them, and where the heat of the power is, J.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rises {
    kelvin: Vec<f64>,
    pub stored: f64,
    pub out: f64,
}

/// The column with its laws, and as the network has it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pair {
    pub followed: Rises,
    pub linear: Rises,
    /// How fast the difference of each cell grew in the last step, K/s.
    growth: Vec<f64>,
}

impl Cells {
    pub fn new(plate: &Plate, terms: &[FosterTerm]) -> Result<Self, ThermalError> {
        let kelvin = plate.temperature + ZERO;
        let (conductivity, capacity) = (plate.conductivity.at(kelvin), plate.heat_capacity.at(kelvin));
        let heights = heights(plate);
        let volumes = heights.map(|height| height * plate.area);
        let below = |k: usize| heights.get(k + 1).unwrap_or(&0.0);
        let apart = std::array::from_fn(|k| plate.area / (0.5 * (heights[k] + below(k))));
        let die = (0..CELLS).map(|k| (volumes[k] * capacity, apart[k] * conductivity));
        let rest = beneath(&foster_to_cauer(terms)?, plate.area * plate.thickness * capacity);
        let rest = rest.iter().map(|cell| (cell.capacitance, 1.0 / cell.resistance));
        let mut new = Self {
            conductivity: plate.conductivity.prepared(),
            heat_capacity: plate.heat_capacity.prepared(),
            volumes,
            apart,
            fixed: die.chain(rest).collect(),
            downwards: 1.0,
        };
        new.downwards = new.share(SHARED * plate.thickness.powi(2) * capacity / conductivity, terms);
        Ok(new)
    }

    /// With nothing risen.
    pub fn unheated(&self) -> Pair {
        let none = Rises { kelvin: vec![0.0; self.fixed.len()], stored: 0.0, out: 0.0 };
        Pair { followed: none.clone(), linear: none, growth: vec![0.0; self.fixed.len()] }
    }

    /// By how much the face is hotter with the laws of the material, K.
    pub fn hotter(&self, pair: &Pair) -> f64 {
        face(&pair.followed) - face(&pair.linear)
    }

    /// The network's own rise over that of the column after `time` s, while the heat is about to reach the back of the
    /// die: less than 1 where heat goes upwards too, into a die that stands on this one.
    fn share(&self, time: f64, terms: &[FosterTerm]) -> f64 {
        let steps = 200;
        let mut rises = self.unheated().linear;
        let mut scratch = vec![0.0; 4 * self.fixed.len()];
        for _ in 0..steps {
            let dt = time / f64::from(steps);
            self.straight(&mut rises, dt, dt, &mut scratch);
        }
        let of = |t: &FosterTerm| t.resistance * approach(time / t.time_constant.max(f64::MIN_POSITIVE));
        let network: f64 = terms.iter().map(of).sum();
        let share = (network / face(&rises)).clamp(SHARES[0], SHARES[1]);
        if (share - 1.0).abs() < ALL { 1.0 } else { share }
    }

    /// Steps both columns; the network says `network` °C at the end of the step. Whether they settled.
    pub fn step(&self, pair: &mut Pair, dt: f64, heat: f64, network: f64) -> bool {
        let heat = self.downwards * heat;
        let mut scratch = vec![0.0; 5 * self.fixed.len()];
        let (guess, scratch) = scratch.split_at_mut(self.fixed.len());
        // Where the column will be, if its difference to the linear one goes on as it went.
        let apart = pair.followed.kelvin.iter().zip(&pair.linear.kelvin).map(|(f, l)| f - l);
        guess.iter_mut().zip(apart).for_each(|(guess, apart)| *guess = apart);
        self.straight(&mut pair.linear, dt, heat, scratch);
        // What does not come from this die's own power lifts all of the column.
        let level = network + ZERO - face(&pair.linear);
        let all = guess.iter_mut().zip(&pair.linear.kelvin).zip(&mut pair.growth);
        for ((guess, linear), growth) in all {
            let before = *guess;
            *guess += linear + *growth * dt;
            *growth = before;
        }
        let settled = self.follow(&mut pair.followed, dt, heat, level, guess, scratch);
        let both = pair.followed.kelvin.iter().zip(&pair.linear.kelvin);
        for ((followed, linear), growth) in both.zip(&mut pair.growth) {
            *growth = (followed - linear - *growth) / dt;
        }
        settled
    }

    /// One step of backward Euler with the properties at the plate's own temperature.
    fn straight(&self, rises: &mut Rises, dt: f64, heat: f64, scratch: &mut [f64]) {
        let [next, capacity, down, passed] = quarters(scratch);
        let before = &rises.kelvin;
        for (k, (own, conductance)) in self.fixed.iter().enumerate() {
            (capacity[k], down[k]) = (*own, dt * conductance);
            next[k] = own * before[k] + share_of(k, heat);
        }
        tridiagonal(capacity, down, next, passed);
        let stored = next.iter().zip(before).zip(&self.fixed).map(|((to, from), own)| own.0 * (to - from));
        rises.stored += stored.sum::<f64>();
        rises.out += dt * self.fixed.last().map_or(0.0, |own| own.1) * next.last().unwrap_or(&0.0);
        rises.kelvin.copy_from_slice(next);
    }

    /// One step of backward Euler with the laws of the material, from a `guess`, by Newton's iteration; the rises stand on
    /// `level`, K. Whether it settled.
    ///
    /// The unknowns of a cell are changes of ∫k dT, in which the flux between two cells is linear: the matrix is as that of
    /// [`Cells::straight`], with the heat capacity over the conductivity.
    fn follow(
        &self,
        rises: &mut Rises,
        dt: f64,
        heat: f64,
        level: f64,
        now: &mut [f64],
        scratch: &mut [f64],
    ) -> bool {
        let count = now.len();
        let [change, taking, down, passed] = quarters(scratch);
        let before = &rises.kelvin;
        let zero = || [[0.0; 8]; EIGHTS];
        let (mut at, mut held) = (zero(), zero());
        let (mut conductivity, mut transformed, mut capacity, mut content) = (zero(), zero(), zero(), zero());
        let lift = |at: &mut [[f64; 8]; EIGHTS], rises: &[f64]| {
            let last = level + rises[CELLS];
            for (k, at) in at.as_flattened_mut().iter_mut().enumerate() {
                *at = if k < CELLS { level + rises[k] } else { last };
            }
        };
        lift(&mut at, before);
        self.heat_capacity.read(&at, &mut capacity, &mut held);
        for _ in 0..MOST {
            lift(&mut at, now);
            self.conductivity.read(&at, &mut conductivity, &mut transformed);
            self.heat_capacity.read(&at, &mut capacity, &mut content);
            let [held, conductivity, transformed, capacity, content] =
                [&held, &conductivity, &transformed, &capacity, &content].map(|x| x.as_flattened());
            // Beneath the die nothing follows the temperature: unknowns are changes times one conductivity.
            let beneath = 1.0 / conductivity[CELLS];
            let mut from_above = 0.0;
            let mut taken = [0.0; CELLS];
            for k in 0..CELLS {
                taken[k] = self.volumes[k] * (content[k] - held[k]);
                let flux = self.apart[k] * (transformed[k] - transformed[k + 1]);
                change[k] = share_of(k, heat) - taken[k] - dt * (flux - from_above);
                from_above = flux;
                taking[k] = self.volumes[k] * capacity[k] / conductivity[k];
                down[k] = dt * self.apart[k];
            }
            for k in CELLS..count {
                let (capacity, conductance) = self.fixed[k];
                let flux = conductance * (now[k] - now.get(k + 1).unwrap_or(&0.0));
                change[k] = -capacity * (now[k] - before[k]) - dt * (flux - from_above);
                from_above = flux;
                (taking[k], down[k]) = (capacity * beneath, dt * conductance * beneath);
            }
            tridiagonal(taking, down, change, passed);
            // What is taken more than by the temperatures up to now.
            let more: f64 = taking.iter().zip(&*change).map(|(taking, change)| taking * change).sum();
            for (k, change) in change.iter_mut().enumerate() {
                *change = if k < CELLS { *change / conductivity[k] } else { *change * beneath };
            }
            // A change that is no number makes all of them so.
            let moved = change.iter().fold(0.0, |most, x| if x.abs() <= most { most } else { x.abs() });
            if moved < SETTLED {
                // As the iteration has it: with what was given off it is the heat to the last bits.
                let rest = (CELLS..count).map(|k| self.fixed[k].0 * (now[k] - before[k]));
                rises.stored += more + taken.iter().sum::<f64>() + rest.sum::<f64>();
                now.iter_mut().zip(&*change).for_each(|(now, change)| *now += change);
                rises.out += dt * self.fixed[count - 1].1 * now[count - 1];
                rises.kelvin.copy_from_slice(now);
                return true;
            }
            if !moved.is_finite() {
                break;
            }
            now.iter_mut().zip(&*change).for_each(|(now, change)| *now += change);
        }
        false
    }
}

/// Mean rise of the heated volume.
fn face(rises: &Rises) -> f64 {
    rises.kelvin[..HEATED].iter().sum::<f64>() / HEATED as f64
}

/// Part of the heat that arises in a cell: the heated volume has it evenly.
fn share_of(cell: usize, heat: f64) -> f64 {
    if cell < HEATED { heat / HEATED as f64 } else { 0.0 }
}

/// Heights of a die's cells from its face, m.
fn heights(plate: &Plate) -> [f64; CELLS] {
    let depth = plate.depth.clamp(DEPTHS[0] * plate.thickness, DEPTHS[1] * plate.thickness);
    let (first, below) = (depth / HEATED as f64, plate.thickness - depth);
    let sizes = |growth: f64| (1..=CELLS - HEATED).map(move |k| first * growth.powi(k as i32));
    // The sum rises with the growth: halved until the digits end.
    let (mut low, mut high) = (0.0, 50.0);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if sizes(middle).sum::<f64>() < below { low = middle } else { high = middle }
    }
    let mut sizes = std::iter::repeat_n(first, HEATED).chain(sizes(low));
    std::array::from_fn(|_| sizes.next().unwrap_or(first))
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

/// Four lists of equal length.
fn quarters(scratch: &mut [f64]) -> [&mut [f64]; 4] {
    let (a, rest) = scratch.split_at_mut(scratch.len() / 4);
    let (b, rest) = rest.split_at_mut(a.len());
    let (c, d) = rest.split_at_mut(a.len());
    [a, b, c, d]
}

/// Solves C·x + (flux down − flux from above) = b, which `x` holds at first, by elimination from both ends to the middle
/// and back, as two chains of operations that do not wait for one another: `capacity` is C, `down` the flux per
/// difference of each cell to the next (of the last to what does not rise). There are two cells and more.
///
/// All sums are of positive terms: what an eliminated neighbour leaves of its conductance g is g·own/(g + own), `own`
/// what it takes itself.
fn tridiagonal(capacity: &[f64], down: &[f64], x: &mut [f64], passed: &mut [f64]) {
    let (count, middle) = (x.len(), x.len() / 2);
    // From above, and from below: what a cell takes itself, its value, and the conductance by which it is reached.
    let (mut upper, mut lower) = ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0));
    let eliminate = |(own, value, inverse): (f64, f64, f64), to: f64, from: f64, capacity: f64, b: f64| {
        let own = capacity + from * own * inverse;
        let inverse = 1.0 / (own + to);
        (own, (b + from * value) * inverse, inverse)
    };
    lower.0 = capacity[count - 1] + down[count - 1];
    for k in 0..count - middle {
        if k < middle {
            let from = if k > 0 { down[k - 1] } else { 0.0 };
            upper = eliminate(upper, down[k], from, capacity[k], x[k]);
            (x[k], passed[k]) = (upper.1, down[k] * upper.2);
        }
        let k = count - 1 - k;
        let to = if k > 0 { down[k - 1] } else { 0.0 };
        if k + 1 == count {
            lower.2 = 1.0 / (lower.0 + to);
            lower.1 = x[k] * lower.2;
        } else {
            lower = eliminate(lower, to, down[k], capacity[k], x[k]);
        }
        (x[k], passed[k]) = (lower.1, to * lower.2);
    }
    // Two cells are left, of which each passes a share of the other.
    let (u, l) = (passed[middle - 1], passed[middle]);
    let [not_u, not_l] = [upper.0 * upper.2, lower.0 * lower.2];
    let first = (x[middle] + l * x[middle - 1]) / (not_l + l * not_u);
    x[middle] = first;
    x[middle - 1] += u * first;
    for k in 1..count - middle {
        if k < middle {
            x[middle - 1 - k] += passed[middle - 1 - k] * x[middle - k];
        }
        x[middle + k] += passed[middle + k] * x[middle + k - 1];
    }
}
