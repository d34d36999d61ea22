//! Limits: on signals at every instant, and on what happens.

use joulestep_models::model::Range::{Any, NotNegative};

use crate::input::keys::table::{keys, kinds};
use crate::judge::Bounded;

/// The most events that a limit counts.
const MOST: i64 = 1_000_000;

keys! {
    /// A limit.
    pub struct Limit in LIMIT = "limit":
        "What a run must keep: a bound on a signal, or on what happens", by Bound::KINDS;
    may name: Name as String, "name in the verdict; default: what it bounds", else String::new();
    may kind: Text as Bound, "what is bounded; default `signal`";
}
kinds! {
    /// What is bounded.
    pub enum Bound by "kind";
    Signal(OnSignal) = Bounded::Signal.word(),
        "A signal stays within bounds at every instant; the kind of a limit that states none";
    Trips(Counted) = Bounded::Trips.word(),
        "How often a protection trips: `min = 1` it must, `max = 0` it must not";
    Retries(Counted) = Bounded::Retries.word(), "How often a protection tries again after a trip";
    LockOuts(Counted) = Bounded::LockOuts.word(), "How often a protection locks out";
    ClearingTime(Clearing) = Bounded::ClearingTime.word(),
        "Time from the start of a fault (an event with `fault = true`, or a retry while it stands) until the protection's current is below a tenth of its threshold";
    LetThrough(LetThrough) = Bounded::LetThrough.word(),
        "I²t of a current from the start of a fault until the protection has cleared it";
    Energy(Energy) = Bounded::Energy.word(), "Energy that a component dissipates within an interval";
    TimeAbove(Above) = Bounded::TimeAbove.word(),
        "Time for which a signal is above a level within an interval, all stretches together";
}
const FROM: &str = "start of the interval; default: of the run";
const TO: &str = "end of the interval; default: of the run";
const AFTER: &str = "only faults that start after this; default: start of the run";
const BEFORE: &str = "only faults that start before this; default: end of the run";
const LONGEST: &str = "the longest time allowed";
const SHORTEST: &str = "the shortest time allowed";

keys! {
    /// A signal at every instant.
    pub struct OnSignal;
    need signal: Signal, "signal, or `temperature(INPUT)`";
    may max: Measure, "upper bound";
    may min: Measure, "lower bound";
}
keys! {
    /// How often something happens.
    pub struct Counted;
    need protection: Name, "the protection";
    may max: Whole(0, MOST), "the most allowed; 0: it must not happen";
    may min: Whole(0, MOST), "the least allowed; 1: it must happen";
    may from: Quantity("s", NotNegative), FROM;
    may to: Quantity("s", NotNegative), TO;
}
keys! {
    /// How long a fault lasts.
    pub struct Clearing;
    need protection: Name, "the protection";
    may max: Quantity("s", NotNegative), LONGEST;
    may min: Quantity("s", NotNegative), SHORTEST;
    may from: Quantity("s", NotNegative), AFTER;
    may to: Quantity("s", NotNegative), BEFORE;
}
keys! {
    /// What a fault lets through.
    pub struct LetThrough;
    need protection: Name, "the protection";
    may signal: Signal, "a current; default: the one that the protection watches";
    may max: Quantity("A^2 s", NotNegative), "the most allowed";
    may min: Quantity("A^2 s", NotNegative), "the least allowed";
    may from: Quantity("s", NotNegative), AFTER;
    may to: Quantity("s", NotNegative), BEFORE;
}
keys! {
    /// What a component dissipates.
    pub struct Energy;
    need component: Name, "the component";
    may max: Quantity("J", Any), "the most allowed";
    may min: Quantity("J", Any), "the least allowed";
    may from: Quantity("s", NotNegative), FROM;
    may to: Quantity("s", NotNegative), TO;
}
keys! {
    /// How long a signal is above a level.
    pub struct Above;
    need signal: Signal, "signal, or `temperature(INPUT)`";
    need level: Measure, "the level";
    may max: Quantity("s", NotNegative), LONGEST;
    may min: Quantity("s", NotNegative), SHORTEST;
    may from: Quantity("s", NotNegative), FROM;
    may to: Quantity("s", NotNegative), TO;
}
