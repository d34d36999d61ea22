//! The engine's elimination tape: the order chosen on the first switch state only, replayed for all.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::equations::order::Order;
use joulestep_engine::equations::replay::Replay;
use sprs::TriMatI;
use wide::{f64x4, f64x8};

use crate::meshes::Mesh;
use crate::solvers::Solver;

/// The tape for one mesh, alone and in lanes.
pub fn solvers(mesh: &Mesh) -> Vec<Box<dyn Solver>> {
    let mut entries = TriMatI::new((mesh.n, mesh.n));
    mesh.entries.iter().zip(&mesh.values[0]).for_each(|(&(r, c), &x)| entries.add_triplet(r, c, x));
    match Order::choose(entries.to_csr(), |_| false) {
        Ok(order) => vec![
            Box::new(Tape::<f64>::new(mesh, &order, "tape")),
            Box::new(Tape::<f64x4>::new(mesh, &order, "tape, 4 lanes, each")),
            Box::new(Tape::<f64x8>::new(mesh, &order, "tape, 8 lanes, each")),
        ],
        Err(no) => {
            println!("{:<6}the tape finds no pivot for {:?}", mesh.n, no.columns);
            Vec::new()
        }
    }
}

struct Tape<L> {
    replay: Replay,
    name: &'static str,
    /// Slot of each entry of the pattern.
    slots: Vec<u32>,
    /// Per batch the entries' values.
    values: Vec<Vec<L>>,
    right: Vec<L>,
    a: Vec<L>,
    b: Vec<L>,
    x: Vec<L>,
}

impl<L: Lane> Tape<L> {
    fn new(mesh: &Mesh, order: &Order, name: &'static str) -> Self {
        let slot = |&(r, c): &(usize, usize)| order.slot(r, c).expect("the order has the whole pattern");
        let batch =
            |states: &[Vec<f64>]| (0..mesh.entries.len()).map(|e| L::from_fn(|k| states[k][e])).collect();
        let zero = L::splat(0.0);
        // one more for ground, in both
        let right: Vec<L> = mesh.right.iter().map(|x| L::splat(*x)).chain([zero]).collect();
        Tape {
            replay: Replay::new(order.clone()),
            name,
            slots: mesh.entries.iter().map(slot).collect(),
            values: mesh.values.chunks_exact(L::WIDTH).map(batch).collect(),
            a: vec![zero; order.slots + 1],
            b: right.clone(),
            x: right.clone(),
            right,
        }
    }
}

impl<L: Lane> Solver for Tape<L> {
    fn name(&self) -> &'static str {
        self.name
    }

    fn lanes(&self) -> usize {
        L::WIDTH
    }

    fn solve(&mut self, batch: usize) -> bool {
        self.a.fill(L::splat(0.0));
        for (&slot, &x) in self.slots.iter().zip(&self.values[batch]) {
            self.a[slot as usize] = x;
        }
        self.b.copy_from_slice(&self.right);
        // no unknown is outer: the whole matrix is the inner block
        self.replay.factor_and_solve_inner(&mut self.a, &mut self.b, &mut self.x);
        true
    }

    fn solution(&self, lane: usize) -> Vec<f64> {
        self.x[..self.x.len() - 1].iter().map(|x| x.lane(lane)).collect()
    }
}
