//! How much work a run took: deterministic, so a change in cost shows as a difference in review.

/// Counts since the start of a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counters {
    /// Steps taken.
    pub steps: u64,
    /// Newton iterations of all stages, those of refused steps included.
    pub iterations: u64,
    /// Steps taken back because the activity was above its bound.
    pub refused: u64,
    /// Steps taken back because Newton's iteration failed.
    pub halved: u64,
    /// Windows opened by known edges.
    pub windows: u64,
    /// Jumps made consistent.
    pub jumps: u64,
    /// Coupling intervals.
    pub couplings: u64,
    /// Changes of ideal diodes in a run by pieces.
    pub changes: u64,
    /// New elimination orders after growth or failure.
    pub reorders: u64,
}
