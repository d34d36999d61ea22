//! The key tables of a mission.

use joulestep_models::model::Range::{Any, Between, Positive};

use crate::input::keys::shape::{Form, Kinds, Section, keys};

/// A mission.
pub static MISSION: Section = Section {
    name: "mission",
    help: "A profile of load and ambient over seconds to hours, for `joulestep mission`",
    kinds: Kinds::None,
    keys: keys! {
        need "length": Form::Quantity("s", Positive), "duration of one round";
        may "rounds": Form::Whole(1, 1_000_000), "rounds, one after the other; default 1";
        may "start": Form::Word(&["rest", "steady"]),
            "temperatures at the start: without heat, or steady under the first load; default rest";
        need "segment": Form::Tables(&SEGMENT), "what changes over the round";
        may "damage": Form::Table(&DAMAGE), "the user's own law of cycles to failure";
        may "lifetime": Form::Table(&LIFETIME), "how often the mission takes place, and how lifetimes scatter";
    },
};

/// A segment.
pub static SEGMENT: Section = Section {
    name: "mission.segment",
    help: "A parameter of the arrangement or a boundary temperature over the round",
    kinds: Kinds::None,
    keys: keys! {
        may "parameter": Form::Text, "parameter of the arrangement";
        may "boundary": Form::Name, "boundary of the thermal network, in place of a parameter";
        may "points": Form::Rows, "pairs [time, value]; two of one time are a step";
        may "shift": Form::Quantity("K", Any), "what every temperature of a boundary is raised by; default 0 K";
        may "file": Form::Text, "the same as a CSV file of two columns, relative to this file";
        may "between": Form::Word(&["step", "ramp"]),
            "a value holds until the next point, or changes linearly; default step";
    },
};

/// The user's law.
pub static DAMAGE: Section = Section {
    name: "mission.damage",
    help: "The user's law: N = cycles·(ΔT/range)^(−exponent), with an activation also ·exp(E/k·(1/T − 1/T_ref))",
    kinds: Kinds::None,
    keys: keys! {
        need "cycles": Form::Quantity("1", Positive), "cycles to failure at the reference range";
        need "range": Form::Quantity("K", Positive), "reference range of the temperature";
        need "exponent": Form::Quantity("1", Positive), "exponent of the range";
        may "activation-energy": Form::Quantity("eV", Any), "effect of the mean temperature";
        may "reference-temperature": Form::Quantity("degC", Any),
            "mean temperature at which `cycles` holds; needed with an activation energy";
    },
};

/// What makes a lifetime of damage.
pub static LIFETIME: Section = Section {
    name: "mission.lifetime",
    help: "Lifetime in hours and years by the law of [mission.damage], and its scatter (Weibull)",
    kinds: Kinds::None,
    keys: keys! {
        need "missions-per-day": Form::Quantity("1", Positive), "missions, each with all its rounds, a day";
        may "weibull-shape": Form::Quantity("1", Positive),
            "scatter of lifetimes about the law: the shape of a Weibull distribution; default: no scatter";
        may "failed-share": Form::Quantity("1", Between(0.0, 1.0)),
            "share that has failed at the law's number of cycles; default 63.2 %, the characteristic life";
        may "allowed-share": Form::Quantity("1", Between(0.0, 1.0)),
            "share that may have failed at the end of the lifetime; default 10 % (B10)";
        may "required": Form::Quantity("s", Positive), "lifetime that is required, such as 25 years";
    },
};
