//! The arrangement at one set of parameters: its periodic steady state at given temperatures, and single cycles from
//! any state.

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::cycle::steady::{CycleError, Effort, steady_from};
use joulestep_engine::error::SolverError;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::gauge::Reading;
use joulestep_engine::run::saved::Saved;
use joulestep_engine::run::setup::{Refusal, Setup};
use joulestep_engine::run::time_loop::{Ended, Run};
use joulestep_engine::run::watch::Seen;
use nalgebra::DMatrix;

use crate::arrangement::builder::{CircuitLayout, Role};
use crate::arrangement::losses::heat_of_input;

/// Power of each heat input (W) over each step (s) of a cycle.
pub type Power = Vec<(f64, Vec<f64>)>;

/// One cycle.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OneCycle {
    /// Its course.
    pub course: Power,
    /// Mean power of each heat input, W.
    pub power: Vec<f64>,
    /// Mean powers that sources gave, that the load took, and that was lost, W.
    pub balance: [f64; 3],
    /// What each component dissipated, mean, W.
    pub dissipated: Vec<f64>,
    /// What the setup's watches saw; instants count from its begin.
    pub seen: Vec<Seen>,
    /// What the setup's gauges read.
    pub readings: Vec<Reading>,
    /// Its work.
    pub counters: Counters,
}

/// What was seen, with its instants moved by a time, s.
pub(super) fn later(seen: &Seen, by: f64) -> Seen {
    let since = seen.since.map(|t| t + by);
    Seen { least_at: seen.least_at + by, largest_at: seen.largest_at + by, since, ..*seen }
}

/// Work since an earlier count of the same run.
fn since(before: &Counters, now: Counters) -> Counters {
    let stalled = now.stalled - before.stalled;
    Counters {
        steps: now.steps - before.steps,
        iterations: now.iterations - before.iterations,
        stalled,
        blurred: now.blurred - before.blurred,
        snapped: now.snapped - before.snapped,
        stalled_by: if stalled > 0 { now.stalled_by } else { 0.0 },
        ..Counters::default()
    }
}

/// Unknowns and charges at the end of a cycle.
pub type Electrical = (Vec<f64>, Vec<f64>);

/// The arrangement at one set of parameters.
pub struct Site {
    run: Run<f64>,
    period: f64,
    first_integral: usize,
    inputs: usize,
    roles: Vec<Option<Role>>,
    /// Of the last search.
    pub(super) jacobian: Option<DMatrix<f64>>,
    /// Temperatures held, °C.
    pub(super) held: Vec<f64>,
    /// The end of the last steady cycle that was found.
    home: Option<Saved<f64>>,
    /// What a cycle leaves of the electrical disturbance that stays longest, and by how much (rad) it turns in a cycle;
    /// unknown where no search needed it.
    pub slowest: Option<(f64, f64)>,
    /// Cycles run here.
    pub cycles: u64,
}

impl std::fmt::Debug for Site {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Site")
            .field("period", &self.period)
            .field("cycles", &self.cycles)
            .finish_non_exhaustive()
    }
}

impl Site {
    /// Makes it ready. `from` is where another set of parameters ended, as the guess of the state here.
    ///
    /// # Errors
    /// No start.
    pub fn new(
        layout: &CircuitLayout,
        mut setup: Setup<f64>,
        period: f64,
        from: Option<&Electrical>,
    ) -> Result<Self, Refusal> {
        setup.sample_every = 0.0;
        setup.channels.clear();
        let inputs = setup.thermal.as_ref().map_or(0, |t| t.temperatures().len());
        let first_integral = setup.integrals.len();
        for k in 0..inputs {
            heat_of_input(&mut setup, k);
        }
        let role = |k: usize| {
            let of = |f: &&crate::arrangement::builder::Element| {
                f.built.components.iter().any(|c| c.0 as usize == k)
            };
            layout.elements.iter().find(of).map(|f| f.role)
        };
        let roles = (0..setup.circuit.components.len()).map(role).collect();
        let mut run = setup.ready()?;
        if let Some((x, q)) = from {
            run.adopt(x, q)?;
        }
        let (jacobian, home, slowest, held) = (None, None, None, Vec::new());
        Ok(Self { run, period, first_integral, inputs, roles, jacobian, held, home, slowest, cycles: 0 })
    }

    /// How it is stepped, in a word.
    pub fn method(&self) -> &'static str {
        self.run.method()
    }

    /// Unknowns and charges now.
    pub fn electrical(&self) -> Electrical {
        (self.run.state().x.clone(), self.run.state().q.clone())
    }

    /// The periodic steady state with the heat inputs held at these temperatures, °C.
    ///
    /// # Errors
    /// None is found.
    pub fn steady(&mut self, celsius: &[f64], effort: Effort) -> Result<OneCycle, CycleError> {
        self.hold(celsius);
        let known = self.jacobian.take();
        let warm_up = if known.is_some() { 1 } else { effort.warm_up };
        let found = steady_from(&mut self.run, self.period, Effort { warm_up, ..effort }, known, &mut ())?;
        self.cycles += u64::from(found.periods);
        self.slowest = found.slowest().or(self.slowest);
        self.jacobian = found.jacobian;
        let cycle = self.cycle()?;
        self.home = Some(self.run.save());
        Ok(cycle)
    }

    /// The end of the last steady cycle, with another state in its place: what a change of parameters meets.
    ///
    /// # Errors
    /// No consistent state.
    pub fn start_from(&mut self, from: &Electrical) -> Result<(), SolverError> {
        if let Some(home) = &self.home {
            self.run.restore(home);
        }
        self.run.adopt(&from.0, &from.1)
    }

    /// Holds temperatures (°C) from here on.
    pub fn hold(&mut self, celsius: &[f64]) {
        self.held = celsius.to_vec();
        self.run.hold(celsius);
    }

    /// The next cycle from where the run stands.
    ///
    /// # Errors
    /// Numerical error.
    pub fn cycle(&mut self) -> Result<OneCycle, CycleError> {
        let (began, inputs) = (self.run.state().t, self.inputs);
        let heat = |run: &Run<f64>| -> Vec<f64> {
            (self.first_integral..self.first_integral + inputs).map(|k| run.integral(k)).collect()
        };
        let mut record =
            InMemory { time: vec![began], samples: vec![heat(&self.run)], ..InMemory::default() };
        let before = self.run.ledger();
        let done = self.run.counters();
        self.run.watch_anew();
        if self.run.advance(began + self.period, &mut record)? == Ended::Stopped {
            return Err(CycleError::Stopped);
        }
        let after = self.run.ledger();
        self.cycles += 1;
        let mut course: Power = Vec::with_capacity(record.time.len());
        for k in 1..record.time.len() {
            let dt = record.time[k] - record.time[k - 1];
            if dt > 0.0 {
                let (then, now) = (&record.samples[k - 1], &record.samples[k]);
                course.push((dt, (0..inputs).map(|i| (now[i] - then[i]) / dt).collect()));
            }
        }
        let span: f64 = course.iter().map(|c| c.0).sum();
        let mean = |i: usize| course.iter().map(|(dt, p)| dt * p[i]).sum::<f64>() / span;
        let mut balance = [0.0; 3];
        for (role, (now, then)) in self.roles.iter().zip(after.entries.iter().zip(&before.entries)) {
            let taken = now.dissipated - then.dissipated;
            let given = now.delivered - then.delivered;
            match role {
                Some(Role::Source) => balance[0] += given - taken,
                Some(Role::Load) => balance[1] += taken - given,
                _ => balance[2] += taken,
            }
        }
        let balance = balance.map(|joules| joules / span);
        let entries = after.entries.iter().zip(&before.entries);
        Ok(OneCycle {
            power: (0..inputs).map(mean).collect(),
            dissipated: entries.map(|(now, then)| (now.dissipated - then.dissipated) / span).collect(),
            seen: self.run.watcher().seen().iter().map(|s| later(s, -began)).collect(),
            readings: self.run.readings(),
            counters: since(&done, self.run.counters()),
            course,
            balance,
        })
    }
}
