//! How much work REF-1 takes, as exact numbers: a change in cost shows in review. When a change is meant, take the new
//! lines from `cargo test --test checks work_counters`, which prints them.

use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::method::METHODS;

use crate::common::ref1::{Duty, ref1};

const EXPECTED: &str = "\
tr-bdf2, double pulse: steps 10903, iterations 22846, refused 30, halved 0, windows 8, jumps 0, reorders 0
tr-bdf2, 10 pulses: steps 52106, iterations 112246, refused 117, halved 0, windows 40, jumps 0, reorders 0
esdirk4, double pulse: steps 2282, iterations 14055, refused 16, halved 0, windows 8, jumps 0, reorders 0
esdirk4, 10 pulses: steps 11137, iterations 73145, refused 111, halved 0, windows 40, jumps 0, reorders 0
rodas4, double pulse: steps 4789, iterations 4832, refused 37, halved 0, windows 8, jumps 0, reorders 0
rodas4, 10 pulses: steps 24117, iterations 24415, refused 210, halved 0, windows 40, jumps 0, reorders 0
";

#[test]
fn work_counters_of_ref1() {
    let mut found = String::new();
    for method in METHODS {
        for (name, duty) in [("double pulse", Duty::DoublePulse), ("10 pulses", Duty::Train(10))] {
            let r = ref1::<f64>(duty).unwrap();
            let mut setup = Setup::new(r.circuit);
            setup.method = method;
            let mut run = setup.ready().unwrap();
            run.advance(r.end, &mut ()).unwrap();
            let c = run.counters();
            found += &format!(
                "{}, {name}: steps {}, iterations {}, refused {}, halved {}, windows {}, jumps {}, reorders {}\n",
                method.name, c.steps, c.iterations, c.refused, c.halved, c.windows, c.jumps, c.reorders
            );
        }
    }
    assert!(found == EXPECTED, "the counters are now\n{found}they were\n{EXPECTED}");
}
