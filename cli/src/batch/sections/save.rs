//! Which variants' waveforms a plan keeps.

use joulestep_models::model::Range::NotNegative;

use super::MOST_VARIANTS;
use crate::input::keys::table::{keys, kinds};

keys! {
    /// Variants whose waveforms are kept.
    pub struct Keep in KEEP =
        "keep": "Variants that are run again with their waveforms once the table is there; each becomes a result file",
        by Which::KINDS;
    need which: Text as Which, "`worst`, `best`, `highest`, `lowest`, `every` or `listed`";
}
kinds! {
    /// Which are kept.
    pub enum Which by "which";
    Worst(OfLimit) = "worst", "Those nearest to a limit or farthest beyond it";
    Best(OfLimit) = "best", "Those farthest from a limit";
    Highest(OfOutput) = "highest", "Those of the largest value of an output";
    Lowest(OfOutput) = "lowest", "Those of the least value of an output";
    Every(Every) = "every", "Every n-th, from number 0 on";
    Listed(Listed) = "listed", "These";
}
keys! {
    /// By a limit.
    pub struct OfLimit;
    need limit: Text, "name of a limit of the scenario";
    may count: Whole(1, MOST_VARIANTS), "how many; default 1", else 1;
}
keys! {
    /// By an output.
    pub struct OfOutput;
    need output: Text, "name of an output's column";
    may count: Whole(1, MOST_VARIANTS), "how many; default 1", else 1;
}
keys! {
    /// Every n-th.
    pub struct Every;
    need step: Whole(1, MOST_VARIANTS), "the n";
}
keys! {
    /// By number.
    pub struct Listed;
    need variants: Quantities("1", NotNegative), "their numbers, from 0";
}
