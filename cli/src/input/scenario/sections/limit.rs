//! Limits: on signals at every instant, and on what happens.

use joulestep_models::model::Range::{Any, NotNegative};

use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section};
use crate::judge::Bounded;

/// The most events that a limit counts.
const MOST: i64 = 1_000_000;

const FROM: Key =
    Key::may("from", Form::Quantity("s", NotNegative), "start of the interval; default: of the run");
const TO: Key = Key::may("to", Form::Quantity("s", NotNegative), "end of the interval; default: of the run");
const PROTECTION: Key = Key::need("protection", Form::Name, "the protection");
const AFTER: Key = Key { help: "only faults that start after this; default: start of the run", ..FROM };
const BEFORE: Key = Key { help: "only faults that start before this; default: end of the run", ..TO };
const LONGEST: Key = Key::may("max", Form::Quantity("s", NotNegative), "the longest time allowed");
const SHORTEST: Key = Key::may("min", Form::Quantity("s", NotNegative), "the shortest time allowed");
const COUNTED: &[Key] = &[
    PROTECTION,
    Key::may("max", Form::Whole(0, MOST), "the most allowed; 0: it must not happen"),
    Key::may("min", Form::Whole(0, MOST), "the least allowed; 1: it must happen"),
    FROM,
    TO,
];

/// A limit.
pub static LIMIT: Section = Section {
    name: "limit",
    help: "What a run must keep: a bound on a signal, or on what happens",
    kinds: Kinds::Listed(
        "kind",
        &[
            Kind {
                word: Bounded::Signal.word(),
                help: "A signal stays within bounds at every instant; the kind of a limit that states none",
                keys: &[
                    Key::need("signal", Form::Text, "signal, or `temperature(INPUT)`"),
                    Key::may("max", Form::Measure, "upper bound"),
                    Key::may("min", Form::Measure, "lower bound"),
                ],
            },
            Kind {
                word: Bounded::Trips.word(),
                help: "How often a protection trips: `min = 1` it must, `max = 0` it must not",
                keys: COUNTED,
            },
            Kind {
                word: Bounded::Retries.word(),
                help: "How often a protection tries again after a trip",
                keys: COUNTED,
            },
            Kind { word: Bounded::LockOuts.word(), help: "How often a protection locks out", keys: COUNTED },
            Kind {
                word: Bounded::ClearingTime.word(),
                help: "Time from the start of a fault (an event with `fault = true`, or a retry while it stands) until the protection's current is below a tenth of its threshold",
                keys: &[PROTECTION, LONGEST, SHORTEST, AFTER, BEFORE],
            },
            Kind {
                word: Bounded::LetThrough.word(),
                help: "I²t of a current from the start of a fault until the protection has cleared it",
                keys: &[
                    PROTECTION,
                    Key::may("signal", Form::Text, "a current; default: the one that the protection watches"),
                    Key::may("max", Form::Quantity("A^2 s", NotNegative), "the most allowed"),
                    Key::may("min", Form::Quantity("A^2 s", NotNegative), "the least allowed"),
                    AFTER,
                    BEFORE,
                ],
            },
            Kind {
                word: Bounded::Energy.word(),
                help: "Energy that a component dissipates within an interval",
                keys: &[
                    Key::need("component", Form::Name, "the component"),
                    Key::may("max", Form::Quantity("J", Any), "the most allowed"),
                    Key::may("min", Form::Quantity("J", Any), "the least allowed"),
                    FROM,
                    TO,
                ],
            },
            Kind {
                word: Bounded::TimeAbove.word(),
                help: "Time for which a signal is above a level within an interval, all stretches together",
                keys: &[
                    Key::need("signal", Form::Text, "signal, or `temperature(INPUT)`"),
                    Key::need("level", Form::Measure, "the level"),
                    LONGEST,
                    SHORTEST,
                    FROM,
                    TO,
                ],
            },
        ],
    ),
    keys: &[
        Key::may("name", Form::Name, "name in the verdict; default: what it bounds"),
        Key::may("kind", Form::Text, "what is bounded; default `signal`"),
    ],
};
