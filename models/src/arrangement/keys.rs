//! Parameters that arrangements share.

use crate::model::{Param, Range, params};

/// Supply, loop, switches and gates.
pub(super) const COMMON: [Param; 15] = params! {
    with "supply-voltage", "V", 400.0, Range::Positive, "Voltage of the supply";
    with "loop-inductance", "H", 20e-9, Range::NotNegative, "Stray inductance between supply and switches";
    with "loop-resistance", "ohm", 5e-3, Range::NotNegative, "Resistance between supply and switches";
    with "dead-time", "s", 100e-9, Range::NotNegative, "What each turn-on waits in a leg";
    optional "gate-on", "V", Range::Any,
        "Gate level that turns on; default: where the part states its resistance";
    with "gate-off", "V", 0.0, Range::Any, "Gate level that turns off";
    with "gate-resistance", "ohm", 5.0, Range::Positive, "Gate resistance outside the part while on";
    optional "gate-off-resistance", "ohm", Range::Positive, "The same while off; default: as on";
    with "gate-edge", "s", 5e-9, Range::Positive, "Duration of the gate source's ramps";
    with "kelvin-source", "1", 1.0, Range::NotNegative,
        "1: gates return to a Kelvin source where there is one; 0: not";
    with "snubber-capacitance", "F", 0.0, Range::NotNegative, "Snubber over each switch; 0: none";
    with "snubber-resistance", "ohm", 4.7, Range::NotNegative, "Resistance of the snubbers";
    with "switch-resistance", "ohm", 1e-3, Range::Positive,
        "On-resistance of the ideal switches that stand where no part is named";
    + Param::TEMPERATURE, FREQUENCY;
};

/// Switching frequency.
const FREQUENCY: Param = Param::with("frequency", "Hz", 100e3, Range::Positive, "Switching frequency");
