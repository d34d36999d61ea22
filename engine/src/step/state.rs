//! Everything a restart needs.

/// The state of the circuit between steps. Save it, restore it, and the run goes on with the same bits.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct State<L> {
    /// Simulated time, s (of one lane; more have times of their own).
    pub t: f64,
    /// Unknowns (V, A, devices' own), then ground, then zeros to a multiple of eight, as in all vectors here.
    pub x: Vec<L>,
    /// What stands under d/dt in each row (C, Vs): carried along, not recomputed from x, so that charge is conserved
    /// to round-off whatever Newton's iteration leaves.
    pub q: Vec<L>,
    /// Its derivative at t (A, V).
    pub k: Vec<L>,
    /// Power of each account at t, W (see [`System::accounts`](crate::equations::system::System::accounts)).
    pub power: Vec<L>,
    /// Energy of each account since the start, J.
    pub energy: Vec<L>,
    /// Instants and inner unknowns of the last step's start and stages, for predicting the next; only the present
    /// point after a corner.
    pub history: Vec<(f64, Vec<L>)>,
    /// Junction temperature of each device, K.
    pub kelvin: Vec<L>,
}
