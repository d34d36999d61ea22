//! `/summary`: the numbers that a reader looks at first, and the verdict against the limits set.

use serde::{Deserialize, Serialize};

use super::archive::Archive;
use super::error::ResultError;
use super::names::{self, Names};
use super::store::Store;

/// Whether the limits set are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Every limit set is kept.
    Passes,
    /// At least one limit is exceeded, or its number could not be found.
    Fails,
    /// No limit was set.
    #[serde(rename = "not judged")]
    NotJudged,
}

impl Verdict {
    /// The word written in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Passes => "passes",
            Self::Fails => "fails",
            Self::NotJudged => "not judged",
        }
    }

    /// By its word.
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::Passes, Self::Fails, Self::NotJudged].into_iter().find(|v| v.word() == word)
    }
}

/// A number of the summary.
#[derive(Clone, Debug, PartialEq)]
pub struct Scalar {
    /// Short name.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// The number.
    pub value: f64,
    /// Unit symbol.
    pub unit: String,
    /// The least that the user allows.
    pub minimum: Option<f64>,
    /// The most that the user allows.
    pub maximum: Option<f64>,
}

impl Scalar {
    /// Whether the number keeps its limits; NaN keeps none.
    pub fn verdict(&self) -> Verdict {
        if self.minimum.is_none() && self.maximum.is_none() {
            return Verdict::NotJudged;
        }
        let above = self.minimum.is_none_or(|minimum| self.value >= minimum);
        let below = self.maximum.is_none_or(|maximum| self.value <= maximum);
        if above && below { Verdict::Passes } else { Verdict::Fails }
    }
}

/// All of the summary.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// In the order to be shown.
    pub scalars: Vec<Scalar>,
}

impl Summary {
    /// The verdict over all numbers.
    pub fn verdict(&self) -> Verdict {
        let mut verdict = Verdict::NotJudged;
        for scalar in &self.scalars {
            match scalar.verdict() {
                Verdict::Fails => return Verdict::Fails,
                Verdict::Passes => verdict = Verdict::Passes,
                Verdict::NotJudged => {}
            }
        }
        verdict
    }
}

/// Fills the group, which exists.
pub(super) fn write(store: &Store, summary: &Summary) -> Result<(), ResultError> {
    let mut names = Names::reserving(&[]);
    for scalar in &summary.scalars {
        let dataset = names.take(&scalar.name);
        let words = if scalar.long_name.is_empty() { &scalar.name } else { &scalar.long_name };
        store.scalar("summary", &dataset, scalar.value, names::unit(&scalar.unit), words)?;
        let path = format!("summary/{dataset}");
        if dataset != scalar.name {
            store.text_attribute(&path, "original_name", &scalar.name)?;
        }
        for (name, limit) in [("minimum", scalar.minimum), ("maximum", scalar.maximum)] {
            if let Some(limit) = limit {
                store.number_attribute(&path, name, limit)?;
            }
        }
        store.text_attribute(&path, "verdict", scalar.verdict().word())?;
    }
    store.group_text("summary", "verdict", summary.verdict().word())
}

/// The summary; none in a partial file.
pub(super) fn read(archive: &Archive) -> Result<Option<Summary>, ResultError> {
    if archive.group_text("summary", "verdict").is_none() {
        return Ok(None);
    }
    let mut scalars = Vec::new();
    for dataset in archive.datasets("summary")? {
        let path = format!("summary/{dataset}");
        scalars.push(Scalar {
            value: archive.scalar(&path)?,
            long_name: archive.text(&path, "long_name").unwrap_or_default(),
            unit: archive.unit(&path),
            minimum: archive.number(&path, "minimum"),
            maximum: archive.number(&path, "maximum"),
            name: archive.text(&path, "original_name").unwrap_or(dataset),
        });
    }
    Ok(Some(Summary { scalars }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scalar(value: f64, minimum: Option<f64>, maximum: Option<f64>) -> Scalar {
        Scalar { name: "peak".into(), long_name: String::new(), value, unit: "A".into(), minimum, maximum }
    }

    #[test]
    fn one_exceeded_limit_fails_all() {
        let kept = scalar(1.0, Some(0.0), Some(1.0));
        let free = scalar(9.0, None, None);
        let exceeded = scalar(1.1, None, Some(1.0));
        let verdict = |scalars: &[&Scalar]| {
            Summary { scalars: scalars.iter().map(|&scalar| scalar.clone()).collect() }.verdict()
        };
        assert_eq!(verdict(&[]), Verdict::NotJudged);
        assert_eq!(verdict(&[&free]), Verdict::NotJudged);
        assert_eq!(verdict(&[&kept, &free]), Verdict::Passes);
        assert_eq!(verdict(&[&kept, &exceeded, &free]), Verdict::Fails);
    }

    #[test]
    fn a_number_that_is_none_keeps_no_limit() {
        assert_eq!(scalar(f64::NAN, Some(0.0), None).verdict(), Verdict::Fails);
        assert_eq!(scalar(f64::NAN, None, Some(0.0)).verdict(), Verdict::Fails);
    }
}
