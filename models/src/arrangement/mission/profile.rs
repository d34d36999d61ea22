//! What a mission asks for: parameters and boundary temperatures over time.

/// Parameters of arrangements that can change while the circuit works: they alter no topology and nothing that is
/// stored.
pub const MOVABLE: [&str; 10] = [
    "supply-voltage",
    "duty",
    "dead-time",
    "load-resistance",
    "load-voltage",
    "load-current",
    "modulation",
    "phase-shift",
    "line-voltage",
    "line-current",
];

/// What a segment is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// A parameter of the arrangement, by its number among those that change.
    Parameter(usize),
    /// A boundary of the thermal network, by its number there.
    Boundary(usize),
}

/// The side from which an instant is looked at: two points of one instant are a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Just before.
    Before,
    /// Just after.
    After,
}

/// A value over time: straight lines between points (s, SI unit or °C), whose times do not fall; two points of one time
/// are a step. The first and last values hold before and after.
#[derive(Clone, Debug, PartialEq)]
pub struct Segment {
    /// What it is of.
    pub of: Of,
    /// Time and value, at least one.
    pub points: Vec<(f64, f64)>,
}

impl Segment {
    /// The value at an instant, s; NaN without points.
    pub fn at(&self, t: f64, side: Side) -> f64 {
        let past = |x: f64| match side {
            Side::Before => x < t,
            Side::After => x <= t,
        };
        let k = self.points.partition_point(|p| past(p.0));
        match (k.checked_sub(1).map(|b| self.points[b]), self.points.get(k)) {
            (Some(a), Some(b)) if b.0 > a.0 => a.1 + (b.1 - a.1) * ((t - a.0) / (b.0 - a.0)),
            (Some(a), _) => a.1,
            (None, Some(b)) => b.1,
            (None, None) => f64::NAN,
        }
    }
}

/// Where the temperatures begin.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Begin {
    /// At rest, without any heat.
    #[default]
    Rest,
    /// In the steady state of the first instant's load.
    Steady,
}

/// A mission.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// Length of one round, s.
    pub length: f64,
    /// Rounds, one after the other.
    pub rounds: u32,
    /// What changes.
    pub segments: Vec<Segment>,
    /// Where the temperatures begin.
    pub begin: Begin,
}

impl Profile {
    /// Duration of all rounds, s.
    pub fn duration(&self) -> f64 {
        self.length * f64::from(self.rounds)
    }

    /// The instants of one round between which every segment is straight, the round's begin and end among them.
    pub fn corners(&self) -> Vec<f64> {
        let inside = self.segments.iter().flat_map(|c| c.points.iter().map(|p| p.0));
        let mut all: Vec<f64> = inside.filter(|t| *t > 0.0 && *t < self.length).collect();
        all.extend([0.0, self.length]);
        all.sort_by(f64::total_cmp);
        // What differs by rounding alone is one instant.
        all.dedup_by(|b, a| *b - *a <= 1e-12 * self.length);
        all
    }

    /// Values of the parameters that change, in the order of their numbers.
    pub fn parameters(&self, t: f64, side: Side) -> Vec<f64> {
        let mut all: Vec<(usize, f64)> = Vec::new();
        for segment in &self.segments {
            if let Of::Parameter(k) = segment.of {
                all.push((k, segment.at(t, side)));
            }
        }
        all.sort_by_key(|p| p.0);
        all.into_iter().map(|p| p.1).collect()
    }

    /// Boundaries that change: number and temperature, °C.
    pub fn boundaries(&self, t: f64, side: Side) -> Vec<(usize, f64)> {
        let of = |c: &Segment| match c.of {
            Of::Boundary(k) => Some((k, c.at(t, side))),
            Of::Parameter(_) => None,
        };
        self.segments.iter().filter_map(of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_and_ramps() {
        let points = vec![(1.0, 10.0), (2.0, 10.0), (2.0, 20.0), (4.0, 40.0)];
        let segment = Segment { of: Of::Parameter(0), points };
        let both = |t: f64| (segment.at(t, Side::Before), segment.at(t, Side::After));
        assert_eq!(both(0.0), (10.0, 10.0));
        assert_eq!(both(2.0), (10.0, 20.0));
        assert_eq!(both(3.0), (30.0, 30.0));
        assert_eq!(both(9.0), (40.0, 40.0));
        let profile = Profile { length: 5.0, rounds: 2, segments: vec![segment], begin: Begin::Rest };
        assert_eq!(profile.corners(), [0.0, 1.0, 2.0, 4.0, 5.0]);
        assert_eq!(profile.parameters(2.0, Side::After), [20.0]);
    }
}
