//! Where heat enters and temperatures are measured: weights on cells.

use sprs::TriMatI;

use super::{Matrix, along, area, half};
use crate::thermal::field::body::{Body, Port, SAME};
use crate::thermal::field::error::FieldError;
use crate::thermal::field::mesh::Mesh;

/// The ports of a body on a mesh; m of them.
#[derive(Debug, Clone)]
pub(in super::super) struct Ports {
    /// Names.
    pub names: Vec<String>,
    /// Whether heat enters.
    pub heated: Vec<bool>,
    /// B transposed: the share of each cell; those of a port sum to 1.
    pub weights: Matrix,
    /// Undelayed rise between rectangles on one plane, K/W; \[m × m\], symmetric.
    pub direct: Vec<f64>,
}

/// A face of a rectangle: its place in the box (x, y, plane), share of the area, conductance to both sides, W/K.
struct Facet {
    place: [usize; 3],
    share: f64,
    conductance: f64,
}

impl Ports {
    /// Finds the cells of every port; conductivities at each cell's temperature, K.
    pub(in super::super) fn new(
        body: &Body,
        mesh: &Mesh,
        kelvin: impl Fn(usize) -> f64,
    ) -> Result<Self, FieldError> {
        let mut facets = Vec::new();
        let mut all = TriMatI::new((body.ports.len(), mesh.cells.len()));
        for (number, port) in body.ports.iter().enumerate() {
            let (weights, faces) = if port.high[2] - port.low[2] > SAME {
                (volume(port, mesh), Vec::new())
            } else {
                rectangle(port, body, mesh, &kelvin)
            };
            if weights.is_empty() {
                return Err(FieldError::PortOutside { port: port.name.clone() });
            }
            for (cell, share) in weights {
                all.add_triplet(number, cell as usize, share);
            }
            facets.push(faces);
        }
        // Two rectangles share a face: the heat of one passes the same halves of cells as that of the other.
        let direct = facets
            .iter()
            .flat_map(|a| {
                facets.iter().map(move |b| {
                    let pairs = a.iter().flat_map(|f| {
                        b.iter().filter(|g| g.place == f.place).map(|g| f.share * g.share / f.conductance)
                    });
                    pairs.sum()
                })
            })
            .collect();
        Ok(Self {
            names: body.ports.iter().map(|p| p.name.clone()).collect(),
            heated: body.ports.iter().map(|p| p.heated).collect(),
            weights: all.to_csr(),
            direct,
        })
    }

    /// Mean temperature of a port from those of the cells, without what is undelayed.
    pub(in super::super) fn read(&self, port: usize, x: &[f64]) -> f64 {
        along(&self.weights, port, x)
    }
}

fn ranges(port: &Port, mesh: &Mesh) -> [std::ops::Range<usize>; 2] {
    [0, 1].map(|a| mesh.edge(a, port.low[a])..mesh.edge(a, port.high[a]))
}

fn volume(port: &Port, mesh: &Mesh) -> Vec<(u32, f64)> {
    let [xs, ys] = ranges(port, mesh);
    let zs = mesh.edge(2, port.low[2])..mesh.edge(2, port.high[2]);
    let mut weights = Vec::new();
    for j in ys {
        for i in xs.clone() {
            for k in zs.clone() {
                let cell = mesh.cell([i, j, k]);
                if cell != Mesh::NONE {
                    weights.push((cell, mesh.extents(&mesh.cells[cell as usize]).iter().product()));
                }
            }
        }
    }
    let total: f64 = weights.iter().map(|w| w.1).sum();
    weights.iter_mut().for_each(|w| w.1 /= total);
    weights
}

/// Heat on a plane divides among the halves of the cells on both sides; so does the plane's temperature.
fn rectangle(
    port: &Port,
    body: &Body,
    mesh: &Mesh,
    kelvin: &impl Fn(usize) -> f64,
) -> (Vec<(u32, f64)>, Vec<Facet>) {
    let [xs, ys] = ranges(port, mesh);
    let plane = mesh.edge(2, port.low[2]);
    let (mut weights, mut faces) = (Vec::new(), Vec::new());
    for j in ys {
        for i in xs.clone() {
            let below = plane.checked_sub(1).map_or(Mesh::NONE, |k| mesh.cell([i, j, k]));
            let above = mesh.cell([i, j, plane]);
            let mut sides = Vec::new();
            let mut over = 0.0;
            for cell in [below, above] {
                if cell == Mesh::NONE {
                    continue;
                }
                let c = &mesh.cells[cell as usize];
                let mut resistance = half(body, mesh, c, 2, kelvin(cell as usize));
                if cell == above && below != Mesh::NONE && mesh.cells[below as usize].block != c.block {
                    // The plane is the lower side of a contact.
                    resistance += body.blocks[c.block as usize].contact;
                }
                over = area(mesh, c, 2);
                sides.push((cell, over / resistance));
            }
            if sides.is_empty() {
                continue;
            }
            let conductance: f64 = sides.iter().map(|s| s.1).sum();
            weights.extend(sides.iter().map(|(cell, g)| (*cell, over * g / conductance)));
            faces.push(Facet { place: [i, j, plane], share: over, conductance });
        }
    }
    let total: f64 = faces.iter().map(|f| f.share).sum();
    weights.iter_mut().for_each(|w| w.1 /= total);
    faces.iter_mut().for_each(|f| f.share /= total);
    (weights, faces)
}
