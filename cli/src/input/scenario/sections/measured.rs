//! The key tables of what was measured.

use joulestep_models::model::Range::Any;

use crate::input::keys::table::keys;

keys! {
    /// A record.
    pub struct Record in MEASURED = "measured":
        "A record of an oscilloscope, laid over the run; `joulestep fit` fits values of the scenario to it";
    need name: Name, "unique name";
    need file: Text, "CSV file, relative to this file: a column of time, and one for each channel";
    may time: Text, "heading or number of the column of time; default: the first column";
    may time_unit: Text, "unit of that column; default: as its heading says, `Time (us)`, else s";
    may trigger: Quantity("s", Any), "instant of the run at which the record's time is 0", or 0.0;
    may from: Quantity("s", Any),
        "instant of the run from which on it is compared; default: its start", else f64::NEG_INFINITY;
    may to: Quantity("s", Any), "instant of the run up to which it is compared; default: its end", else f64::INFINITY;
    need channel: Tables(&CHANNEL), "what was measured";
}

keys! {
    /// A channel of a record.
    pub struct Channel in CHANNEL = "measured.channel":
        "A column of the record beside the signal that it is compared with";
    need signal: Signal, "signal of the run, such as `L1.current` or `voltage(drain, source)`";
    need column: Text, "heading or number of its column";
    may unit: Text, "unit of the column; default: as its heading says, `CH1 (V)`, else what fits the signal";
    may scale: Measure, "factor on its values: of a probe, such as 100 or \"20 A/V\"; default 1";
    may offset: Measure, "what is added to its values after the scale; default 0";
    may skew: Quantity("s", Any), "how much later than the others it shows what happens", or 0.0;
    may noise: Measure, "standard deviation of its noise; default: from the residuals of a fit";
}
