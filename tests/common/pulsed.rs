//! A small breaker for checks of the loop: a bus of 400 V behind a diode and an inductor on a square-law MOSFET with a
//! varistor across it; a drive, a protection that trips on the current, a heat network under diode and MOSFET. It
//! closes at 1 µs onto the inductor alone and trips at 80 A; the varistor then brings the current down.

use joulestep_engine::circuit::graph::{Circuit, GROUND, HeatId, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::crossing::Sense;
use joulestep_engine::control::detect::{Criterion, Level};
use joulestep_engine::control::drive::{Delays, Drive, Gate, Output};
use joulestep_engine::control::protection::{Protection, Retry, Settings};
use joulestep_engine::recorder::EventKind;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::watch::Watch;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{Boundary, FosterMatrixTerm, Network};
use joulestep_engine::thermal::run::Thermal;
use joulestep_models::charge::Depletion;
use joulestep_models::devices::diode::Diode;
use joulestep_models::devices::square_law_mosfet::SquareLawMosfet;
use joulestep_models::junction::Junction;
use joulestep_models::model::STATED_AT;

use super::laws::PowerLaw;
use super::rig::{channel, raise, sequence, supply, v};

/// When it is over, s.
pub const END: f64 = 16e-6;

/// The setup at default windows, and its drain. The base step is shorter than the protection's delay: a protection
/// looks at ends of steps only, and what it should have ordered before that comes late.
pub fn pulsed() -> (Setup<f64>, NodeId) {
    let mut c = Circuit::new();
    let (bus, _) = supply(&mut c, "bus", Wave::Constant(400.0));
    let [a, drain, gate] = ["a", "drain", "gate"].map(|n| c.node(n));
    let diode = Diode {
        saturation: 1e-12,
        ideality: 1.2,
        gap: 1.12,
        power: 3.0,
        breakdown: None,
        linear_above: 1e3,
        leakage: 0.0,
        depletion: Depletion::new(1e-9, 0.8, 0.5),
    };
    let d = c.law("D", "diode", &[bus, a], diode, STATED_AT).unwrap();
    let l = c.inductor("L", a, drain, 20e-6, 20e-3, None).unwrap();
    let mosfet = SquareLawMosfet {
        threshold: 4.0,
        k: 60.0,
        lambda: 0.01,
        body: Junction::new(1e-9, 0.031, 1e3, None),
        leakage: 1e-6,
        cgs: 3e-9,
        drain_gate: Depletion::new(2e-10, 0.8, 0.5),
        drain_source: Depletion::new(2e-9, 0.8, 0.5),
    };
    let m = c.law("M", "mosfet", &[drain, gate, GROUND], mosfet, STATED_AT).unwrap();
    c.law("V", "varistor", &[drain, GROUND], PowerLaw { k: 560.0, b: 0.04 }, STATED_AT).unwrap();
    c.heats(d, HeatId(0));
    c.heats(m, HeatId(1));
    let output = Output {
        on: 12.0,
        off: 0.0,
        r_on: 5.0,
        r_off: 5.0,
        r_soft: 30.0,
        rise: 10e-9,
        fall: 10e-9,
        starts_on: false,
    };
    let gate = Gate::add(&mut c, "S", gate, GROUND, output).unwrap();

    let mut setup = Setup::new(c);
    setup.steps.base = 0.2e-6;
    setup.steps.finest = 9;
    let [command, trip] = ["command", "trip"].map(|n| setup.board.add_line(n));
    sequence(&mut setup, &[(1e-6, raise(command))]);
    let i = Probe::Branch(l, 0);
    let level =
        Level { probe: i.clone(), sense: Sense::Magnitude, threshold: 80.0, blanking: None, filter: 0.0 };
    let criteria = vec![Criterion::Level(level)];
    let settings =
        Settings { criteria, delay: 300e-9, trip, retry: Retry::NONE, reset: None, let_through: None };
    setup.controllers.push(Box::new(Protection::new("protection", settings).unwrap()));
    let delays = Delays { on: 50e-9, off: 50e-9, dead: 0.0 };
    setup.controllers.push(Box::new(Drive::new("drive", command, vec![trip], delays, gate).unwrap()));
    let term = |tau, m: [f64; 4]| FosterMatrixTerm { time_constant: tau, resistances: m.to_vec() };
    let terms = vec![term(2e-6, [0.4, 0.0, 0.0, 0.3]), term(1e-3, [0.6, 0.05, 0.05, 0.5])];
    let boundary = Boundary { name: "board".into(), temperature: 40.0 };
    let network = Network::foster_matrix(&["diode", "mosfet"], terms, boundary).unwrap();
    setup.thermal = Some(Thermal::new(std::sync::Arc::new(Modal::new(&network).unwrap())));
    setup.coupling = 1e-6;
    setup.channels = vec![channel("v", v(drain)), channel("i", i.clone())];
    setup.integrals = vec![(v(drain), i.clone())];
    setup.watches = vec![Watch {
        name: "v".into(),
        long_name: "drain".into(),
        unit: "V",
        probe: v(drain),
        subject: "V".into(),
        event: Some(EventKind::Clamp),
        lower: f64::NEG_INFINITY,
        upper: 560.0,
        during: joulestep_engine::run::watch::ALWAYS,
    }];
    (setup, drain)
}
