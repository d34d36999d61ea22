//! Where entries lie in the matrix of the robust iteration.

use crate::arithmetic::lane::Lane;
use crate::equations::system::{Placed, System};

/// Where entries lie among the values of the matrix: the places of its pattern row by row, and one more for ground.
#[derive(Debug)]
pub(super) struct Places {
    pub(super) entries: Vec<(u32, u32)>,
    pub(super) rows: Vec<usize>,
    pub(super) g: Vec<u32>,
    pub(super) c: Vec<u32>,
    pub(super) chosen: Vec<[u32; 4]>,
    pub(super) leak: Vec<u32>,
    pub(super) holds: Vec<u32>,
    pub(super) devices: Vec<Vec<u32>>,
}

impl Places {
    pub(super) fn new<L: Lane>(system: &System<L>, holds: &[(usize, usize, L, L)]) -> Self {
        let n = system.n as u32;
        let of_device = |d: &Placed| -> Vec<(u32, u32)> {
            let all = || d.locals.iter().copied().chain([d.reference]);
            all().flat_map(|r| all().map(move |c| (r, c))).collect()
        };
        let devices: Vec<_> = system.devices.iter().map(of_device).collect();
        let around = |a: u32, b: u32| [(a, a), (a, b), (b, a), (b, b)];
        let linear = system.g.iter().chain(&system.c).map(|e| (e.0, e.1));
        let mut entries: Vec<(u32, u32)> = linear
            .chain(system.chosen.iter().flat_map(|&(_, a, b)| around(a, b)))
            .chain((0..n).filter(|&k| system.is_voltage[k as usize]).map(|k| (k, k)))
            .chain(holds.iter().map(|h| (h.0 as u32, h.1 as u32)))
            .chain(devices.iter().flatten().copied())
            .filter(|&(r, c)| r < n && c < n)
            .collect();
        entries.sort_unstable();
        entries.dedup();
        let at = |e: (u32, u32)| entries.binary_search(&e).unwrap_or(entries.len()) as u32;
        let leak = |k: u32| if system.is_voltage[k as usize] { at((k, k)) } else { entries.len() as u32 };
        Self {
            rows: (0..=n).map(|r| entries.partition_point(|e| e.0 < r)).collect(),
            g: system.g.iter().map(|e| at((e.0, e.1))).collect(),
            c: system.c.iter().map(|e| at((e.0, e.1))).collect(),
            chosen: system.chosen.iter().map(|&(_, a, b)| around(a, b).map(at)).collect(),
            leak: (0..n).map(leak).collect(),
            holds: holds.iter().map(|h| at((h.0 as u32, h.1 as u32))).collect(),
            devices: devices.into_iter().map(|d| d.into_iter().map(at).collect()).collect(),
            entries,
        }
    }
}
