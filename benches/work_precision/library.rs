//! The Rust ODE library diffsol on the eight-state explicit form: its BDF and its two implicit Runge–Kutta methods,
//! restarted at every corner of the gate course. Time runs in ns from the corner, so that no default of the library
//! (smallest step, first trial step) meets seconds of 1e-9.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};

use diffsol::{
    DiffsolError, NalgebraContext, NalgebraLU, NalgebraMat, NalgebraVec, NonLinearOp, OdeBuilder,
    OdeEquations, OdeSolverMethod, OdeSolverStopReason,
};

use crate::case::{Case, GATE, RAMP};
use crate::explicit_form::{Along, N, cascode_power, operating_point, rate, v2};
use crate::reference::Reference;
use crate::table::Row;

type M = NalgebraMat<f64>;
type V = NalgebraVec<f64>;

const TOLERANCES: [f64; 7] = [1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6];
const NS: f64 = 1e-9;

/// Gate source over one stretch: value at its start, V, and slope, V/ns.
#[derive(Clone, Copy, Default)]
struct Gate {
    start: f64,
    slope: f64,
}

impl Gate {
    fn at(self, t: f64) -> f64 {
        self.start + self.slope * t
    }
}

/// One stretch of the gate course between corners; `edge` counts the edges before its end.
struct Stretch {
    from: f64,
    to: f64,
    gate: Gate,
    edge: usize,
}

fn stretches(case: Case) -> Vec<Stretch> {
    let edges = case.edges();
    let mut all = vec![Stretch { from: 0.0, to: edges[0], gate: Gate::default(), edge: 0 }];
    for (i, &from) in edges.iter().enumerate() {
        let (low, high) = (GATE[i % 2], GATE[1 - i % 2]);
        let slope = (high - low) / (RAMP / NS);
        let next = edges.get(i + 1).copied().unwrap_or(case.end());
        all.push(Stretch { from, to: from + RAMP, gate: Gate { start: low, slope }, edge: i + 1 });
        all.push(Stretch {
            from: from + RAMP,
            to: next,
            gate: Gate { start: high, slope: 0.0 },
            edge: i + 1,
        });
    }
    all
}

/// Waveform and energies, read from the interpolant in an untimed pass.
struct Readout<'r> {
    times: &'r [f64],
    v2: Vec<f64>,
    energy: Vec<f64>,
}

/// Four-point Gauss rule on [−1, 1].
const GAUSS: [(f64, f64); 4] = [
    (-0.861_136_311_594_052_6, 0.347_854_845_137_453_85),
    (-0.339_981_043_584_856_26, 0.652_145_154_862_546_1),
    (0.339_981_043_584_856_26, 0.652_145_154_862_546_1),
    (0.861_136_311_594_052_6, 0.347_854_845_137_453_85),
];

impl Readout<'_> {
    fn step(
        &mut self,
        stretch: &Stretch,
        (before, after): (f64, f64),
        at: &impl Fn(f64) -> Result<[f64; N], DiffsolError>,
    ) -> Result<(), DiffsolError> {
        let half = 0.5 * (after - before);
        for (x, w) in GAUSS {
            self.energy[stretch.edge] += w * half * NS * cascode_power(&at(before + half * (1.0 + x))?);
        }
        while let Some(&t) = self.times.get(self.v2.len()) {
            let local = (t - stretch.from) / NS;
            if local > after * (1.0 + 1e-12) {
                break;
            }
            let local = local.clamp(before, after);
            self.v2.push(v2(&at(local)?, stretch.gate.at(local)));
        }
        Ok(())
    }
}

/// Runs one method over all stretches.
fn integrate<'a, Eqn, S>(
    mut solver: S,
    stretches: &[Stretch],
    gate: &Cell<Gate>,
    mut readout: Option<&mut Readout>,
) -> Result<(u64, u64), DiffsolError>
where
    Eqn: OdeEquations<T = f64, V = V, M = M, C = NalgebraContext> + 'a,
    S: OdeSolverMethod<'a, Eqn>,
{
    let problem = solver.problem();
    let order = solver.order();
    for stretch in stretches {
        gate.set(stretch.gate);
        let mut state = solver.state_mut();
        *state.t = 0.0;
        *state.h = 1.0;
        problem.eqn().rhs().call_inplace(state.y, 0.0, state.dy);
        state.set_step_size(1.0, &problem.atol, problem.rtol, problem.eqn(), order);
        solver.set_stop_time((stretch.to - stretch.from) / NS)?;
        loop {
            let before = solver.state().t;
            let reason = solver.step()?;
            if let Some(readout) = readout.as_deref_mut() {
                let after = solver.state().t;
                let at = |t: f64| -> Result<[f64; N], DiffsolError> {
                    let y = solver.interpolate(t)?;
                    Ok(std::array::from_fn(|i| y[i]))
                };
                readout.step(stretch, (before, after), &at)?;
            }
            if matches!(reason, OdeSolverStopReason::TstopReached) {
                break;
            }
        }
    }
    let counts = solver.get_statistics();
    Ok((counts.number_of_steps as u64, counts.number_of_nonlinear_solver_iterations as u64))
}

#[derive(Clone, Copy)]
enum Method {
    Bdf,
    TrBdf2,
    Esdirk34,
}

fn run(
    method: Method,
    case: Case,
    tolerance: f64,
    stretches: &[Stretch],
    readout: Option<&mut Readout>,
) -> Result<(f64, u64, u64), DiffsolError> {
    let gate = Cell::new(Gate::default());
    let r = case.load_resistance();
    let mut problem = OdeBuilder::<M>::new()
        .rtol(tolerance)
        .atol([tolerance])
        .rhs_implicit(
            |y, _p, t, out| {
                let x: [f64; N] = std::array::from_fn(|i| y[i]);
                out.iter_mut().zip(rate(x, gate.get().at(t), r)).for_each(|(o, f)| *o = f * NS);
            },
            |y, _p, t, v, out| {
                let x: [Along; N] = std::array::from_fn(|i| Along(y[i], v[i]));
                out.iter_mut().zip(rate(x, gate.get().at(t), r)).for_each(|(o, f)| *o = f.1 * NS);
            },
        )
        .init(|_p, _t, y| y.copy_from_slice(&operating_point(r)), N)
        .build()?;
    // these limits count over the whole run, not over a step
    problem.ode_options.max_nonlinear_solver_failures = usize::MAX / 2;
    problem.ode_options.max_error_test_failures = usize::MAX / 2;
    let start = clock::now();
    let (steps, iterations) = match method {
        Method::Bdf => integrate(problem.bdf::<NalgebraLU<f64>>()?, stretches, &gate, readout)?,
        Method::TrBdf2 => integrate(problem.tr_bdf2::<NalgebraLU<f64>>()?, stretches, &gate, readout)?,
        Method::Esdirk34 => integrate(problem.esdirk34::<NalgebraLU<f64>>()?, stretches, &gate, readout)?,
    };
    Ok((clock::now() - start, steps, iterations))
}

/// The rows of one case.
pub fn rows(reference: &Reference) -> Vec<Row> {
    let case = reference.case;
    let stretches = stretches(case);
    let repeats = if case == Case::Two { 5 } else { 1 };
    let methods = [
        ("diffsol BDF", Method::Bdf),
        ("diffsol TR-BDF2", Method::TrBdf2),
        ("diffsol ESDIRK34", Method::Esdirk34),
    ];
    let mut rows = Vec::new();
    for (name, method) in methods {
        for tolerance in TOLERANCES {
            let mut row = Row::new(name, format!("tol {tolerance:.0e}"));
            let mut readout = Readout {
                times: &reference.grid,
                v2: Vec::with_capacity(reference.grid.len()),
                energy: vec![0.0; case.edges().len() + 1],
            };
            // the library asserts on some failures instead of returning them
            let tried = catch_unwind(AssertUnwindSafe(|| {
                let counts = run(method, case, tolerance, &stretches, Some(&mut readout))?;
                for _ in 0..repeats {
                    row.seconds = row.seconds.min(run(method, case, tolerance, &stretches, None)?.0);
                }
                Ok::<_, DiffsolError>(counts)
            }));
            match tried {
                Ok(Ok((_, steps, iterations))) if readout.v2.len() == reference.grid.len() => {
                    (row.steps, row.iterations) = (steps, iterations);
                    row.v2 = Some(reference.on_grid(&readout.v2));
                    row.energies = case.energies(&readout.energy[1..]);
                }
                Ok(Ok(_)) => row.failed = Some(format!("stopped after {} rows", readout.v2.len())),
                Ok(Err(why)) => row.failed = Some(why.to_string()),
                Err(_) => row.failed = Some("panicked".into()),
            }
            rows.push(row);
        }
    }
    rows
}
