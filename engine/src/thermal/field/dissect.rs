//! An elimination order from the geometry: nested dissection (George, SIAM J. Numer. Anal. 10 (1973) 345). A plane
//! of cells across the axis where it cuts least parts the rest in two that know nothing of each other; it is
//! eliminated after both, and each is parted likewise.

/// Parts of this many cells or less are eliminated as they are.
const LEAF: usize = 64;

/// Cells eliminated together: a plane, or a part not divided further.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Group {
    /// Its stretch of the order.
    pub first: usize,
    pub last: usize,
    /// Groups that it parted.
    pub parts: Vec<usize>,
}

/// The order, and its groups, parts before what parted them.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Order {
    pub cells: Vec<u32>,
    pub groups: Vec<Group>,
}

impl Order {
    /// Of cells at these places of a box.
    pub fn new(at: &[[u32; 3]]) -> Self {
        let mut order = Self::default();
        order.divide((0..at.len() as u32).collect(), at);
        order
    }

    fn close(&mut self, cells: &[u32], parts: Vec<usize>) -> usize {
        let first = self.cells.len();
        self.cells.extend(cells);
        self.groups.push(Group { first, last: self.cells.len(), parts });
        self.groups.len() - 1
    }

    fn divide(&mut self, set: Vec<u32>, at: &[[u32; 3]]) -> usize {
        let plane = if set.len() > LEAF { plane(&set, at) } else { None };
        let Some((axis, plane)) = plane else { return self.close(&set, Vec::new()) };
        let (mut below, mut above, mut middle) = (Vec::new(), Vec::new(), Vec::new());
        for cell in set {
            match at[cell as usize][axis].cmp(&plane) {
                std::cmp::Ordering::Less => below.push(cell),
                std::cmp::Ordering::Greater => above.push(cell),
                std::cmp::Ordering::Equal => middle.push(cell),
            }
        }
        let parts = [below, above].into_iter().map(|part| self.divide(part, at)).collect();
        self.close(&middle, parts)
    }
}

/// The plane of fewest cells among those that leave at least a fifth on either side; a little rather even.
fn plane(set: &[u32], at: &[[u32; 3]]) -> Option<(usize, u32)> {
    let mut best: Option<(f64, usize, u32)> = None;
    for axis in [0, 1, 2] {
        let place = |c: &u32| at[*c as usize][axis];
        let places = set.iter().map(place);
        let low = places.clone().min()?;
        let mut counts = vec![0_usize; (places.clone().max()? - low + 1) as usize];
        places.for_each(|p| counts[(p - low) as usize] += 1);
        let mut before = 0;
        for (p, count) in counts.iter().enumerate() {
            let after = set.len() - before - count;
            let share = before.min(after) as f64 / set.len() as f64;
            before += count;
            if share < 0.2 {
                continue;
            }
            let cost = *count as f64 * (1.0 + 0.5 * (0.5 - share));
            if best.is_none_or(|b| cost < b.0) {
                best = Some((cost, axis, low + p as u32));
            }
        }
    }
    best.map(|(_, axis, plane)| (axis, plane))
}
