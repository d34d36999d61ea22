//! Variants side by side against each variant alone.

use std::sync::Arc;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Body, ChoiceId, Circuit, ComponentId, GROUND, HeatId, WaveId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::lockstep::DeviceLanes;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::{Controller, Seen};
use joulestep_engine::error::SolverError;
use joulestep_engine::recorder::Recorder;
use joulestep_engine::run::abreast::{Abreast, Seating};
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::{Ended, Run};
use joulestep_engine::step::method::{ESDIRK4, Method, RODAS4, TR_BDF2};
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::NetworkBuilder;
use joulestep_engine::thermal::run::Thermal;
use wide::{f64x4, f64x8};

use crate::common::ref1::{Duty, ref1};
use crate::common::rig::v;

/// Newton's iteration, and one that is linearly implicit.
const METHODS: [&Method; 2] = [&ESDIRK4, &RODAS4];

/// Parts of REF-1 that vary, with how much from lane to lane.
const VARIED: [(&str, f64); 4] = [("Rg", 0.05), ("Rgj", -0.04), ("Lls", 0.06), ("Lload", 0.03)];

/// REF-1 whose varied parts are scaled by 1 + spread·k in variant k.
fn setup(variant: f64) -> Setup<f64> {
    let mut r = ref1::<f64>(Duty::DoublePulse).unwrap();
    for (name, spread) in VARIED {
        let id = r.circuit.find(name).unwrap();
        let factor = 1.0 + spread * variant;
        let Body::Linear(linear) = &mut r.circuit.components[id.0 as usize].body else { panic!("{name}") };
        // A resistor has conductances in G, an inductor its inductance in C.
        if linear.c.is_empty() {
            linear.g.iter_mut().for_each(|e| e.2 /= factor);
        }
        linear.c.iter_mut().for_each(|e| e.2 *= factor);
    }
    let mut setup = Setup::new(r.circuit);
    // Read at the stages too, by every kind of readout that a lane may differ in.
    let [_, switch, ..] = r.nodes;
    let gate = setup.circuit.waves.len() as u32 - 1;
    let fall = Probe::Conduction(setup.circuit.find("Rg").unwrap(), 0);
    setup.integrals = vec![(Probe::Voltage(switch, GROUND), fall), (Probe::Wave(WaveId(gate)), v(switch))];
    setup
}

/// A run that is over, and how it ended.
type Over = (Run<f64>, Result<Ended, SolverError>);

/// Variants with the instants of their ends, s, through the lanes of `K`: as many at a time as there are lanes, the next
/// where one is over; how each ended, and the share of the lanes in use.
fn together<K: DeviceLanes>(all: Vec<(Setup<f64>, f64)>) -> (Vec<Over>, f64) {
    let mut runs = all.into_iter().map(|(setup, end)| (setup.ready().unwrap(), end)).enumerate().peekable();
    let mut lanes = Abreast::<K>::like(&runs.peek().unwrap().1.0).unwrap();
    let mut who = vec![0; K::WIDTH];
    let mut done = Vec::new();
    loop {
        while lanes.has_room()
            && let Some((k, (run, end))) = runs.next()
        {
            match lanes.seat(run, end, &mut ()) {
                Seating::Sits(lane) => who[lane] = k,
                other => panic!("{other:?}"),
            }
        }
        let mut recorders = vec![(); K::WIDTH];
        let mut recorders: Vec<_> = recorders.iter_mut().map(|r| r as &mut dyn Recorder<f64>).collect();
        let over = lanes.advance(&mut recorders);
        if over.is_empty() {
            break;
        }
        done.extend(over.into_iter().map(|mut o| {
            o.run.finish(&mut ());
            (who[o.lane], o.run, o.ended)
        }));
    }
    done.sort_by_key(|one| one.0);
    let (rounds, steps, iterations) = lanes.work();
    let own: u64 = done.iter().map(|one| one.1.counters().iterations).sum();
    let used = own as f64 / (iterations * K::WIDTH as u64) as f64;
    println!("{rounds} steps together; {used:.3} of the lanes in use in {iterations} iterations together");
    let busy = steps as f64 / (rounds * K::WIDTH as u64) as f64;
    (done.into_iter().map(|(_, run, ended)| (run, ended)).collect(), busy)
}

/// All that a run that is over shows of itself, to the last bit.
fn same(a: &Run<f64>, b: &Run<f64>, what: &str) {
    assert_eq!(a.counters(), b.counters(), "{what}");
    let bits = |list: &[f64]| list.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
    let (s, l) = (a.state(), b.state());
    assert_eq!(s.t.to_bits(), l.t.to_bits(), "{what}");
    for (name, one, other) in [
        ("x", &s.x, &l.x),
        ("q", &s.q, &l.q),
        ("k", &s.k, &l.k),
        ("power", &s.power, &l.power),
        ("energy", &s.energy, &l.energy),
        ("kelvin", &s.kelvin, &l.kelvin),
    ] {
        assert_eq!(bits(one), bits(other), "{what}: {name}");
    }
    assert_eq!(bits(a.celsius()), bits(b.celsius()), "{what}: temperatures");
    assert_eq!(a.coupling_error(0, 0), b.coupling_error(0, 0), "{what}");
    assert_eq!(a.ledger(), b.ledger(), "{what}");
    assert_eq!(a.watcher().seen(), b.watcher().seen(), "{what}");
}

/// A setup and the instant of its end, s.
type Case = (Setup<f64>, f64);

/// Each variant alone and in the lanes of `K`, the one and the other way round; the share of the lanes in use.
fn compare<K: DeviceLanes>(count: usize, case: impl Fn(usize) -> Case) -> f64 {
    let alone = |k: usize| {
        let (setup, end) = case(k);
        let mut run = setup.ready().unwrap();
        let ended = run.advance(end, &mut ());
        run.finish(&mut ());
        (run, ended)
    };
    let alone: Vec<_> = (0..count).map(alone).collect();
    let (lanes, busy) = together::<K>((0..count).map(&case).collect());
    let (turned, _) = together::<K>((0..count).rev().map(&case).collect());
    for (order, all) in [("", lanes), (", the last first", turned.into_iter().rev().collect())] {
        for (k, ((a, ended), (l, other))) in alone.iter().zip(&all).enumerate() {
            let what = format!("variant {k} of {count} in {} lanes{order}", K::WIDTH);
            // NaN is no number but a word.
            assert_eq!(format!("{ended:?}"), format!("{other:?}"), "{what}");
            same(a, l, &what);
        }
    }
    busy
}

/// REF-1 with the program's own windows: every variant at its own steps, with ends of its own, more variants than
/// lanes and fewer. Nothing is left of the company that each had.
#[test]
fn variants_in_lanes_have_the_bits_that_each_has_alone() {
    for method in METHODS {
        let case = |k: usize| (Setup { method, ..setup(k as f64) }, 2.4e-6 + 0.4e-6 * (k % 3) as f64);
        let many = compare::<f64x4>(11, case);
        let few = compare::<f64x8>(3, case);
        println!("{}: {many:.3} and {few:.3} of the lanes in use", method.name);
        assert!(many > 0.8 && few < 0.4);
    }
}

/// Opens a switch when a current has reached a level, and closes it a time later.
#[derive(Clone, Debug)]
struct Chopper {
    winding: ComponentId,
    switch: ChoiceId,
    level: f64,
    pause: f64,
    closes: f64,
}

impl Controller<f64> for Chopper {
    fn name(&self) -> &str {
        "chopper"
    }
    fn probes(&self) -> Vec<Probe> {
        vec![Probe::Branch(self.winding, 0)]
    }
    fn look(&mut self, seen: &Seen<'_, f64>, board: &mut Board<f64>) -> Result<(), SolverError> {
        if seen.now[0] >= self.level && board.chosen(self.switch) == 0 {
            board.choose_at(self.switch, 1, seen.t);
            self.closes = seen.t + self.pause;
        } else if seen.t >= self.closes {
            self.closes = f64::INFINITY;
            board.choose_at(self.switch, 0, seen.t);
        }
        Ok(())
    }
    fn wakes(&self, _: f64) -> Option<f64> {
        Some(self.closes)
    }
    fn boxed(&self) -> Box<dyn Controller<f64>> {
        Box::new(self.clone())
    }
}

/// 10 V drive a winding through a switch whose die heats; a varistor takes the current when it opens, at another
/// instant in every variant. States after jumps and temperatures of laws are each variant's own too.
#[test]
fn variants_that_switch_at_their_own_instants_have_the_bits_that_each_has_alone() {
    METHODS.into_iter().for_each(switching);
}

fn switching(method: &'static Method) {
    let case = |k: usize| {
        let mut circuit = Circuit::<f64>::new();
        let [supply, a, d] = ["supply", "a", "d"].map(|name| circuit.node(name));
        let ripple = Wave::Sine { offset: 10.0, amplitude: 1.0, frequency: 20e3, phase: 0.3, delay: 0.0 };
        let volts = circuit.wave(ripple);
        circuit.voltage_source("V", supply, GROUND, volts).unwrap();
        circuit.resistor("R", supply, a, 0.1 + 0.01 * k as f64).unwrap();
        let winding = circuit.inductor("L", a, d, 20e-6 + 1e-6 * k as f64, 0.0, None).unwrap();
        let switch = circuit.choice(vec![100.0, 1e-5], 0);
        let contact = circuit.chosen_resistor("S", "switch", d, GROUND, switch).unwrap();
        circuit.capacitor("C", d, GROUND, 1e-9, None).unwrap();
        let clamp = circuit.law("D", "clamp", &[d, GROUND], Clamp { volts: 30.0 }, 298.15).unwrap();
        circuit.heats(clamp, HeatId(0));
        let mut setup = Setup { method, ..Setup::new(circuit) };
        setup.controllers = vec![Box::new(Chopper {
            winding,
            switch,
            level: 5.0 + 0.3 * k as f64,
            pause: 3e-6 + 0.5e-6 * (k % 4) as f64,
            closes: f64::INFINITY,
        })];
        let network = NetworkBuilder::new()
            .boundary("sink", 25.0)
            .node("D", 1e-4)
            .resistance("D", "sink", 10.0)
            .input("D", "D")
            .build()
            .unwrap();
        setup.thermal = Some(Thermal::new(Arc::new(Modal::new(&network).unwrap())));
        setup.heat_error = 0.5;
        setup.integrals = vec![(v(d), Probe::Conduction(contact, 0))];
        (setup, 60e-6 + 7e-6 * (k % 5) as f64)
    };
    let busy = compare::<f64x4>(9, case).min(compare::<f64x8>(9, case));
    let (setup, end) = case(0);
    let mut run = setup.ready().unwrap();
    run.advance(end, &mut ()).unwrap();
    let c = run.counters();
    println!("{busy:.3} of the lanes in use; {c:?}; {:?} °C", run.celsius());
    assert!(c.jumps > 6 && c.couplings > 3 && run.ledger().relative() < 1e-4, "{}", run.ledger().relative());
}

/// i = 1 A/V above a voltage, smoothly, less where it is warm.
#[derive(Clone, Debug)]
struct Clamp<L> {
    volts: L,
}
joulestep_engine::lockstep!(Clamp: volts);

impl<L: Lane> Law<L, 1> for Clamp<L> {
    type AtTemperature = (L, L);
    fn at_temperature(&self, kelvin: L) -> (L, L) {
        (self.volts, L::splat(298.15) / kelvin)
    }
    fn flow<S: Scalar<L>>((volts, slope): &(L, L), [v]: [S; 1]) -> Flow<S, 1> {
        let over = v - *volts;
        let smooth = (over * over + L::splat(0.01)).sqrt();
        Flow { i: [(over + smooth) * L::splat(0.5) * *slope], q: [v * L::splat(1e-10)] }
    }
    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// i = √(limit − v): no number above the limit.
#[derive(Clone, Debug)]
struct Ending<L> {
    limit: L,
}
joulestep_engine::lockstep!(Ending: limit);

impl<L: Lane> Law<L, 1> for Ending<L> {
    type AtTemperature = Self;
    fn at_temperature(&self, _: L) -> Self {
        self.clone()
    }
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [(-v + at.limit).sqrt()], q: [S::constant(L::splat(0.0))] }
    }
    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// A lane without a solution has the error that it has alone, at its own instant; the others have theirs without it.
#[test]
fn a_lane_without_a_solution_ends_as_it_ends_alone() {
    METHODS.into_iter().for_each(without_solution);
}

fn without_solution(method: &'static Method) {
    let case = |k: usize| {
        let mut circuit = Circuit::<f64>::new();
        let a = circuit.node("a");
        let level = circuit.wave(Wave::Points(vec![(0.0, 0.0), (10e-6, 10.0)]));
        circuit.voltage_source("V", a, GROUND, level).unwrap();
        let limit = [20.0, 20.0, 5.0, 30.0, 6.0, 40.0][k];
        circuit.law("X", "ending", &[a, GROUND], Ending { limit }, 298.15).unwrap();
        (Setup { method, ..Setup::new(circuit) }, 10e-6)
    };
    compare::<f64x4>(6, case);
    let (ended, _) = together::<f64x4>((0..6).map(case).collect());
    for (k, (run, ended)) in ended.iter().enumerate() {
        match ended {
            Err(SolverError::NotConverged { time, .. } | SolverError::NotFinite { time, .. }) => {
                let at = if k == 2 { 5e-6 } else { 6e-6 };
                assert!([2, 4].contains(&k) && (time - at).abs() < 1e-8, "{k}: {time:e}");
            }
            other => assert!(*other == Ok(Ended::Reached) && run.state().t == 10e-6, "{k}: {other:?}"),
        }
    }
}

/// What has another form, another method or another order of elimination takes no lane; it has the run that it had.
#[test]
fn what_does_not_fit_is_given_back() {
    let lanes = || Abreast::<f64x4>::like(&setup(0.0).ready().unwrap()).unwrap();
    let mut other = setup(0.0);
    other.circuit.resistor("further", GROUND, other.circuit.find_node("gnd").unwrap(), 1.0).unwrap();
    let mut slow = setup(0.0);
    slow.method = &TR_BDF2;
    for setup in [other, slow] {
        let run = setup.ready().unwrap();
        assert!(!lanes().fits(&run));
        let Seating::Refused(mut run) = lanes().seat(run, 1e-6, &mut ()) else { panic!("it sits") };
        run.advance(1e-7, &mut ()).unwrap();
    }
    // Steps, ends and courses are each variant's own.
    let mut finer = setup(0.0);
    finer.steps.base *= 0.5;
    assert!(lanes().fits(&finer.ready().unwrap()));
}
