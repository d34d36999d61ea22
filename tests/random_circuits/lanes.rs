//! Circuits of chance side by side: each variant has the bits that it has alone, whatever rescue it takes.

use joulestep_engine::circuit::graph::Body;
use joulestep_engine::recorder::Recorder;
use joulestep_engine::run::abreast::{Abreast, Over, Seating};
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Run;
use wide::f64x4;

use super::execute::Patience;
use super::generate::{END, setup};

/// The circuit of a seed with other capacitances and inductances.
fn variant(seed: u64, k: usize) -> Setup<f64> {
    let mut setup = setup(seed);
    for component in &mut setup.circuit.components {
        if let Body::Linear(linear) = &mut component.body {
            linear.c.iter_mut().for_each(|entry| entry.2 *= 1.0 + 0.01 * k as f64);
        }
    }
    setup
}

/// What a run shows of itself, to the last bit.
fn shown(run: &Run<f64>, ended: &impl std::fmt::Debug) -> String {
    let bits = |list: &[f64]| list.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
    let s = run.state();
    format!("{ended:?} {:?} {:?} {:?} {:?}", run.counters(), bits(&s.x), bits(&s.q), bits(&s.energy))
}

#[test]
fn circuits_by_chance_have_the_same_bits_side_by_side() {
    let (mut sat, mut rescued) = (0, 0);
    for seed in (1..=40).chain([96, 114, 186]) {
        let mut alone = Vec::new();
        let mut runs = Vec::new();
        for k in 0..4 {
            let Ok(mut run) = variant(seed, k).ready() else { continue };
            runs.push(variant(seed, k).ready().unwrap());
            let ended = run.advance(END, &mut Patience::new());
            rescued += u64::from(run.counters().halved > 0 || run.counters().reorders > 0);
            alone.push(shown(&run, &ended));
        }
        let Some(mut lanes) = runs.first().and_then(Abreast::<f64x4>::like) else { continue };
        let mut patience = [(); 4].map(|()| Patience::new());
        let mut who = [0; 4];
        for (k, run) in runs.into_iter().enumerate() {
            let mut own = Patience::new();
            match lanes.seat(run, END, &mut own) {
                Seating::Sits(lane) => {
                    (who[lane], patience[lane]) = (k, own);
                    sat += 1;
                }
                Seating::Over(run, ended) => assert_eq!(shown(&run, &ended), alone[k], "{seed}, variant {k}"),
                Seating::Refused(mut run) => {
                    let ended = run.advance(END, &mut own);
                    assert_eq!(shown(&run, &ended), alone[k], "{seed}, variant {k}, given back");
                }
            }
        }
        while lanes.count() > 0 {
            let mut recorders: Vec<_> = patience.iter_mut().map(|p| p as &mut dyn Recorder<f64>).collect();
            for Over { lane, run, ended } in lanes.advance(&mut recorders) {
                let k = who[lane];
                assert_eq!(shown(&run, &ended), alone[k], "{seed}, variant {k} in lane {lane}");
            }
        }
    }
    println!("{sat} variants in lanes, {rescued} runs with steps that had no solution at first");
    assert!(sat > 80 && rescued > 4, "{sat} {rescued}");
}
