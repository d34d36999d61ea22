//! How much room a package takes.

use super::Package;

/// Lengths below this are one place, m.
const SAME: f64 = 1e-9;

/// Room of a package, m² and m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// Area of the case seen from above; without a case, of what carries the dies.
    pub case: f64,
    /// Area of the largest layer between the case and the cooled layer, which is the board; the cooled layer's own
    /// where there is none.
    pub board: f64,
    /// Area of the largest layer, heatsink included.
    pub all: f64,
    /// From the underside of the lowest layer to the underside of the case.
    pub below_case: f64,
    /// From the underside of the lowest layer to the top of the highest.
    pub height: f64,
}

impl Package {
    /// Its room; `None` where its layers are wrong.
    pub fn extent(&self) -> Option<Extent> {
        let placed = self.place().ok()?;
        let area = |k: usize| placed[k].area();
        let top = |k: usize| placed[k].high[2];
        let lowest = placed.iter().map(|p| p.low[2]).fold(f64::INFINITY, f64::min);
        let die = *self.dies().first()?;
        let case = self.layers.iter().position(|l| l.case).or(placed[die].beneath)?;
        let cooled: Vec<usize> = self.cooling.iter().filter_map(|c| self.layer(&c.layer)).collect();
        let floor = placed[case].low[2];
        let between = (0..placed.len()).filter(|k| top(*k) <= floor + SAME && !cooled.contains(k));
        let board = between.map(area).reduce(f64::max);
        let cooled = cooled.iter().map(|&k| area(k)).reduce(f64::max);
        Some(Extent {
            case: area(case),
            board: board.or(cooled).unwrap_or(area(case)),
            all: (0..placed.len()).map(area).fold(0.0, f64::max),
            below_case: floor - lowest,
            height: (0..placed.len()).map(top).fold(f64::NEG_INFINITY, f64::max) - lowest,
        })
    }
}
