//! The key tables of a mission.

use joulestep_models::model::Range::{Any, Positive};

use crate::input::keys::shape::{Form, Key, Kinds, Section};

/// A mission.
pub static MISSION: Section = Section {
    name: "mission",
    help: "A profile of load and ambient over seconds to hours, for `joulestep mission`",
    kinds: Kinds::None,
    keys: &[
        Key::need("length", Form::Quantity("s", Positive), "duration of one round"),
        Key::may("rounds", Form::Whole(1, 1_000_000), "rounds, one after the other; default 1"),
        Key::may(
            "start",
            Form::Word(&["rest", "steady"]),
            "temperatures at the start: without heat, or steady under the first load; default rest",
        ),
        Key::need("segment", Form::Tables(&SEGMENT), "what changes over the round"),
        Key::may("damage", Form::Table(&DAMAGE), "the user's own law of cycles to failure"),
    ],
};

/// A segment.
pub static SEGMENT: Section = Section {
    name: "mission.segment",
    help: "A parameter of the arrangement or a boundary temperature over the round",
    kinds: Kinds::None,
    keys: &[
        Key::may("parameter", Form::Text, "parameter of the arrangement"),
        Key::may("boundary", Form::Name, "boundary of the thermal network, in place of a parameter"),
        Key::may("points", Form::Rows, "pairs [time, value]; two of one time are a step"),
        Key::may(
            "shift",
            Form::Quantity("K", Any),
            "what every temperature of a boundary is raised by; default 0 K",
        ),
        Key::may("file", Form::Text, "the same as a CSV file of two columns, relative to this file"),
        Key::may(
            "between",
            Form::Word(&["step", "ramp"]),
            "a value holds until the next point, or changes linearly; default step",
        ),
    ],
};

/// The user's law.
pub static DAMAGE: Section = Section {
    name: "mission.damage",
    help: "The user's law: N = cycles·(ΔT/range)^(−exponent), with an activation also ·exp(E/k·(1/T − 1/T_ref))",
    kinds: Kinds::None,
    keys: &[
        Key::need("cycles", Form::Quantity("1", Positive), "cycles to failure at the reference range"),
        Key::need("range", Form::Quantity("K", Positive), "reference range of the temperature"),
        Key::need("exponent", Form::Quantity("1", Positive), "exponent of the range"),
        Key::may("activation-energy", Form::Quantity("eV", Any), "effect of the mean temperature"),
        Key::may(
            "reference-temperature",
            Form::Quantity("degC", Any),
            "mean temperature at which `cycles` holds; needed with an activation energy",
        ),
    ],
};
