//! The key tables of what was measured.

use joulestep_models::model::Range::Any;

use crate::input::keys::shape::{Form, Kinds, Section, keys};

/// A record.
pub static MEASURED: Section = Section {
    name: "measured",
    help: "A record of an oscilloscope, laid over the run; `joulestep fit` fits values of the scenario to it",
    kinds: Kinds::None,
    keys: keys! {
        need "name": Form::Name, "unique name";
        need "file": Form::Text, "CSV file, relative to this file: a column of time, and one for each channel";
        may "time": Form::Text, "heading or number of the column of time; default: the first column";
        may "time-unit": Form::Text, "unit of that column; default: as its heading says, `Time (us)`, else s";
        may "trigger": Form::Quantity("s", Any), "instant of the run at which the record's time is 0", or 0.0;
        may "from": Form::Quantity("s", Any), "instant of the run from which on it is compared; default: its start";
        may "to": Form::Quantity("s", Any), "instant of the run up to which it is compared; default: its end";
        need "channel": Form::Tables(&CHANNEL), "what was measured";
    },
};

/// A channel of a record.
pub static CHANNEL: Section = Section {
    name: "measured.channel",
    help: "A column of the record beside the signal that it is compared with",
    kinds: Kinds::None,
    keys: keys! {
        need "signal": Form::Text, "signal of the run, such as `L1.current` or `voltage(drain, source)`";
        need "column": Form::Text, "heading or number of its column";
        may "unit": Form::Text, "unit of the column; default: as its heading says, `CH1 (V)`, else what fits the signal";
        may "scale": Form::Measure, "factor on its values: of a probe, such as 100 or \"20 A/V\"; default 1";
        may "offset": Form::Measure, "what is added to its values after the scale; default 0";
        may "skew": Form::Quantity("s", Any), "how much later than the others it shows what happens", or 0.0;
        may "noise": Form::Measure, "standard deviation of its noise; default: from the residuals of a fit";
    },
};
