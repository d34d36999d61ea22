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
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::method::Method;
use joulestep_engine::step::schedule::Steps;

use crate::common::rig::{scd, tight};

/// A problem: its circuit with what is asked for at the end.
pub trait Problem {
    /// A setup (circuit, start) and how the answer is read at the end.
    fn setup(&self) -> (Setup<f64>, Vec<joulestep_engine::circuit::probe::Probe>);
    /// Factors from what is read to the problem's unknowns.
    fn scale(&self, _k: usize) -> f64 {
        1.0
    }
}

/// A problem with its published answer, as the estimate of errors is calibrated on it.
pub struct Posed {
    /// Its name.
    pub name: &'static str,
    /// The problem.
    pub problem: Box<dyn Problem + Sync>,
    /// When its answer is due.
    pub end: f64,
    /// The answer, of what the problem's probes read.
    pub answer: Vec<f64>,
    /// How far the answer is known, relative.
    pub known: f64,
    /// Base step, and halvings to the finest.
    pub steps: (f64, u32),
    /// Bounds of the local error that suit it.
    pub bounds: &'static [f64],
}

/// The smooth ones among the problems.
pub fn posed() -> Vec<Posed> {
    vec![
        Posed {
            name: "van der Pol, mu 5",
            problem: Box::new(van_der_pol::Oscillator { mu: 5.0 }),
            end: 20.0,
            answer: vec![-1.60129687954, 0.198326676339],
            known: 1e-11,
            steps: (0.25, 16),
            bounds: &[1e-4, 1e-5, 1e-6],
        },
        Posed {
            name: "van der Pol, mu 1000",
            problem: Box::new(van_der_pol::Oscillator { mu: 1e3 }),
            end: 2e3,
            answer: vec![1.706167732170469, -0.8928097010248125e-3],
            known: 1e-11,
            steps: (1.0, 26),
            bounds: &[1e-8, 1e-9],
        },
        Posed {
            name: "Robertson",
            problem: Box::new(robertson::Reaction),
            end: 40.0,
            answer: vec![0.715827068719, 9.18553476456e-06, 0.284163745746],
            known: 1e-11,
            steps: (1.0, 16),
            bounds: &[1e-6, 1e-8],
        },
        Posed {
            name: "transistor amplifier",
            problem: Box::new(transistor_amplifier::Amplifier),
            end: 0.2,
            answer: transistor_amplifier::END.to_vec(),
            known: 1e-11,
            steps: (1e-3, 12),
            bounds: &[1e-3, 1e-4, 1e-5],
        },
        Posed {
            name: "ring modulator",
            problem: Box::new(ring_modulator::Ring),
            end: 1e-3,
            answer: ring_modulator::END.to_vec(),
            known: 1e-9,
            steps: (1e-6, 14),
            bounds: &[1e-6, 1e-7],
        },
        Posed {
            name: "NAND gate",
            problem: Box::new(nand_gate::Nand { reverse: 1.748e-4 }),
            end: 80.0,
            answer: nand_gate::END.to_vec(),
            known: 1e-8,
            steps: (0.5, 12),
            bounds: &[1e-3, 1e-4],
        },
    ]
}

/// The answer at `end`, and the number of steps.
fn solve(p: &impl Problem, method: &'static Method, steps: Steps, bound: f64, end: f64) -> (Vec<f64>, u64) {
    let (mut setup, probes) = p.setup();
    setup.method = method;
    setup.steps = steps;
    setup.tolerance = Some(tight());
    setup.bounds = Bounds::stated(bound, bound);
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
