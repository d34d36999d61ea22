//! The rule: a value with its error against its bounds, and the verdict over all.

use serde::{Deserialize, Serialize};

use super::error::Uncertainty;
use crate::exit::{DONE, FAILS, NOT_PROVEN};

/// What a value must keep; infinite where there is no bound.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bounds {
    /// The least allowed.
    pub lower: f64,
    /// The most allowed.
    pub upper: f64,
}

impl Default for Bounds {
    fn default() -> Self {
        Self::NONE
    }
}

impl Bounds {
    /// No bound.
    pub const NONE: Self = Self { lower: f64::NEG_INFINITY, upper: f64::INFINITY };

    /// At most this.
    pub fn at_most(upper: f64) -> Self {
        Self { upper, ..Self::NONE }
    }

    /// At least this.
    pub fn at_least(lower: f64) -> Self {
        Self { lower, ..Self::NONE }
    }

    /// Whether values from the least to the largest lie within.
    pub fn hold(&self, least: f64, largest: f64) -> bool {
        least >= self.lower && largest <= self.upper
    }

    /// Whether nothing is bounded.
    pub fn is_none(&self) -> bool {
        self.lower == f64::NEG_INFINITY && self.upper == f64::INFINITY
    }
}

/// The ruling on one limit. From the best to the worst.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Ruling {
    /// There is nothing to judge, or nothing to judge by.
    #[default]
    #[serde(rename = "not judged")]
    NotJudged,
    /// The user waived it, with a reason.
    Waived,
    /// Kept, by more than the error.
    Passes,
    /// Neither kept nor exceeded by more than the error.
    #[serde(rename = "not proven")]
    NotProven,
    /// Exceeded, by more than the error.
    Fails,
}

impl Ruling {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::NotJudged, Self::Waived, Self::Passes, Self::NotProven, Self::Fails];

    /// By its word; one that is not known judges nothing.
    pub fn of_word(word: &str) -> Self {
        Self::ALL.into_iter().find(|r| r.word() == word).unwrap_or_default()
    }

    /// The word written in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::NotJudged => "not judged",
            Self::Waived => "waived",
            Self::Passes => "kept",
            Self::NotProven => "not proven",
            Self::Fails => "EXCEEDED",
        }
    }
}

/// The verdict over all limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Every limit is kept, by more than the error of its number.
    Passes,
    /// At least one limit is exceeded, by more than the error of its number.
    Fails,
    /// None is shown to be exceeded, and at least one is not shown to be kept.
    #[serde(rename = "not proven")]
    NotProven,
    /// There was nothing to judge.
    #[serde(rename = "not judged")]
    NotJudged,
}

impl Verdict {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Passes, Self::Fails, Self::NotProven, Self::NotJudged];

    /// The word written in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Passes => "passes",
            Self::Fails => "fails",
            Self::NotProven => "not proven",
            Self::NotJudged => "not judged",
        }
    }

    /// By its word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|v| v.word() == word)
    }
}

/// The verdict over variants that have one each.
pub fn over_all(verdicts: impl IntoIterator<Item = Verdict>) -> Verdict {
    overall(
        verdicts.into_iter().map(|verdict| match verdict {
            Verdict::Passes => Ruling::Passes,
            Verdict::Fails => Ruling::Fails,
            Verdict::NotProven => Ruling::NotProven,
            Verdict::NotJudged => Ruling::NotJudged,
        }),
        false,
    )
}

/// Rules on a value. `known`: its law is inside the range for which it is known; outside, a value may fail, never pass.
/// A bare value is judged as it stands. What is not a number proves nothing.
pub fn rule(value: f64, error: &Uncertainty, bounds: Bounds, known: bool) -> Ruling {
    if bounds.is_none() {
        return Ruling::NotJudged;
    }
    let error = match error {
        Uncertainty::Bare => 0.0,
        other => other.plus_minus().unwrap_or(f64::NAN),
    };
    // Every comparison with what is not a number is false, so that it neither passes nor fails.
    let (least, most) = (value - error, value + error);
    if least > bounds.upper || most < bounds.lower {
        Ruling::Fails
    } else if known && most <= bounds.upper && least >= bounds.lower {
        Ruling::Passes
    } else {
        Ruling::NotProven
    }
}

/// The worst of several rulings on one limit.
pub fn worst(rulings: impl IntoIterator<Item = Ruling>) -> Ruling {
    rulings.into_iter().max().unwrap_or(Ruling::NotJudged)
}

/// The verdict over all rulings: any that fails decides, then any that is not proven. `doubted`: something that should
/// have been judged could not be, or the numbers rest on something that is not known to be right.
pub fn overall(rulings: impl IntoIterator<Item = Ruling>, doubted: bool) -> Verdict {
    match worst(rulings) {
        Ruling::Fails => Verdict::Fails,
        _ if doubted => Verdict::NotProven,
        Ruling::NotProven => Verdict::NotProven,
        Ruling::Passes => Verdict::Passes,
        // A study whose only limits are waived judged nothing.
        Ruling::Waived | Ruling::NotJudged => Verdict::NotJudged,
    }
}

/// The exit code. `error`: the code of what went wrong before there could be a verdict (bad input, numerical failure,
/// a file that cannot be written, an interruption); it comes first.
pub fn exit_code(error: Option<u8>, verdict: Verdict) -> u8 {
    error.unwrap_or(match verdict {
        Verdict::Passes | Verdict::NotJudged => DONE,
        Verdict::Fails => FAILS,
        Verdict::NotProven => NOT_PROVEN,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exit::{BAD_INPUT, INPUT_OUTPUT, INTERRUPTED, NUMERICAL};

    #[test]
    fn a_value_with_its_error_against_an_upper_and_a_lower_limit() {
        use Ruling::{Fails, NotJudged, NotProven, Passes};
        let within = Uncertainty::within;
        let wild = |plus_minus| Uncertainty::NotConverging { plus_minus };
        let unknown = Uncertainty::not_estimated("runs disagree");
        let nan = f64::NAN;
        // value, error, law known, against "at most 10", against "at least 10"
        let table: Vec<(f64, Uncertainty, bool, Ruling, Ruling)> = vec![
            (9.0, within(0.5), true, Passes, Fails),
            (9.5, within(0.5), true, Passes, NotProven),
            (9.8, within(0.5), true, NotProven, NotProven),
            (10.2, within(0.5), true, NotProven, NotProven),
            (10.6, within(0.5), true, Fails, Passes),
            (10.0, within(0.0), true, Passes, Passes),
            (9.0, Uncertainty::Bare, true, Passes, Fails),
            (11.0, Uncertainty::Bare, true, Fails, Passes),
            (9.0, wild(0.5), true, Passes, Fails),
            (9.0, wild(3.0), true, NotProven, NotProven),
            (1.0, unknown.clone(), true, NotProven, NotProven),
            (99.0, unknown, true, NotProven, NotProven),
            // Outside the range of the law: may fail, never passes.
            (9.0, within(0.5), false, NotProven, Fails),
            (11.0, within(0.5), false, Fails, NotProven),
            (9.0, Uncertainty::Bare, false, NotProven, Fails),
            // No number proves nothing.
            (nan, within(0.5), true, NotProven, NotProven),
            (nan, Uncertainty::Bare, true, NotProven, NotProven),
            (9.0, within(nan), true, NotProven, NotProven),
            (9.0, within(f64::INFINITY), true, NotProven, NotProven),
            (f64::INFINITY, Uncertainty::Bare, true, Fails, Passes),
        ];
        for (value, error, known, upper, lower) in table {
            let report = format!("{value} {error:?} {known}");
            assert_eq!(rule(value, &error, Bounds::at_most(10.0), known), upper, "{report}");
            assert_eq!(rule(value, &error, Bounds::at_least(10.0), known), lower, "{report}");
            assert_eq!(rule(value, &error, Bounds::NONE, known), NotJudged, "{report}");
        }
        let between = Bounds { lower: 1.0, upper: 2.0 };
        assert_eq!(rule(1.5, &within(0.4), between, true), Passes);
        assert_eq!(rule(1.5, &within(0.6), between, true), NotProven);
        assert_eq!(rule(0.5, &within(0.4), between, true), Fails);
    }

    #[test]
    fn precedence_and_exit_codes() {
        use Ruling::{Fails, NotJudged, NotProven, Passes, Waived};
        let table: [(&[Ruling], bool, Verdict, u8); 13] = [
            (&[], false, Verdict::NotJudged, 0),
            (&[NotJudged], false, Verdict::NotJudged, 0),
            (&[Waived], false, Verdict::NotJudged, 0),
            (&[Passes], false, Verdict::Passes, 0),
            (&[Passes, NotJudged, Waived], false, Verdict::Passes, 0),
            (&[Passes, NotProven], false, Verdict::NotProven, 5),
            (&[NotProven, Fails, Passes], false, Verdict::Fails, 1),
            (&[Fails], true, Verdict::Fails, 1),
            (&[Passes], true, Verdict::NotProven, 5),
            (&[], true, Verdict::NotProven, 5),
            (&[Waived], true, Verdict::NotProven, 5),
            (&[NotProven], true, Verdict::NotProven, 5),
            (&[Waived, Fails], false, Verdict::Fails, 1),
        ];
        for (rulings, doubted, verdict, code) in table {
            let report = format!("{rulings:?} {doubted}");
            assert_eq!(overall(rulings.iter().copied(), doubted), verdict, "{report}");
            assert_eq!(exit_code(None, verdict), code, "{report}");
            for error in [BAD_INPUT, NUMERICAL, INPUT_OUTPUT, INTERRUPTED] {
                assert_eq!(exit_code(Some(error), verdict), error, "{report}");
            }
        }
    }

    #[test]
    fn words_are_found_again() {
        for verdict in Verdict::ALL {
            assert_eq!(Verdict::of_word(verdict.word()), Some(verdict));
        }
        assert_eq!(Verdict::of_word("perhaps"), None);
    }
}
