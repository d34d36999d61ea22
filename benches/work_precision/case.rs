//! REF-1 and its 200-edge version as data: gate course, output grid, the windows of the two energies.
#![allow(dead_code, reason = "some of it is used only by methods that set up the circuit in Rust")]

/// Length of a linear gate edge, s.
pub const RAMP: f64 = 10e-9;
/// Gate source, V: low and high.
pub const GATE: [f64; 2] = [0.0, 12.0];

/// One of the two problems.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Case {
    /// REF-1 as specified: on at 0.2 µs, off at 2.2 µs, on at 3.2 µs, off at 4.2 µs; end 5.2 µs.
    Two,
    /// 100 kHz for 1 ms: on at 0.2 µs, then an edge every 5 µs; 8 Ω in series with the load inductor.
    Many,
}

impl Case {
    /// As the C harness calls it.
    pub fn key(self) -> &'static str {
        match self {
            Case::Two => "two",
            Case::Many => "many",
        }
    }

    /// For the heading of the table.
    pub fn title(self) -> &'static str {
        match self {
            Case::Two => "REF-1: two pulses, 4 edges, 5.2 us",
            Case::Many => "REF-1 at 100 kHz: 200 edges, 1 ms, 8 ohm in series with the load",
        }
    }

    /// Start of each gate edge, s; even ones switch on.
    pub fn edges(self) -> Vec<f64> {
        match self {
            Case::Two => vec![0.2e-6, 2.2e-6, 3.2e-6, 4.2e-6],
            Case::Many => (0..200).map(|i| 0.2e-6 + f64::from(i) * 5e-6).collect(),
        }
    }

    /// End of the run, s.
    pub fn end(self) -> f64 {
        match self {
            Case::Two => 5.2e-6,
            Case::Many => 1e-3,
        }
    }

    /// Resistance in series with the load inductor, Ω.
    pub fn load_resistance(self) -> f64 {
        match self {
            Case::Two => 0.0,
            Case::Many => 8.0,
        }
    }

    /// Times at which the 200-edge waveforms are compared, s: every 2 ns for 700 ns after each edge, then every 50 ns
    /// (REF-1 itself is compared at the times of its published solution, which are dense after the edges too).
    pub fn grid(self) -> Vec<f64> {
        let edges = self.edges();
        let mut grid = vec![0.0];
        for (i, &edge) in edges.iter().enumerate() {
            let next = edges.get(i + 1).copied().unwrap_or(self.end());
            let fine = (0..350).map(|k| f64::from(k) * 2e-9);
            let coarse = (14..).map(|k| f64::from(k) * 50e-9);
            grid.extend(fine.chain(coarse).map(|u| edge + u).take_while(|&t| t < next - 1e-12));
        }
        grid.push(self.end());
        grid
    }

    /// Turn-off and turn-on energy, J, from the energy into the cascode between edges (entry i: from edge i to the
    /// next, ∫ (v2 − v6) i_D dt). REF-1: the first turn-off and the second turn-on; 200 edges: the sums.
    pub fn energies(self, between_edges: &[f64]) -> (f64, f64) {
        match self {
            Case::Two => (between_edges[1], between_edges[2]),
            Case::Many => {
                (between_edges.iter().skip(1).step_by(2).sum(), between_edges.iter().step_by(2).sum())
            }
        }
    }
}
