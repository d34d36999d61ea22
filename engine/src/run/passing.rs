//! Control without its circuit, where it depends on time alone; and runs beside a run.

use super::time_loop::{Observer, Run};
use crate::error::SolverError;

impl Run<f64> {
    /// Whether drives and controllers read nothing of the circuit, and steps are made by the method.
    pub fn is_led_by_time(&self) -> bool {
        self.stepper.pieces().is_none() && self.observers.iter().all(|o| o.reads.is_empty())
    }

    /// Goes on to the instant `until`, s, as to control only, in a run that [`is_led_by_time`](Self::is_led_by_time): orders
    /// and controllers do what they will do, and the circuit's state stays where it is. What it is at that instant is
    /// then to be put in ([`Run::adopt`]). Returns how many windows known edges open on the way.
    ///
    /// # Errors
    /// Of a controller.
    #[inline(never)]
    pub fn pass(&mut self, until: f64) -> Result<u64, SolverError> {
        if !self.began {
            self.begin(&mut ())?;
        }
        let mut windows = 0;
        while self.state.t < until {
            windows += u64::from(self.pass_on(until)?);
        }
        Ok(windows)
    }

    /// The same to the first instant after `from`, s, at which a known edge opens a window; there must be one.
    ///
    /// # Errors
    /// Of a controller.
    #[inline(never)]
    pub fn pass_to_window(&mut self, from: f64) -> Result<(), SolverError> {
        self.pass(from)?;
        while !self.pass_on(f64::INFINITY)? {}
        Ok(())
    }

    /// Control goes on to what comes next, at most to `until`, s. Whether a window opens there.
    fn pass_on(&mut self, until: f64) -> Result<bool, SolverError> {
        let before = self.state.t;
        let corner = self.next_corner();
        let wakes = self.observers.iter().filter_map(|o| o.logic.wakes(before));
        let stop = wakes.filter(|&w| w > before).fold(corner.min(until), f64::min);
        (self.state.t, self.seen_at) = (stop, stop);
        self.board.apply_orders(stop);
        self.look(before)?;
        let (ordered, switched) = self.board.take_changes();
        self.board.take_events();
        self.choices.copy_from_slice(self.board.choices());
        Ok(stop == self.fixed_corner || ordered || switched)
    }

    /// Another run on the same equations, at the same point: it goes on with the same bits. None where steps are made by
    /// pieces.
    #[inline(never)]
    pub fn twin(&self) -> Option<Self> {
        let observer = |o: &Observer<f64>| Observer {
            logic: o.logic.boxed(),
            reads: o.reads.clone(),
            then: o.then.clone(),
            now: o.now.clone(),
        };
        Some(Self {
            system: self.system.clone(),
            state: self.state.clone(),
            stepper: self.stepper.twin(&self.state)?,
            ladder: self.ladder.clone(),
            balance: self.balance,
            board: self.board.clone(),
            choices: self.choices.clone(),
            observers: self.observers.iter().map(observer).collect(),
            thermal: self.thermal.clone(),
            celsius: self.celsius.clone(),
            coupling: self.coupling.clone(),
            heating: self.heating.clone(),
            channels: self.channels.clone(),
            tells_energy: self.tells_energy,
            sample_every: self.sample_every,
            sampled_at: self.sampled_at,
            recorded_until: self.recorded_until,
            seen_at: self.seen_at,
            reads: self.reads.clone(),
            watched: self.watched.clone(),
            values: self.values.clone(),
            told: false,
            watcher: self.watcher.clone(),
            gauges: self.gauges.clone(),
            switches: self.switches.clone(),
            rows: self.rows.clone(),
            stored_at_start: self.stored_at_start.clone(),
            counters: self.counters,
            began: self.began,
            reordered_at: self.reordered_at,
            patient_at: self.patient_at,
            snapped_at: self.snapped_at,
            fixed_corner: self.fixed_corner,
        })
    }

    /// Samples come no more often than this from now on, s; 0: at every step. Edges and events are always sampled.
    pub fn sample_every(&mut self, interval: f64) {
        self.sample_every = interval;
    }

    /// The largest value of each unknown so far.
    pub fn largest(&self) -> &[f64] {
        self.stepper.largest()
    }

    /// Bounds of the local error that follow the largest values take these for seen.
    pub fn has_seen(&mut self, largest: &[f64]) {
        self.stepper.gauge_sees(largest);
    }
}
