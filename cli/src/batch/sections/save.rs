//! Which variants' waveforms a plan keeps.

use super::MOST_VARIANTS;
use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section};

const COUNT: Key = Key::may("count", Form::Whole(1, MOST_VARIANTS), "how many; default 1");
const OF_LIMIT: Key = Key::need("limit", Form::Text, "name of a limit of the scenario");
const OF_OUTPUT: Key = Key::need("output", Form::Text, "name of an output's column");

/// Variants whose waveforms are kept.
pub static KEEP: Section = Section {
    name: "keep",
    help: "Variants that are run again with their waveforms once the table is there; each becomes a result file",
    kinds: Kinds::Listed(
        "which",
        &[
            Kind {
                word: "worst",
                help: "Those nearest to a limit or farthest beyond it",
                keys: &[OF_LIMIT, COUNT],
            },
            Kind { word: "best", help: "Those farthest from a limit", keys: &[OF_LIMIT, COUNT] },
            Kind {
                word: "highest",
                help: "Those of the largest value of an output",
                keys: &[OF_OUTPUT, COUNT],
            },
            Kind { word: "lowest", help: "Those of the least value of an output", keys: &[OF_OUTPUT, COUNT] },
            Kind {
                word: "every",
                help: "Every n-th, from number 0 on",
                keys: &[Key::need("step", Form::Whole(1, MOST_VARIANTS), "the n")],
            },
            Kind {
                word: "listed",
                help: "These",
                keys: &[Key::need(
                    "variants",
                    Form::Quantities("1", joulestep_models::model::Range::NotNegative),
                    "their numbers, from 0",
                )],
            },
        ],
    ),
    keys: &[Key::need("which", Form::Text, "`worst`, `best`, `highest`, `lowest`, `every` or `listed`")],
};
