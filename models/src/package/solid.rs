//! From a package to the body that the engine solves.

use joulestep_engine::thermal::column::Plate;
use joulestep_engine::thermal::field::body::{Block, Body, Face, Film, Port};
use joulestep_engine::thermal::network::Boundary;

use super::error::error;
use super::{Cooled, Layer, Package, PackageError, Placed, Subject, effective};
use crate::materials::{self, Material};

/// 0 °C in K.
const ZERO: f64 = 273.15;

/// A body, and what its ports are.
#[derive(Debug, Clone, PartialEq)]
pub struct Solid {
    /// The body; its ports are the dies in the order of the layers, then the cases.
    pub body: Body,
    /// How many of the ports are dies.
    pub dies: usize,
    /// Temperature for the properties of materials, K.
    pub kelvin: f64,
}

/// The whole package, down to its cooled faces. The mean temperature of each case is a port that is measured: `case`,
/// or `case-` and the layer's name where there are several.
///
/// # Errors
/// As [`Package::place`].
pub fn to_ambient(package: &Package) -> Result<Solid, Vec<PackageError>> {
    let placed = package.place()?;
    let all: Vec<usize> = (0..package.layers.len()).collect();
    let mut solid = Builder { package, placed: &placed }.solid(&all);
    let body = &mut solid.body;
    for cooling in &package.cooling {
        let Some(layer) = package.layer(&cooling.layer) else { continue };
        let boundary = match body.boundaries.iter().position(|b| b.name == cooling.boundary) {
            Some(k) => k,
            None => {
                let (name, temperature) = (cooling.boundary.clone(), cooling.temperature);
                body.boundaries.push(Boundary { name, temperature });
                body.boundaries.len() - 1
            }
        };
        let coefficient = match cooling.by {
            Cooled::Held => f64::INFINITY,
            Cooled::Film(h) => h,
            Cooled::Resistance(r) => 1.0 / (r * bare(&placed, layer, cooling.face)),
        };
        // A layer that via fields divide is several blocks.
        let name = &package.layers[layer].name;
        let blocks = (0..body.blocks.len()).filter(|b| body.blocks[*b].name == *name);
        let bare = blocks.filter(|b| is_bare(&body.blocks, *b, cooling.face)).collect::<Vec<_>>();
        if bare.is_empty() {
            let k = package.cooling.iter().position(|c| c == cooling).unwrap_or(0);
            let found = format!("nothing of that face of `{name}` is bare");
            return Err(vec![error(Subject::Cooling(k), "face", found, "a face that is not covered")]);
        }
        for block in bare {
            body.films.push(Film { block, face: cooling.face, coefficient, boundary });
        }
    }
    let cases: Vec<usize> = (0..package.layers.len()).filter(|k| package.layers[*k].case).collect();
    for case in &cases {
        let p = &placed[*case];
        let name = match cases.len() {
            1 => "case".to_string(),
            _ => format!("case-{}", package.layers[*case].name),
        };
        let high = [p.high[0], p.high[1], p.low[2]];
        body.ports.push(Port { name, low: p.low, high, heated: false });
    }
    Ok(solid)
}

/// What stands on the cases, with the underside of each case held at one temperature (0 °C: rises are asked for): an
/// ideal cold plate, as junction-to-case resistance is defined with.
///
/// # Errors
/// As [`Package::place`]; no layer is a case, or a die stands on none.
pub fn to_case(package: &Package) -> Result<Solid, Vec<PackageError>> {
    let placed = package.place()?;
    let case_of = |layer: usize| {
        let chain = std::iter::successors(Some(layer), |k| placed[*k].beneath);
        chain.into_iter().find(|k| package.layers[*k].case)
    };
    let kept: Vec<usize> = (0..package.layers.len()).filter(|k| case_of(*k).is_some()).collect();
    if let Some(die) = package.dies().into_iter().find(|k| case_of(*k).is_none()) {
        let found =
            format!("die `{}` stands on no layer whose underside is a case", package.layers[die].name);
        return Err(vec![error(Subject::Layer(die), "case", found, "`case = true` at a layer beneath it")]);
    }
    let mut solid = Builder { package, placed: &placed }.solid(&kept);
    solid.body.boundaries.push(Boundary { name: "case".into(), temperature: 0.0 });
    for (block, b) in solid.body.blocks.iter().enumerate() {
        let Some(layer) = package.layer(&b.name) else { continue };
        if package.layers[layer].case && is_bare(&solid.body.blocks, block, Face::Bottom) {
            let (face, coefficient) = (Face::Bottom, f64::INFINITY);
            solid.body.films.push(Film { block, face, coefficient, boundary: 0 });
        }
    }
    Ok(solid)
}

/// Area of a face that no other layer covers, m².
fn bare(placed: &[Placed], layer: usize, face: Face) -> f64 {
    let here = &placed[layer];
    let (top, bottom) = (here.high[2], here.low[2]);
    let covers = |p: &&Placed| match face {
        Face::Top => (p.low[2] - top).abs() < 1e-9,
        Face::Bottom => (p.high[2] - bottom).abs() < 1e-9,
    };
    here.area() - placed.iter().filter(covers).map(|p| p.overlap(here)).sum::<f64>()
}

/// Whether some of a block's face lies bare.
fn is_bare(blocks: &[Block], block: usize, face: Face) -> bool {
    let as_placed = |b: &Block| Placed { low: b.low, high: b.high, beneath: None };
    let placed: Vec<Placed> = blocks.iter().map(as_placed).collect();
    bare(&placed, block, face) > 1e-9 * placed[block].area()
}

struct Builder<'a> {
    package: &'a Package,
    placed: &'a [Placed],
}

impl Package {
    fn material(&self, name: &str) -> Option<Material> {
        let given = self.materials.iter().find(|m| m.name == name).cloned();
        given.or_else(|| materials::find(name).ok().map(Material::from))
    }

    /// Each die as the plate whose properties follow its temperature, in the order of the layers: what lies beneath its
    /// heated outline.
    pub fn plates(&self) -> Vec<Option<Plate>> {
        let of = |k: usize| {
            let (layer, heated) = (&self.layers[k], self.layers[k].heated?);
            let area = (layer.length - 2.0 * heated.margin) * (layer.width - 2.0 * heated.margin);
            let material = self.material(&layer.material)?;
            Some(material.plate(area, layer.thickness, heated.depth, self.temperature))
        };
        self.dies().into_iter().map(of).collect()
    }
}

impl Builder<'_> {
    /// Blocks and heat inputs of some layers; materials were checked.
    fn solid(&self, layers: &[usize]) -> Solid {
        let kelvin = self.package.temperature + ZERO;
        let mut body = Body::default();
        for k in layers {
            let (layer, p) = (&self.package.layers[*k], &self.placed[*k]);
            let Some(material) = self.package.material(&layer.material) else { continue };
            body.substances.push(material.substance());
            let own = body.substances.len() - 1;
            let mut rest = vec![[p.low[0], p.high[0], p.low[1], p.high[1]]];
            let block = |[x0, x1, y0, y1]: [f64; 4], substance: usize| Block {
                name: layer.name.clone(),
                low: [x0, y0, p.low[2]],
                high: [x1, y1, p.high[2]],
                substance,
                contact: layer.contact,
            };
            for (hole, substance) in self.holes(layer, p, &material, kelvin) {
                body.substances.push(substance.substance());
                body.blocks.push(block(hole, body.substances.len() - 1));
                rest = rest.into_iter().flat_map(|r| without(r, hole)).collect();
            }
            for r in rest {
                body.blocks.push(block(r, own));
            }
            if let Some(heated) = layer.heated {
                let m = heated.margin;
                // The die as a whole, where the depth is that of the die up to round-off.
                let deep = if heated.depth > layer.thickness - 1e-9 { layer.thickness } else { heated.depth };
                body.ports.push(Port {
                    name: layer.name.clone(),
                    low: [p.low[0] + m, p.low[1] + m, p.high[2] - deep],
                    high: [p.high[0] - m, p.high[1] - m, p.high[2]],
                    heated: true,
                });
            }
        }
        Solid { dies: body.ports.len(), body, kelvin }
    }

    /// Outline \[x₀, x₁, y₀, y₁\] and substance of each via field.
    fn holes(&self, layer: &Layer, p: &Placed, board: &Material, kelvin: f64) -> Vec<([f64; 4], Material)> {
        let middle = [0, 1].map(|a| 0.5 * (p.low[a] + p.high[a]));
        let copper = self.package.material("copper");
        let mut holes = Vec::new();
        for via in &layer.vias {
            let fill = via.fill.as_ref().and_then(|name| self.package.material(name));
            let Some(copper) = &copper else { continue };
            let [x, y] = [middle[0] + via.offset[0], middle[1] + via.offset[1]];
            let outline =
                [x - 0.5 * via.length, x + 0.5 * via.length, y - 0.5 * via.width, y + 0.5 * via.width];
            holes.push((outline, effective(via, board, copper, fill.as_ref(), kelvin)));
        }
        holes
    }
}

/// What is left of a rectangle without another: up to four, left and right of it, before and behind it.
fn without(r: [f64; 4], hole: [f64; 4]) -> Vec<[f64; 4]> {
    let [x0, x1, y0, y1] = r;
    let [a0, a1] = [hole[0].max(x0), hole[1].min(x1)];
    let [b0, b1] = [hole[2].max(y0), hole[3].min(y1)];
    if a1 - a0 <= 1e-9 || b1 - b0 <= 1e-9 {
        return vec![r];
    }
    let parts = [[x0, a0, y0, y1], [a1, x1, y0, y1], [a0, a1, y0, b0], [a0, a1, b1, y1]];
    parts.into_iter().filter(|p| p[1] - p[0] > 1e-9 && p[3] - p[2] > 1e-9).collect()
}
