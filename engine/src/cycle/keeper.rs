//! What a circuit keeps from one period to the next.

use nalgebra::DVector;

use crate::circuit::graph::{Body, ComponentId, Linear};
use crate::equations::system::System;
use crate::run::time_loop::Run;

/// Something that a linear component keeps from one period to the next.
#[derive(Clone, Debug, PartialEq)]
pub struct Keeper {
    /// Name of the component.
    pub name: String,
    /// "V" of a capacitor, "A" of a winding.
    pub unit: &'static str,
    /// Unknowns whose difference (or the one) it is.
    reads: [usize; 2],
    /// Rows and what one volt or ampere more puts under d/dt there.
    pub(super) rows: Vec<(usize, f64)>,
}

/// All that linear capacitors and windings keep, and currents whose fluxes devices keep.
pub fn keepers(system: &System<f64>) -> Vec<Keeper> {
    let mut all = Vec::new();
    for (k, component) in system.circuit.components.iter().enumerate() {
        let Linear { c, branches, .. } = match &component.body {
            Body::Linear(linear) => linear,
            Body::Device(device) => {
                // A flux of the device's own: read, but not displaced.
                for j in 0..device.fluxes() {
                    let reads = [system.own_unknown(ComponentId(k as u32), j), system.n];
                    all.push(Keeper { name: component.name.clone(), unit: "A", reads, rows: Vec::new() });
                }
                continue;
            }
        };
        let pins = component.pins.len();
        let unknown = |local: usize| match component.pins.get(local) {
            Some(node) => system.unknown_of_node(*node),
            None => system.own_unknown(ComponentId(k as u32), local - pins),
        };
        let column = |local: usize| {
            c.iter().filter(move |e| e.1 == local).map(|e| (unknown(e.0), e.2)).collect::<Vec<_>>()
        };
        let name = component.name.clone();
        if c.iter().any(|e| e.1 == 0) {
            let reads = [unknown(0), unknown(1)];
            all.push(Keeper { name: name.clone(), unit: "V", reads, rows: column(0) });
        }
        for branch in 0..branches.len() {
            let rows = column(pins + branch);
            if !rows.is_empty() {
                let reads = [unknown(pins + branch), system.n];
                all.push(Keeper { name: name.clone(), unit: "A", reads, rows });
            }
        }
    }
    all
}

impl Keeper {
    /// Its value in a run on the system that it is of, V or A.
    pub fn read(&self, run: &Run<f64>) -> f64 {
        self.of(&run.state().x)
    }

    /// The same at some unknowns of that system, ground after the others.
    pub(super) fn of(&self, x: &[f64]) -> f64 {
        x[self.reads[0]] - x[self.reads[1]]
    }
}

/// The largest voltage, and the largest current, of all that is kept; 1 V, 1 A where they are less.
pub(super) fn scales(keepers: &[Keeper], z: &DVector<f64>, after: &DVector<f64>) -> DVector<f64> {
    let most = |unit: &str| {
        let mine = keepers.iter().enumerate().filter(|(_, k)| k.unit == unit);
        mine.map(|(k, _)| z[k].abs().max(after[k].abs())).fold(1.0, f64::max)
    };
    let (volts, amperes) = (most("V"), most("A"));
    DVector::from_iterator(keepers.len(), keepers.iter().map(|k| if k.unit == "V" { volts } else { amperes }))
}
