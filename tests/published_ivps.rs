//! Published initial-value problems, most of them circuits, built from the engine's own elements and compared with
//! their published end values.
//!
//! Sources: F. Mazzia & C. Magherini, *Test Set for Initial Value Problem Solvers*, release 2.4, Univ. Bari / INdAM,
//! Feb 2008 (equations and tables of the problems below, and the Fortran of the same release); W. M. Lioen &
//! J. J. B. de Swart, *Test Set for IVP Solvers*, release 2.1, CWI, 1999 (charge pump).

mod charge_pump;
mod nand_gate;
mod ring_modulator;
mod robertson;
mod transistor_amplifier;
mod van_der_pol;

use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::method::Method;
use joulestep_engine::step::schedule::Steps;

use crate::common::rig::{scd, tight};

/// A problem: its circuit with what is asked for at the end.
trait Problem {
    /// A setup (circuit, start) and how the answer is read at the end.
    fn setup(&self) -> (Setup<f64>, Vec<joulestep_engine::circuit::probe::Probe>);
    /// Factors from what is read to the problem's unknowns.
    fn scale(&self, _k: usize) -> f64 {
        1.0
    }
}

/// The answer at `end`, and the number of steps.
fn solve(p: &impl Problem, method: &'static Method, steps: Steps, bound: f64, end: f64) -> (Vec<f64>, u64) {
    let (mut setup, probes) = p.setup();
    setup.method = method;
    setup.steps = steps;
    setup.tolerance = Some(tight());
    (setup.bounds.voltage, setup.bounds.current) = (bound, bound);
    let mut run = setup.ready().unwrap();
    run.advance(end, &mut ()).unwrap();
    let y = probes.iter().enumerate().map(|(k, probe)| run.read(probe) * p.scale(k)).collect();
    let counters = run.counters();
    println!("  {counters:?}");
    (y, counters.steps)
}

/// Solves at `h` and `h/2` and tells the correct digits; the gain per halving is log₁₀ 2^order where the error is
/// the method's own.
fn digits(p: &impl Problem, method: &'static Method, h: f64, end: f64, reference: &[f64]) -> [f64; 2] {
    [h, 0.5 * h].map(|h| {
        let (y, steps) = solve(p, method, crate::common::rig::fixed(h), 1.0, end);
        let digits = scd(&y, reference);
        println!("{} h = {h:.2e}: {steps} steps, scd {digits:.2}", method.name);
        digits
    })
}
