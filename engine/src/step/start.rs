//! The initial state: the operating point, or stated voltages and currents.

use super::robust::{Halt, Robust, Tools};
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::zeros;
use crate::circuit::graph::{Body, ComponentId, Stated};
use crate::circuit::law::Device;
use crate::control::board::Board;
use crate::equations::system::System;
use crate::error::SolverError;

/// A conductance (S or Ω) large against all others, that holds a stated value during the operating point.
const HOLD: f64 = 1e6;
/// Conductance to ground from every node while the operating point is searched, S.
const LEAK: f64 = 1e-12;
/// Steps of the pseudo-transient continuation at most: 38 where none fails. One that fails again and again at the same
/// length would else go to and fro between two lengths without end.
const TRIES: u32 = 400;

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
/// [`SolverError::NoOperatingPoint`], or [`SolverError::Interrupted`] by `halt`.
pub fn operating_point<L: Lane>(
    system: &System<L>,
    t: f64,
    kelvin: &[L],
    board: &Board<L>,
    halt: Halt,
) -> Result<Vec<L>, SolverError> {
    let mut tools = Tools::new(system, kelvin, board);
    let mut point = Robust::new(system, &mut tools, halt);
    let mut holds = Vec::new();
    for (k, component) in system.circuit.components.iter().enumerate() {
        match component.stated {
            Some(Stated::Voltage(v)) => {
                let (a, b) =
                    (system.unknown_of_node(component.pins[0]), system.unknown_of_node(component.pins[1]));
                let g = L::splat(HOLD);
                let zero = L::splat(0.0);
                holds.extend([(a, a, g, v), (a, b, -g, zero), (b, a, -g, zero), (b, b, g, -v)]);
            }
            Some(Stated::Current(own, i)) => {
                let row = system.own_unknown(ComponentId(k as u32), own);
                holds.push((row, row, L::splat(HOLD), i));
            }
            None => {}
        }
    }
    point.hold(holds);
    let zeros = vec![L::splat(0.0); system.n + 1];
    let full = source_rows(system, t, 1.0, board);
    if L::WIDTH > 1 {
        // The way is long, and lanes are near each other: the first one goes, the others come after from its end.
        point.first_only = true;
        let found = search(&mut point, &zeros, (t, &full), board).is_ok();
        point.first_only = false;
        if found && point.follow(&zeros, &full) {
            return Ok(point.x);
        }
    }
    search(&mut point, &zeros, (t, &full), board)?;
    Ok(point.x)
}

fn search<L: Lane>(
    point: &mut Robust<'_, L>,
    zeros: &[L],
    (t, full): (f64, &[L]),
    board: &Board<L>,
) -> Result<(), SolverError> {
    let system = point.system;
    // The leak steadies the search; the last solution is without it where the circuit allows that.
    let finish = |point: &mut Robust<'_, L>| {
        let found = point.x.clone();
        if point.newton(0.0, zeros, full, 0.0, f64::INFINITY).is_err() {
            point.x = found;
        }
    };
    for limit in [f64::INFINITY, 2.0] {
        point.x.fill(L::splat(0.0));
        if point.newton(0.0, zeros, full, LEAK, limit).is_ok() {
            finish(point);
            return Ok(());
        }
    }
    point.x.fill(L::splat(0.0));
    let ramped = (1..=50).all(|k| {
        let part = source_rows(system, t, f64::from(k) / 50.0, board);
        point.newton(0.0, zeros, &part, LEAK, 5.0).is_ok()
    });
    if ramped {
        finish(point);
        return Ok(());
    }
    // From every node held to ground to none.
    point.x.fill(L::splat(0.0));
    let freed = (0..=12).all(|k| point.newton(0.0, zeros, full, 10f64.powi(-k), 5.0).is_ok());
    if freed {
        finish(point);
        return Ok(());
    }
    point.x.fill(L::splat(0.0));
    let mut alpha = 1e12;
    let mut last = (0, f64::NAN);
    for _ in 0..TRIES {
        if alpha <= 1e-6 {
            break;
        }
        let expected = point.charges();
        let before = point.x.clone();
        match point.newton(alpha, &expected, full, LEAK, 10.0) {
            Ok(()) => alpha /= 3.0,
            Err(worst) => {
                last = worst;
                point.x = before;
                alpha *= 10.0;
                if alpha > 1e15 {
                    break;
                }
            }
        }
    }
    match point.newton(0.0, zeros, full, LEAK, 2.0) {
        Ok(()) => {
            finish(point);
            Ok(())
        }
        Err(_) if point.halted() => Err(SolverError::Interrupted),
        Err(_) if point.creep(0.0, zeros, full).is_ok() => Ok(()),
        Err(worst) => {
            let (k, update) = if worst.1.is_nan() { last } else { worst };
            let (node, device) = (system.name(k).to_string(), system.device_at(k));
            Err(SolverError::NoOperatingPoint { node, device, update, cause: point.cause_at(k, update) })
        }
    }
}

/// The charges that belong to the stated voltages and currents, everything else at zero.
pub fn stated_charges<L: Lane>(system: &System<L>, kelvin: &[L]) -> Vec<L> {
    let devices = system.devices_at(kelvin);
    let mut q = charges(system, &devices, &vec![L::splat(0.0); system.n + 1]);
    for (device, placed) in devices.iter().zip(&system.devices) {
        let Some(stated) = system.circuit.components[placed.component.0 as usize].stated else { continue };
        let (local, value) = match stated {
            Stated::Voltage(v) => (0, v),
            Stated::Current(own, i) => (placed.ports + own, i),
        };
        let p = placed.locals.len();
        let [none, stated] = [L::splat(0.0), value].map(|x| {
            let (mut u, mut out) = (vec![L::splat(0.0); p], vec![L::splat(0.0); 2 * p]);
            u[local] = x;
            device.values(&u, &mut out);
            out
        });
        for row in 0..p {
            let more = stated[p + row] - none[p + row];
            q[placed.locals[row] as usize] += more;
            if row < placed.ports {
                q[placed.reference as usize] -= more;
            }
        }
    }
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
