//! The key tables of a mission.

use joulestep_models::model::Range::{Any, Between, Positive};

use crate::input::keys::table::keys;

keys! {
    /// A mission.
    pub struct Mission in MISSION = "mission": "A profile of load and ambient over seconds to hours, for `joulestep mission`";
    need length: Quantity("s", Positive), "duration of one round";
    may rounds: Whole(1, 1_000_000), "rounds, one after the other; default 1", else 1;
    may start: Word(&["rest", "steady"]),
        "temperatures at the start: without heat, or steady under the first load; default rest", else "rest".into();
    need segment: Tables(&SEGMENT), "what changes over the round";
    may damage: Table(&DAMAGE), "the user's own law of cycles to failure";
    may lifetime: Table(&LIFETIME), "how often the mission takes place, and how lifetimes scatter";
}

keys! {
    /// A segment.
    pub struct Segment in SEGMENT = "mission.segment": "A parameter of the circuit or a boundary temperature over the round";
    may parameter: Text, "parameter of the arrangement; of a circuit with a [cycle] `COMPONENT.PARAMETER`";
    may boundary: Name, "boundary of the thermal network, in place of a parameter";
    may points: Rows, "pairs [time, value]; two of one time are a step";
    may shift: Quantity("K", Any), "what every temperature of a boundary is raised by; default 0 K";
    may file: Text, "the same as a CSV file of two columns, relative to this file";
    may between: Word(&["step", "ramp"]),
        "a value holds until the next point, or changes linearly; default step";
}

keys! {
    /// The user's law.
    pub struct Damage in DAMAGE = "mission.damage": "The user's law: N = cycles·(ΔT/range)^(−exponent), with an activation also ·exp(E/k·(1/T − 1/T_ref))";
    need cycles: Quantity("1", Positive), "cycles to failure at the reference range";
    need range: Quantity("K", Positive), "reference range of the temperature";
    need exponent: Quantity("1", Positive), "exponent of the range";
    may activation_energy: Quantity("eV", Any), "effect of the mean temperature";
    may reference_temperature: Quantity("degC", Any),
        "mean temperature at which `cycles` holds; needed with an activation energy";
}

keys! {
    /// What makes a lifetime of damage.
    pub struct Lifetime in LIFETIME = "mission.lifetime": "Lifetime in hours and years by the law under `damage`, and its scatter (Weibull)";
    need missions_per_day: Quantity("1", Positive), "missions, each with all its rounds, a day";
    may weibull_shape: Quantity("1", Positive),
        "scatter of lifetimes about the law: the shape of a Weibull distribution; default: no scatter";
    may failed_share: Quantity("1", Between(0.0, 1.0)),
        "share that has failed at the law's number of cycles; default 63.2 %, the characteristic life";
    may allowed_share: Quantity("1", Between(0.0, 1.0)),
        "share that may have failed at the end of the lifetime; default 10 % (B10)";
    may required: Quantity("s", Positive), "lifetime that is required, such as 25 years";
}
