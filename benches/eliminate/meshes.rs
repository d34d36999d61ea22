//! Circuit-like sparse matrices: random RC meshes with switches and some voltage-source rows, as modified nodal
//! analysis writes them. One pattern with several sets of values (switch states), as an engine meets them in time.

/// Same sequence on every machine: SplitMix64 (Steele, Lea, Flood, OOPSLA 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in [0, 1).
    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }
}

/// One pattern, several sets of values.
pub struct Mesh {
    /// Unknowns.
    pub n: usize,
    /// Row and column of every structural entry, sorted, none twice.
    pub entries: Vec<(usize, usize)>,
    /// Sets of values, in the order of the entries.
    pub values: Vec<Vec<f64>>,
    /// Right-hand side.
    pub right: Vec<f64>,
}

enum Branch {
    /// Resistor, capacitor companion or the like: a conductance that stays, S.
    Fixed(f64),
    /// Switch: 1e-6 S or 1e3 S.
    Switch,
}

/// A mesh with `n` unknowns: one in ten (at least one) is the current of an ideal voltage source, the others are node
/// voltages. A chain keeps the circuit in one piece; as many branches again join nodes near to each other, so that the
/// fill-in stays that of a circuit; one branch in five is a switch; every node has a capacitance to ground.
pub fn mesh(n: usize, states: usize, seed: u64) -> Mesh {
    let mut random = Random(seed ^ n as u64);
    let sources = (n / 10).max(1);
    let nodes = n - sources;
    let mut branches = Vec::new();
    for i in 1..2 * nodes {
        let (a, b) = if i < nodes {
            (i - 1, i)
        } else {
            let a = random.below(nodes);
            (a, (a + 2 + random.below(4)) % nodes)
        };
        let branch =
            if i % 5 == 4 { Branch::Switch } else { Branch::Fixed(10f64.powf(4.0 * random.unit() - 3.0)) };
        if a != b {
            branches.push((a, b, branch));
        }
    }
    let ground: Vec<f64> = (0..nodes).map(|_| 10f64.powf(3.0 * random.unit() - 3.0)).collect();
    // one source per stretch of nodes, from a node to ground: no two can make a loop
    let driven: Vec<usize> = (0..sources).map(|k| k * nodes / sources).collect();

    let mut entries: Vec<(usize, usize)> = (0..nodes).map(|i| (i, i)).collect();
    for &(a, b, _) in &branches {
        entries.extend([(a, b), (b, a)]);
    }
    for (k, &node) in driven.iter().enumerate() {
        entries.extend([(node, nodes + k), (nodes + k, node)]);
    }
    entries.sort_unstable();
    entries.dedup();
    let slot = |row: usize, column: usize| entries.partition_point(|&e| e < (row, column));

    let values = (0..states)
        .map(|_| {
            let mut set = vec![0.0; entries.len()];
            ground.iter().enumerate().for_each(|(i, c)| set[slot(i, i)] += c);
            for (a, b, branch) in &branches {
                let g = match branch {
                    Branch::Fixed(g) => *g,
                    Branch::Switch if random.next() & 1 == 1 => 1e3,
                    Branch::Switch => 1e-6,
                };
                for (row, column, sign) in [(*a, *a, 1.0), (*b, *b, 1.0), (*a, *b, -1.0), (*b, *a, -1.0)] {
                    set[slot(row, column)] += sign * g;
                }
            }
            for (k, &node) in driven.iter().enumerate() {
                set[slot(node, nodes + k)] = 1.0;
                set[slot(nodes + k, node)] = 1.0;
            }
            set
        })
        .collect();
    let right = (0..n).map(|_| 2.0 * random.unit() - 1.0).collect();
    Mesh { n, entries, values, right }
}

impl Mesh {
    /// Normwise backward error of a solution, ‖b − A·x‖∞ / (‖A‖∞·‖x‖∞ + ‖b‖∞) (Higham, Accuracy and Stability of
    /// Numerical Algorithms, section 7.1).
    pub fn backward_error(&self, state: usize, x: &[f64]) -> f64 {
        let (mut residual, mut row_sum) = (self.right.clone(), vec![0.0; self.n]);
        for (&(row, column), &value) in self.entries.iter().zip(&self.values[state]) {
            residual[row] -= value * x[column];
            row_sum[row] += value.abs();
        }
        let norm =
            |v: &[f64]| v.iter().fold(0.0_f64, |m, e| if e.is_nan() { f64::NAN } else { m.max(e.abs()) });
        norm(&residual) / (norm(&row_sum) * norm(x) + norm(&self.right))
    }
}
