//! Networks that do not touch, as one.

use super::Modal;
use crate::arithmetic::lane::Lane;

impl<L: Lane> Modal<L> {
    /// This network and another that it does not touch, as one: inputs, boundaries and nodes of this come first, modes
    /// too (time constants are then sorted within each only). Names should differ; nothing here depends on it.
    #[inline(never)]
    pub fn beside(&self, other: &Self) -> Self {
        let size = |m: &Self| (m.rates.len(), m.inputs.len(), m.boundaries.len(), m.nodes.len());
        let ((n, m, b, k), (n2, m2, b2, k2)) = (size(self), size(other));
        let both = |list: fn(&Self) -> &Vec<L>| list(self).iter().chain(list(other)).copied().collect();
        let names = |list: fn(&Self) -> &Vec<String>| list(self).iter().chain(list(other)).cloned().collect();
        let blocks = |list: fn(&Self) -> &Vec<L>, columns: (usize, usize)| {
            let zeros = |count: usize| std::iter::repeat_n(L::default(), count);
            let mut out = Vec::new();
            for row in rows(list(self), columns.0) {
                out.extend(row.iter().copied().chain(zeros(columns.1)));
            }
            for row in rows(list(other), columns.1) {
                out.extend(zeros(columns.0).chain(row.iter().copied()));
            }
            out
        };
        let apart = other.reference - self.reference;
        Self {
            inputs: names(|m| &m.inputs),
            boundaries: names(|m| &m.boundaries),
            nodes: names(|m| &m.nodes),
            reference: self.reference,
            start: self.start.iter().copied().chain(other.start.iter().map(|t| *t + apart)).collect(),
            rates: both(|m| &m.rates),
            ports: blocks(|m| &m.ports, (n, n2)),
            settled: blocks(|m| &m.settled, (n, n2)),
            settled_boundary: blocks(|m| &m.settled_boundary, (n, n2)),
            direct: blocks(|m| &m.direct, (m, m2)),
            follow: blocks(|m| &m.follow, (b, b2)),
            drain: blocks(|m| &m.drain, (n, n2)),
            shares: blocks(|m| &m.shares, (m, m2)),
            exchange: blocks(|m| &m.exchange, (b, b2)),
            content: both(|m| &m.content),
            node_modes: blocks(|m| &m.node_modes, (n, n2)),
            node_direct: blocks(|m| &m.node_direct, (m, m2)),
            node_follow: blocks(|m| &m.node_follow, (b, b2)),
            project: blocks(|m| &m.project, (k, k2)),
        }
    }
}

/// Rows of so many columns; a matrix without columns has none.
fn rows<L>(list: &[L], columns: usize) -> std::slice::ChunksExact<'_, L> {
    list.chunks_exact(columns.max(1))
}
