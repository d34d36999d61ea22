//! How far a mesh is from cells of size zero: one body on meshes that are images of one another.
//!
//! With three meshes the order p at which the steady resistances approach their limit is observed, and the distance
//! of the finest from the limit (Richardson 1911) is stated with Roache's safety factor (grid convergence index, J.
//! Fluids Eng. 116 (1994) 405, from memory): 1.25 where p could be observed, 3 with p = 1 where it could not.

use super::body::Body;
use super::error::FieldError;
use super::mesh::{Mesh, Sizing};
use super::reduce::{Reduced, Work, reduce};
use super::system::System;
use crate::thermal::compact::Compact;

/// Relative change that counts as none.
const SAME: f64 = 1e-9;
/// How often a sizing is made coarser, by three tenths each time, to fit a limit.
const COARSER: usize = 8;
/// Orders that are believed when observed.
const ORDERS: [f64; 2] = [0.5, 3.0];

/// One mesh of a study.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// Parts in which each cell of the coarsest wanted mesh is divided along each axis.
    pub division: usize,
    /// Cells.
    pub cells: usize,
    /// Steady-state self resistance of each heat input, K/W.
    pub resistances: Vec<f64>,
}

/// What a study of the mesh gives.
#[derive(Debug, Clone, PartialEq)]
pub struct MeshStudy {
    /// The network of the finest mesh.
    pub finest: Reduced,
    /// The networks of the meshes before it, coarsest first.
    coarser: Vec<Compact>,
    /// Meshes, coarsest first.
    pub levels: Vec<Level>,
    /// Observed order of the worst heat input; `None` where the changes do not shrink as a power of the size.
    pub order: Option<f64>,
}

crate::packed!(Level: division, cells, resistances);
crate::packed!(MeshStudy: finest, coarser, levels, order);

impl MeshStudy {
    /// Error of the self impedance of a port at a time, for the size of the cells, as a share of it; with the order
    /// seen there, or the steady one where that is lower. Panics on a port that does not exist.
    pub fn mesh_error(&self, t: f64, port: usize) -> f64 {
        let of = |network: &Compact| network.step_response(t, port, port);
        let fine = of(&self.finest.network);
        let before: Vec<f64> = self.coarser.iter().map(of).collect();
        let Some(change) = before.last().map(|z| (z - fine).abs()) else { return f64::NAN };
        if change <= SAME * fine {
            return change / fine;
        }
        let divisions: Vec<usize> = self.levels.iter().map(|l| l.division).collect();
        let [.., b, c] = divisions[..] else { return f64::NAN };
        let ratio = c as f64 / b as f64;
        let here = match (&before[..], &divisions[..]) {
            ([x, y], [a, b, c]) => order([*x, *y, fine], [*a, *b, *c]),
            _ => None,
        };
        let factor = match (self.order, here) {
            (Some(steady), Some(here)) => 1.25 / (ratio.powf(steady.min(here)) - 1.0),
            // Changes that shrink in no order here: the first.
            (Some(_), None) => 1.25 / (ratio - 1.0),
            (None, _) => 3.0 / (ratio - 1.0),
        };
        factor * change / fine
    }
}

/// Solves a body on up to three meshes, the finest as fine as `sizing.limit` cells allow up to `sizing.division`;
/// properties at `kelvin` K.
///
/// # Errors
/// As [`Mesh::new`], [`System::new`] and [`reduce`]; not even the coarsest two meshes within the limit.
pub fn study<'a>(
    body: &Body,
    sizing: &Sizing,
    work: impl Into<Work<'a>>,
    kelvin: f64,
) -> Result<MeshStudy, FieldError> {
    let work = work.into();
    body.check()?;
    let (fine, sizing) = finest(body, sizing, kelvin)?;
    let finest = sizing.division;
    let mesh = |division: usize| Mesh::new(body, &Sizing { division, ..sizing }, kelvin);
    // Three as they come, else about two thirds and a half of the finest.
    let mut divisions: Vec<usize> =
        if finest < 4 { (1..finest).collect() } else { vec![finest.div_ceil(2), (2 * finest).div_ceil(3)] };
    divisions.push(finest);
    let (mut levels, mut networks) = (Vec::new(), Vec::new());
    for division in divisions {
        let mesh = if division == finest { fine.clone() } else { mesh(division)? };
        let reduced = reduce(&System::new(body, &mesh, kelvin)?, work)?;
        let network = &reduced.network;
        let heated = (0..body.ports.len()).filter(|p| body.ports[*p].heated);
        levels.push(Level {
            division,
            cells: reduced.cells,
            resistances: heated.map(|p| network.steady_resistance(p, p)).collect(),
        });
        networks.push(reduced);
    }
    let order = observed(&levels);
    let Some(finest) = networks.pop() else { return Err(FieldError::Empty { what: "mesh" }) };
    let coarser = networks.into_iter().map(|r| r.network).collect();
    Ok(MeshStudy { finest, coarser, levels, order })
}

/// The finest mesh of a [`study`], and its sizing.
///
/// # Errors
/// As [`Mesh::new`]: not even two meshes within the limit.
pub fn finest(body: &Body, sizing: &Sizing, kelvin: f64) -> Result<(Mesh, Sizing), FieldError> {
    let sizing = affordable(body, sizing, kelvin);
    let (mesh, division) = Mesh::finest(body, &sizing, kelvin, 2)?;
    Ok((mesh, Sizing { division, ..sizing }))
}

/// The sizing, or a coarser one of which three divisions are within the limit (so that an order can be seen), else two.
fn affordable(body: &Body, sizing: &Sizing, kelvin: f64) -> Sizing {
    for division in [3, 2] {
        let mut affordable = *sizing;
        for _ in 0..COARSER {
            if Mesh::new(body, &Sizing { division, ..affordable }, kelvin).is_ok() {
                return affordable;
            }
            affordable.growth *= 1.3;
            affordable.across /= 1.3;
        }
    }
    *sizing
}

/// Least order seen at any heat input in the steady state; none if one of them shows none that can be believed.
fn observed(levels: &[Level]) -> Option<f64> {
    let [.., a, b, c] = levels else { return None };
    let divisions = [a, b, c].map(|l| l.division);
    let mut least = ORDERS[1];
    for port in 0..a.resistances.len() {
        let found = [a, b, c].map(|l| l.resistances[port]);
        // Nothing to resolve: a slab's resistance is exact on any mesh.
        let exact = (found[0] - found[1]).abs().max((found[1] - found[2]).abs()) <= SAME * found[2];
        if !exact {
            least = least.min(order(found, divisions)?);
        }
    }
    Some(least)
}

/// The order p at which three values approach their limit: (a − b)/(b − c) = (hₐ^p − h_b^p)/(h_b^p − h_c^p), which
/// rises with p; none outside [`ORDERS`].
fn order([a, b, c]: [f64; 3], divisions: [usize; 3]) -> Option<f64> {
    let expected = |p: f64| {
        let h = divisions.map(|d| (d as f64).powf(-p));
        (h[0] - h[1]) / (h[1] - h[2])
    };
    let [mut low, mut high] = ORDERS;
    let seen = (a - b) / (b - c);
    if !(seen >= expected(low) && seen <= expected(high)) {
        return None;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if expected(middle) < seen { low = middle } else { high = middle }
    }
    Some(low)
}
