//! Subjects of a plan beside a scenario: a rating, a dead-time study; and limits of their numbers.

use joulestep_models::arrangement::dead_time::PARAMS;
use joulestep_models::model::Range::{Any, NotNegative, Positive};

use crate::package::sections::PACKAGE;
use crate::parts::sections::PART;
use crate::scenario::shape::{Form, Key, Kinds, Section};

/// A rating.
pub static RATING: Section = Section {
    name: "rating",
    help: "A rating of a part on its heat path. What can be varied: rating.…, and all of the part file (part.params.…) \
           and of the package (package.layer.NAME.…)",
    kinds: Kinds::None,
    keys: &[
        Key::need("part", Form::Text, "shipped part by name, or a part file relative to this file"),
        Key::may("on", Form::Text, "package (shipped name or file); without it the part's own impedance"),
        Key::may("heatsink", Form::Quantity("degC", Any), "temperature of the heatsink; default 45 degC"),
        Key::may(
            "interface",
            Form::Quantity("K/W", NotNegative),
            "case to heatsink, without a package; default 0",
        ),
        Key::may(
            "hottest",
            Form::Quantity("degC", Any),
            "junction temperature that no die may pass; default: the part's own",
        ),
        Key::may(
            "gate-on",
            Form::Quantity("V", Any),
            "gate-source voltage; default: where the part states its on-resistance",
        ),
        Key::may("before", Form::Quantity("A", NotNegative), "current before the pulses; default 0"),
        Key::may("cells", Form::Whole(1_000, 2_000_000), "cells of the mesh, at most; default 40000"),
        Key::may(
            "runaway",
            Form::Flag,
            "whether the current of thermal runaway is looked for; default false",
        ),
        Key::may("pulse", Form::Tables(&PULSE), "pulses whose largest current is looked for"),
        Key::may("fault", Form::Tables(&FAULT), "fault currents whose longest square pulse is looked for"),
    ],
};

/// A pulse.
pub static PULSE: Section = Section {
    name: "rating.pulse",
    help: "A pulse: its largest peak current, and let-through I²t",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name; its columns begin with it"),
        Key::need("width", Form::Quantity("s", Positive), "width; what that is depends on the shape"),
        Key::may(
            "shape",
            Form::Word(&["square", "half-sine", "exponential", "inrush"]),
            "shape; default square",
        ),
    ],
};

/// A fault current.
pub static FAULT: Section = Section {
    name: "rating.fault",
    help: "A fault current: its longest square pulse",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name; its column begins with it"),
        Key::need("current", Form::Quantity("A", Positive), "the current"),
    ],
};

/// A dead-time study.
pub static DEAD_TIME: Section = Section {
    name: "dead-time",
    help: "Losses of a half-bridge leg against its dead time. What can be varied: dead-time.…, and all of the part \
           files (part.params.…, upper.params.…, lower.params.…)",
    kinds: Kinds::None,
    keys: &[
        Key::may("part", Form::Text, "part of both switches: shipped, or a file relative to this file"),
        Key::may("upper", Form::Text, "part of the upper switch, where it differs"),
        Key::may("lower", Form::Text, "part of the lower switch, where it differs"),
        Key::need("current", Form::Quantity("A", NotNegative), "load current out of the leg"),
        Key::need("times", Form::Quantities("s", NotNegative), "dead times, rising"),
        Key::may(
            "resolution",
            Form::Quantity("s", Positive),
            "how closely the dead time of least loss is looked for between them; default: not",
        ),
        Key::may("leg", Form::Parameters("half-bridge", PARAMS), "the leg, as in an [arrangement]"),
    ],
};

/// A limit of a number.
pub static LIMIT: Section = Section {
    name: "limit",
    help: "Bounds of a number of the rating or study; yields and verdicts are about them",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name"),
        Key::need("output", Form::Text, "name of the number's column"),
        Key::may("min", Form::Measure, "least value"),
        Key::may("max", Form::Measure, "largest value"),
    ],
};

const LIMITS: Key = Key::may("limit", Form::Tables(&LIMIT), "limits");

/// The tables of a rating: its part, its package and what the plan asks.
pub static OF_RATING: Section = Section {
    name: "",
    help: "A rating with its part and its package",
    kinds: Kinds::None,
    keys: &[
        Key::need("part", Form::Table(&PART), "the part"),
        Key::may("package", Form::Table(&PACKAGE), "the package"),
        Key::need("rating", Form::Table(&RATING), "what is asked"),
        LIMITS,
    ],
};

/// The tables of a dead-time study: its parts and what the plan asks.
pub static OF_DEAD_TIME: Section = Section {
    name: "",
    help: "A dead-time study with its parts",
    kinds: Kinds::None,
    keys: &[
        Key::may("part", Form::Table(&PART), "the part of both switches"),
        Key::may("upper", Form::Table(&PART), "the part of the upper switch"),
        Key::may("lower", Form::Table(&PART), "the part of the lower switch"),
        Key::need("dead-time", Form::Table(&DEAD_TIME), "what is asked"),
        LIMITS,
    ],
};
