//! The initial state: the operating point, or stated voltages and currents.

use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::zeros;
use crate::circuit::graph::{Body, ComponentId, Stated};
use crate::circuit::law::{Device, StampLocation, stamp_len};
use crate::control::board::Board;
use crate::equations::dense;
use crate::equations::system::System;
use crate::error::SolverError;

/// Dense Newton iteration on f(x) + α(q(x) − q̂) = 0; used where robustness counts and time does not.
pub(super) struct Dense<'a, L: Lane> {
    system: &'a System<L>,
    devices: Vec<Box<dyn Device<L>>>,
    choices: Vec<usize>,
    slots: Vec<Vec<u32>>,
    /// Held quantities: (row, column, conductance, value).
    holds: Vec<(usize, usize, L, L)>,
    /// The first lane alone is solved for, and all lanes get its solution.
    first_only: bool,
    pub(super) x: Vec<L>,
}

/// A conductance (S or Ω) large against all others, that holds a stated value during the operating point.
const HOLD: f64 = 1e6;
/// Conductance to ground from every node while the operating point is searched, S.
const LEAK: f64 = 1e-12;
/// Steps of the pseudo-transient continuation at most: 38 where none fails. One that fails again and again at the same
/// length would else go to and fro between two lengths without end.
const TRIES: u32 = 400;
/// Iterations after which a residual at rounding counts as a solution: where conductances differ by more than doubles
/// resolve, changes of x never become small.
const PATIENCE: u32 = 12;
/// The largest componentwise backward error that is rounding, in units of its last place.
const LAST_PLACES: f64 = 8.0;

impl<'a, L: Lane> Dense<'a, L> {
    pub(super) fn new(system: &'a System<L>, kelvin: &[L], board: &Board<L>) -> Self {
        let width = system.n + 1;
        let slots = system.devices.iter().map(|d| {
            let all = || d.locals.iter().copied().chain([d.reference]);
            all().flat_map(|r| all().map(move |c| r * width as u32 + c)).collect()
        });
        Self {
            system,
            devices: system.devices_at(kelvin),
            choices: board.choices().to_vec(),
            slots: slots.collect(),
            holds: Vec::new(),
            first_only: false,
            x: zeros(width),
        }
    }

    /// Iterates from the present x. `sources(row)` is added to f. Returns the last change when it does not converge.
    pub(super) fn newton(
        &mut self,
        alpha: f64,
        expected: &[L],
        sources: &[L],
        leak: f64,
        limit: f64,
    ) -> Result<(), (usize, f64)> {
        let s = self.system;
        let (n, width) = (s.n, s.n + 1);
        let alpha = L::splat(alpha);
        let mut stamps: Vec<Vec<L>> =
            s.devices.iter().map(|d| vec![L::splat(0.0); stamp_len(d.locals.len())]).collect();
        let mut worst = (0, f64::NAN);
        for iteration in 0..if limit.is_finite() { 600 } else { 60 } {
            let mut a = vec![L::splat(0.0); width * width];
            let mut b: Vec<L> = (0..width).map(|k| expected[k] * alpha - sources[k]).collect();
            let mut add = |r: u32, c: u32, x: L| a[r as usize * width + c as usize] += x;
            s.g.iter().for_each(|&(r, c, x)| add(r, c, x));
            s.c.iter().for_each(|&(r, c, x)| add(r, c, alpha * x));
            for &(choice, i, j) in &s.chosen {
                let g = s.circuit.choices[choice.0 as usize].options[self.choices[choice.0 as usize]];
                [(i, i, g), (i, j, -g), (j, i, -g), (j, j, g)].into_iter().for_each(|(r, c, x)| add(r, c, x));
            }
            for k in (0..n).filter(|&k| s.is_voltage[k]) {
                add(k as u32, k as u32, L::splat(leak));
            }
            for &(row, column, g, value) in &self.holds {
                add(row as u32, column as u32, g);
                b[row] += g * value;
            }
            for (((device, placed), slots), stamp) in
                self.devices.iter().zip(&s.devices).zip(&self.slots).zip(&mut stamps)
            {
                let location = StampLocation { locals: &placed.locals, reference: placed.reference, slots };
                device.stamp(&location, alpha, &self.x, stamp, &mut a, &mut b);
            }
            if iteration >= PATIENCE && self.solved_to_rounding(&a, &b) {
                return Ok(());
            }
            let square: Vec<L> = (0..n).flat_map(|r| a[r * width..r * width + n].iter().copied()).collect();
            let mut fresh = vec![L::splat(0.0); width];
            let lanes = if self.first_only { 1 } else { L::WIDTH };
            dense::solve_first(lanes, n, &square, &b, &mut fresh).map_err(|k| (k, f64::INFINITY))?;
            if self.first_only {
                fresh.iter_mut().for_each(|x| *x = L::splat(x.lane(0)));
            }
            worst = (0, 0.0);
            let mut moving = false;
            for (k, &fresh) in fresh.iter().enumerate().take(n) {
                let change = fresh - self.x[k];
                let size = change.abs().widest();
                if size > worst.1 {
                    worst = (k, size);
                }
                let still = size <= 1e-9 + 1e-9 * fresh.abs().widest();
                moving |= !still;
                let bound = L::splat(if s.is_voltage[k] { limit } else { f64::INFINITY });
                self.x[k] += change.min(bound).max(-bound);
            }
            if !moving {
                return Ok(());
            }
            if !self.x.iter().all(|x| x.is_finite()) {
                return Err((worst.0, f64::INFINITY));
            }
        }
        Err(worst)
    }

    /// Whether the present x solves a·x = b as well as rounding allows: componentwise backward error (Oettli & Prager,
    /// Numer. Math. 6 (1964) 405). a and b are linearised at x, so that this is the residual of the circuit's
    /// equations.
    fn solved_to_rounding(&self, a: &[L], b: &[L]) -> bool {
        let (n, width) = (self.system.n, self.system.n + 1);
        let lanes = if self.first_only { 1 } else { L::WIDTH };
        (0..n).all(|r| {
            let row = &a[r * width..r * width + n];
            (0..lanes).all(|lane| {
                let (mut residual, mut size) = (-b[r].lane(lane), b[r].lane(lane).abs());
                for (a, x) in row.iter().zip(&self.x) {
                    let term = a.lane(lane) * x.lane(lane);
                    residual += term;
                    size += term.abs();
                }
                residual.abs() <= LAST_PLACES * f64::EPSILON * size
            })
        })
    }

    /// From a solution of the first lane to those of all; a lane that is there keeps its bits. False where a lane gets
    /// nowhere.
    fn follow(&mut self, zeros: &[L], sources: &[L]) -> bool {
        let led = self.x.clone();
        if self.newton(0.0, zeros, sources, 0.0, f64::INFINITY).is_err() {
            return false;
        }
        for lane in 0..L::WIDTH {
            let near = |(x, led): (&L, &L)| {
                let (x, led) = (x.lane(lane), led.lane(lane));
                (x - led).abs() <= 1e-9 + 1e-9 * x.abs()
            };
            if self.x.iter().zip(&led).all(near) {
                self.x.iter_mut().zip(&led).for_each(|(x, led)| x.set_lane(lane, led.lane(lane)));
            }
        }
        true
    }

    fn charges(&self) -> Vec<L> {
        charges(self.system, &self.devices, &self.x)
    }
}

/// q(x): what stands under d/dt in each row.
pub(crate) fn charges<L: Lane>(system: &System<L>, devices: &[Box<dyn Device<L>>], x: &[L]) -> Vec<L> {
    let mut q = zeros(system.n + 1);
    for &(r, c, v) in &system.c {
        q[r as usize] += v * x[c as usize];
    }
    for (device, placed) in devices.iter().zip(&system.devices) {
        let p = placed.locals.len();
        let mut out = vec![L::splat(0.0); 2 * p];
        device.values(&placed.locals_at(x), &mut out);
        for k in 0..p {
            q[placed.locals[k] as usize] += out[p + k];
            if k < placed.ports {
                q[placed.reference as usize] -= out[p + k];
            }
        }
    }
    q[system.n] = L::splat(0.0);
    q
}

pub(super) fn source_rows<L: Lane>(system: &System<L>, t: f64, scale: f64, board: &Board<L>) -> Vec<L> {
    let mut rows = vec![L::splat(0.0); system.n + 1];
    for &(row, wave, gain) in &system.sources {
        let w = &system.circuit.waves[wave.0 as usize];
        rows[row as usize] += gain * board.course_after(w, wave, t) * L::splat(scale);
    }
    rows
}

/// The operating point at t: all derivatives zero, except that stated voltages and currents are held.
/// Tried in turn: Newton's iteration; with limited changes; sources ramped up from zero; conductances from all nodes to
/// ground that fade; pseudo-transient continuation (a step that grows until it is infinite). Each has a bound on its
/// iterations.
///
/// # Errors
/// [`SolverError::NoOperatingPoint`].
pub fn operating_point<L: Lane>(
    system: &System<L>,
    t: f64,
    kelvin: &[L],
    board: &Board<L>,
) -> Result<Vec<L>, SolverError> {
    let mut dense = Dense::new(system, kelvin, board);
    for (k, component) in system.circuit.components.iter().enumerate() {
        match component.stated {
            Some(Stated::Voltage(v)) => {
                let (a, b) =
                    (system.unknown_of_node(component.pins[0]), system.unknown_of_node(component.pins[1]));
                let g = L::splat(HOLD);
                let zero = L::splat(0.0);
                dense.holds.extend([(a, a, g, v), (a, b, -g, zero), (b, a, -g, zero), (b, b, g, -v)]);
            }
            Some(Stated::Current(own, i)) => {
                let row = system.own_unknown(ComponentId(k as u32), own);
                dense.holds.push((row, row, L::splat(HOLD), i));
            }
            None => {}
        }
    }
    let zeros = vec![L::splat(0.0); system.n + 1];
    let full = source_rows(system, t, 1.0, board);
    if L::WIDTH > 1 {
        // The way is long, and lanes are near each other: the first one goes, the others come after from its end.
        dense.first_only = true;
        let found = search(&mut dense, &zeros, (t, &full), board).is_ok();
        dense.first_only = false;
        if found && dense.follow(&zeros, &full) {
            return Ok(dense.x);
        }
    }
    search(&mut dense, &zeros, (t, &full), board)?;
    Ok(dense.x)
}

fn search<L: Lane>(
    dense: &mut Dense<'_, L>,
    zeros: &[L],
    (t, full): (f64, &[L]),
    board: &Board<L>,
) -> Result<(), SolverError> {
    let system = dense.system;
    // The leak steadies the search; the last solution is without it where the circuit allows that.
    let finish = |dense: &mut Dense<'_, L>| {
        let found = dense.x.clone();
        if dense.newton(0.0, zeros, full, 0.0, f64::INFINITY).is_err() {
            dense.x = found;
        }
    };
    for limit in [f64::INFINITY, 2.0] {
        dense.x.fill(L::splat(0.0));
        if dense.newton(0.0, zeros, full, LEAK, limit).is_ok() {
            finish(dense);
            return Ok(());
        }
    }
    dense.x.fill(L::splat(0.0));
    let ramped = (1..=50).all(|k| {
        let part = source_rows(system, t, f64::from(k) / 50.0, board);
        dense.newton(0.0, zeros, &part, LEAK, 5.0).is_ok()
    });
    if ramped {
        finish(dense);
        return Ok(());
    }
    // From every node held to ground to none.
    dense.x.fill(L::splat(0.0));
    let freed = (0..=12).all(|k| dense.newton(0.0, zeros, full, 10f64.powi(-k), 5.0).is_ok());
    if freed {
        finish(dense);
        return Ok(());
    }
    dense.x.fill(L::splat(0.0));
    let mut alpha = 1e12;
    let mut last = (0, f64::NAN);
    for _ in 0..TRIES {
        if alpha <= 1e-6 {
            break;
        }
        let expected = dense.charges();
        let before = dense.x.clone();
        match dense.newton(alpha, &expected, full, LEAK, 10.0) {
            Ok(()) => alpha /= 3.0,
            Err(worst) => {
                last = worst;
                dense.x = before;
                alpha *= 10.0;
                if alpha > 1e15 {
                    break;
                }
            }
        }
    }
    match dense.newton(0.0, zeros, full, LEAK, 2.0) {
        Ok(()) => {
            finish(dense);
            Ok(())
        }
        Err(worst) => {
            let (k, update) = if worst.1.is_nan() { last } else { worst };
            Err(SolverError::NoOperatingPoint {
                node: system.name(k).to_string(),
                device: system.device_at(k),
                update,
            })
        }
    }
}

/// The operating point from one that is near, such as that of slightly different sources: Newton's iteration from
/// there, and the whole search of [`operating_point`] where that fails.
///
/// # Errors
/// [`SolverError::NoOperatingPoint`].
#[inline(never)]
pub fn operating_point_near<L: Lane>(
    system: &System<L>,
    t: f64,
    kelvin: &[L],
    board: &Board<L>,
    near: &[L],
) -> Result<Vec<L>, SolverError> {
    let mut dense = Dense::new(system, kelvin, board);
    if near.len() == dense.x.len() && system.circuit.components.iter().all(|c| c.stated.is_none()) {
        dense.x.copy_from_slice(near);
        let rows = source_rows(system, t, 1.0, board);
        let zeros = zeros(system.n + 1);
        if dense.newton(0.0, &zeros, &rows, 0.0, f64::INFINITY).is_ok() {
            return Ok(dense.x);
        }
    }
    operating_point(system, t, kelvin, board)
}

/// The charges that belong to the stated voltages and currents, everything else at zero.
pub fn stated_charges<L: Lane>(system: &System<L>, kelvin: &[L]) -> Vec<L> {
    let devices = system.devices_at(kelvin);
    let mut q = charges(system, &devices, &vec![L::splat(0.0); system.n + 1]);
    for (k, component) in system.circuit.components.iter().enumerate() {
        let (Some(stated), Body::Linear(linear)) = (component.stated, &component.body) else { continue };
        let pins = component.pins.len();
        let (local, value) = match stated {
            Stated::Voltage(v) => (0, v),
            Stated::Current(own, i) => (pins + own, i),
        };
        for &(r, c, x) in linear.c.iter().filter(|e| e.1 == local) {
            let row = if r < pins {
                system.unknown_of_node(component.pins[r])
            } else {
                system.own_unknown(ComponentId(k as u32), r - pins)
            };
            debug_assert_eq!(c, local);
            q[row] += x * value;
        }
    }
    q[system.n] = L::splat(0.0);
    q
}
