//! A limit: one type from the scenario to the report.
//!
//! Every limit bounds the least and the largest value of something. Of a signal these are its extremes; of an event (a
//! fault that is cleared, say) they are those over all times that it happened.

use joulestep_engine::units::people_digits;
use serde::{Serialize, Serializer};

use super::bounded::Bounded;
use super::rule::{Bounds, Ruling};

/// The unit of a difference of two values in a unit.
pub fn unit_of_difference(unit: &str) -> &str {
    if unit == "degC" { "K" } else { unit }
}

/// The same as people write it.
pub fn spelled_difference(unit: &str) -> &str {
    if unit == "A^2 s" { "A²s" } else { unit_of_difference(unit) }
}

/// Who sets a limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum SetBy {
    /// The user, in scenario or plan.
    #[default]
    User,
    /// A part, as its rating.
    Part,
}

impl SetBy {
    /// The word written in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::User => "user",
            Self::Part => "part",
        }
    }

    /// By its word.
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::User, Self::Part].into_iter().find(|s| s.word() == word)
    }

    /// What it sets.
    pub fn sets(self) -> &'static str {
        match self {
            Self::User => "limit",
            Self::Part => "rating",
        }
    }
}

/// Which of the values that a limit bounds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum End {
    /// The least.
    Least,
    /// The largest.
    #[default]
    Largest,
    /// The only one: a number that is neither.
    Only,
}

impl End {
    /// Least and largest, in the order of every table.
    pub const BOTH: [Self; 2] = [Self::Least, Self::Largest];

    /// The word in names.
    pub fn word(self) -> &'static str {
        match self {
            Self::Least => "least",
            Self::Largest => "largest",
            Self::Only => "value",
        }
    }

    /// By its word.
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::Least, Self::Largest, Self::Only].into_iter().find(|e| e.word() == word)
    }
}

/// Whether what a limit speaks of has happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Occurrence {
    /// It has, and is over.
    #[default]
    Happened,
    /// It was not over at the end: its numbers may still grow.
    Open,
    /// It has not: there is nothing that could keep the limit.
    Never,
}

impl Occurrence {
    /// The word written in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Happened => "happened",
            Self::Open => "open",
            Self::Never => "never",
        }
    }

    /// By its word.
    pub fn of_word(word: &str) -> Self {
        [Self::Open, Self::Never].into_iter().find(|o| o.word() == word).unwrap_or_default()
    }

    /// What the ruling on one end becomes: what may still grow exceeds its most but never keeps it, and reaches its
    /// least but never misses it; what has not happened proves nothing.
    pub fn temper(self, end: End, ruling: Ruling) -> Ruling {
        match (self, end, ruling) {
            (_, _, Ruling::NotJudged) | (Self::Happened, ..) => ruling,
            (Self::Open, End::Largest, Ruling::Fails) | (Self::Open, End::Least, Ruling::Passes) => ruling,
            _ => Ruling::NotProven,
        }
    }

    /// What a reader must know of it; empty where it happened.
    pub fn remark(self, of: Bounded) -> &'static str {
        let fault = matches!(of, Bounded::ClearingTime | Bounded::LetThrough);
        match (self, fault) {
            (Self::Happened, _) => "",
            (Self::Open, true) => "not cleared at the end of the run",
            (Self::Open, false) => "the run did not come to its end",
            (Self::Never, true) => "no fault starts in the interval",
            (Self::Never, false) => "it did not happen",
        }
    }
}

/// A limit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limit {
    /// Its name in the verdict.
    pub name: String,
    /// Who sets it.
    pub set_by: SetBy,
    /// What it bounds.
    pub of: Bounded,
    /// Unit symbol of the bounds.
    pub unit: String,
    /// What must be kept.
    pub bounds: Bounds,
    /// Why the user waived it.
    pub waived: Option<String>,
}

impl Limit {
    /// Name of the number at an end: `limit.NAME.largest`.
    pub fn number(&self, end: End) -> String {
        format!("{}.{}.{}", self.set_by.sets(), self.name, end.word())
    }

    /// That number in words.
    pub fn words(&self, end: End) -> String {
        let (end, sets) = (end.word(), self.set_by.sets());
        match self.of {
            Bounded::Signal => format!("{end} value of {sets} {}", self.name),
            of => format!("{end} {} of {sets} {}", of.word(), self.name),
        }
    }

    /// Unit symbol of a difference, for people.
    pub fn unit_of_difference(&self) -> &str {
        spelled_difference(&self.unit)
    }

    /// A number of it for people, to so many digits; counts in full.
    pub fn shown(&self, x: f64, digits: usize) -> String {
        match (self.of.is_count() && x.is_finite(), self.unit.as_str()) {
            (true, _) => format!("{x}"),
            (_, "degC") => people_digits(x, "degC", digits),
            _ => people_digits(x, self.unit_of_difference(), digits),
        }
    }

    /// What the number at an end must keep.
    pub fn bound(&self, end: End) -> Bounds {
        match end {
            End::Least => Bounds::at_least(self.bounds.lower),
            End::Largest => Bounds::at_most(self.bounds.upper),
            End::Only => self.bounds,
        }
    }

    /// Whether the user set it.
    pub fn by_user(&self) -> bool {
        self.set_by == SetBy::User
    }
}

/// The limit on a number.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limited {
    /// The limit.
    pub limit: Limit,
    /// Which of the values that it bounds the number is.
    pub end: End,
    /// Whether what it speaks of happened.
    pub occurrence: Occurrence,
    /// What else than a limit or a rating sets it, in a word: the name of an option.
    pub by: String,
}

impl Limited {
    /// The limit of a run on a number that it bounds.
    pub fn of(limit: &Limit, end: End, occurrence: Occurrence) -> Self {
        Self { limit: limit.clone(), end, occurrence, by: String::new() }
    }

    /// What sets it, in a word: "rating", "limit", the name of an option.
    pub fn sets(&self) -> &str {
        if self.by.is_empty() { self.limit.set_by.sets() } else { &self.by }
    }

    /// What of a run it bounds and whether that happened, as files write it; empty where it bounds no run.
    pub fn words(&self) -> [&'static str; 2] {
        if self.end == End::Only { [""; 2] } else { [self.limit.of.word(), self.occurrence.word()] }
    }

    /// The most that a quantity may be.
    pub fn at_most(name: &str, unit: &str, most: f64) -> Self {
        Self::one_sided(name, unit, End::Largest, Bounds::at_most(most))
    }

    /// The least that a quantity may be.
    pub fn at_least(name: &str, unit: &str, least: f64) -> Self {
        Self::one_sided(name, unit, End::Least, Bounds::at_least(least))
    }

    /// What the number must keep.
    pub fn bounds(&self) -> Bounds {
        self.limit.bound(self.end)
    }

    fn one_sided(name: &str, unit: &str, end: End, bounds: Bounds) -> Self {
        let limit = Limit { name: name.into(), unit: unit.into(), bounds, ..Limit::default() };
        Self { limit, end, ..Self::default() }
    }
}

/// As programs read it: null where there is no bound.
impl Serialize for Limit {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Flat<'a> {
            name: &'a str,
            kind: &'a str,
            unit: &'a str,
            set_by: SetBy,
            min: f64,
            max: f64,
            waived: &'a Option<String>,
        }
        let Self { name, set_by, of, unit, bounds, waived } = self;
        let (min, max) = (bounds.lower, bounds.upper);
        Flat { name, kind: of.word(), unit, set_by: *set_by, min, max, waived }.serialize(to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_over_may_fail_and_never_keeps_its_most() {
        use Ruling::{Fails, NotJudged, NotProven, Passes};
        let table = [
            (Occurrence::Happened, Passes, Passes, Passes),
            (Occurrence::Happened, Fails, Fails, Fails),
            (Occurrence::Open, Passes, Passes, NotProven),
            (Occurrence::Open, Fails, NotProven, Fails),
            (Occurrence::Open, NotJudged, NotJudged, NotJudged),
            (Occurrence::Never, Passes, NotProven, NotProven),
            (Occurrence::Never, Fails, NotProven, NotProven),
        ];
        for (occurrence, ruling, least, largest) in table {
            assert_eq!(occurrence.temper(End::Least, ruling), least, "{occurrence:?} {ruling:?}");
            assert_eq!(occurrence.temper(End::Largest, ruling), largest, "{occurrence:?} {ruling:?}");
        }
        for of in Bounded::ALL {
            assert_eq!(Bounded::of_word(of.word()), of);
        }
    }
}
