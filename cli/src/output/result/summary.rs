//! `/summary`: the numbers that a reader looks at first, each with its error, and the verdict over them.

use super::archive::Archive;
use super::error::ResultError;
use super::names::{self, Names};
use super::store::Store;
use crate::judge::{
    Bounded, Bounds, End, Limit, Limited, Occurrence, Ruling, SetBy, Spread, Uncertainty, Verdict, overall,
    rule,
};

/// Between the texts of a list that is one attribute.
const BETWEEN: &str = "\n";

/// A number of the summary.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Scalar {
    /// Short name.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// The number.
    pub value: f64,
    /// Unit symbol.
    pub unit: String,
    /// The limit on it.
    pub limited: Option<Limited>,
    /// What is known of its error.
    pub error: Uncertainty,
    /// What the spread of the input does to it; `None`: it is that of the nominal part.
    pub spread: Option<Spread>,
    /// The ruling on it, where something was judged; `None`: the rule on value, error and bounds says it.
    pub ruled: Option<Ruling>,
}

impl Scalar {
    /// What it must keep.
    pub fn bounds(&self) -> Bounds {
        self.limited.as_ref().map_or(Bounds::NONE, Limited::bounds)
    }

    /// The ruling on it.
    pub fn ruling(&self) -> Ruling {
        let error = self.spread.as_ref().map_or_else(|| self.error.clone(), |s| s.beside(&self.error));
        self.ruled.unwrap_or_else(|| {
            let ruling = rule(self.value, &error, self.bounds(), true);
            self.limited.as_ref().map_or(ruling, |l| l.occurrence.temper(l.end, ruling))
        })
    }
}

/// All of the summary.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// In the order to be shown.
    pub scalars: Vec<Scalar>,
    /// What of the input the verdict holds for, in words; empty where nothing is said.
    pub input: String,
    /// Why the verdict cannot be "passes", whatever the numbers say.
    pub doubts: Vec<String>,
    /// What was waived, each with its reason: "`Q1.gate`: reason".
    pub waivers: Vec<String>,
    /// What else is of note.
    pub notes: Vec<String>,
}

impl Summary {
    /// A summary that rests on its numbers alone.
    pub fn of(scalars: Vec<Scalar>) -> Self {
        Self { scalars, ..Self::default() }
    }

    /// The verdict over all numbers.
    pub fn verdict(&self) -> Verdict {
        overall(self.scalars.iter().map(Scalar::ruling), !self.doubts.is_empty())
    }

    /// Whether something was judged without an estimate of its error.
    pub fn bare(&self) -> bool {
        let judged =
            self.scalars.iter().filter(|s| !matches!(s.ruling(), Ruling::NotJudged | Ruling::Waived));
        judged.into_iter().any(|s| s.error == Uncertainty::Bare)
    }
}

/// The word of a number's own verdict.
fn word(ruling: Ruling) -> &'static str {
    match ruling {
        Ruling::Passes => Verdict::Passes.word(),
        Ruling::Fails => Verdict::Fails.word(),
        other => other.word(),
    }
}

/// The ruling of a word.
fn ruling_of(report: &str) -> Option<Ruling> {
    let all = [Ruling::NotJudged, Ruling::Waived, Ruling::Passes, Ruling::NotProven, Ruling::Fails];
    all.into_iter().find(|r| word(*r) == report)
}

/// The limit on a number as attributes beside it.
fn write_limit(store: &Store, path: &str, limited: &Limited) -> Result<(), ResultError> {
    let Limited { limit, end, occurrence } = limited;
    let bounds = limited.bounds();
    for (name, bound) in [("minimum", bounds.lower), ("maximum", bounds.upper)] {
        if bound.is_finite() {
            store.number_attribute(path, name, bound)?;
        }
    }
    store.text_attribute(path, "limit", &limit.name)?;
    store.text_attribute(path, "limit_kind", limit.of.word())?;
    store.text_attribute(path, "limit_end", end.word())?;
    store.text_attribute(path, "set_by", limit.set_by.word())?;
    if *occurrence != Occurrence::Happened {
        store.text_attribute(path, "occurrence", occurrence.word())?;
    }
    if let Some(why) = &limit.waived {
        store.text_attribute(path, "waived", why)?;
    }
    Ok(())
}

/// The limit on a number.
fn read_limit(archive: &Archive, path: &str, scalar: &Scalar) -> Option<Limited> {
    let [minimum, maximum] = ["minimum", "maximum"].map(|name| archive.number(path, name));
    let text = |name: &str| archive.text(path, name);
    let stated = text("limit");
    if stated.is_none() && minimum.or(maximum).is_none() {
        return None;
    }
    let bounds =
        Bounds { lower: minimum.unwrap_or(f64::NEG_INFINITY), upper: maximum.unwrap_or(f64::INFINITY) };
    let limit = Limit {
        name: stated.unwrap_or_else(|| scalar.name.clone()),
        set_by: text("set_by").and_then(|word| SetBy::of_word(&word)).unwrap_or_default(),
        of: text("limit_kind").map_or(Bounded::Signal, |word| Bounded::of_word(&word)),
        unit: scalar.unit.clone(),
        bounds,
        waived: text("waived"),
    };
    Some(Limited {
        limit,
        end: text("limit_end").and_then(|word| End::of_word(&word)).unwrap_or(End::Only),
        occurrence: text("occurrence").map_or(Occurrence::Happened, |word| Occurrence::of_word(&word)),
    })
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
        if let Some(limited) = &scalar.limited {
            write_limit(store, &path, limited)?;
        }
        if let Some(error) = scalar.error.plus_minus() {
            store.number_attribute(&path, "error", error)?;
        }
        store.text_attribute(&path, "error_kind", scalar.error.word())?;
        if let Uncertainty::NotEstimated { why } = &scalar.error {
            store.text_attribute(&path, "error_why", why)?;
        }
        match &scalar.spread {
            Some(Spread::Linear { deviation }) => {
                store.text_attribute(&path, "input_kind", "linear")?;
                store.number_attribute(&path, "input_deviation", *deviation)?;
            }
            Some(Spread::Unresolved { deviation }) => {
                store.text_attribute(&path, "input_kind", "unresolved")?;
                store.number_attribute(&path, "input_deviation", *deviation)?;
            }
            Some(Spread::NotLinear { why }) => {
                store.text_attribute(&path, "input_kind", "not linear")?;
                store.text_attribute(&path, "input_why", why)?;
            }
            None => {}
        }
        store.text_attribute(&path, "verdict", word(scalar.ruling()))?;
    }
    for (name, texts) in
        [("doubts", &summary.doubts), ("waivers", &summary.waivers), ("notes", &summary.notes)]
    {
        if !texts.is_empty() {
            store.group_text("summary", name, &texts.join(BETWEEN))?;
        }
    }
    if !summary.input.is_empty() {
        store.group_text("summary", "input", &summary.input)?;
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
        let kind = archive.text(&path, "error_kind").unwrap_or_else(|| "bare".into());
        let error = archive.number(&path, "error");
        let mut scalar = Scalar {
            error: Uncertainty::of_word(&kind, error, archive.text(&path, "error_why")),
            spread: archive.text(&path, "input_kind").map(|kind| {
                match archive.number(&path, "input_deviation") {
                    Some(deviation) if kind == "linear" => Spread::Linear { deviation },
                    Some(deviation) if kind == "unresolved" => Spread::Unresolved { deviation },
                    _ => Spread::NotLinear { why: archive.text(&path, "input_why").unwrap_or_default() },
                }
            }),
            ruled: None,
            value: archive.scalar(&path)?,
            long_name: archive.text(&path, "long_name").unwrap_or_default(),
            unit: archive.unit(&path),
            limited: None,
            name: archive.text(&path, "original_name").unwrap_or(dataset),
        };
        scalar.limited = read_limit(archive, &path, &scalar);
        let report = archive.text(&path, "verdict").and_then(|report| ruling_of(&report));
        scalar.ruled = report.filter(|report| *report != scalar.ruling());
        scalars.push(scalar);
    }
    let texts = |name: &str| -> Vec<String> {
        let report = archive.group_text("summary", name).unwrap_or_default();
        report.split(BETWEEN).filter(|t| !t.is_empty()).map(String::from).collect()
    };
    let (doubts, waivers, notes) = (texts("doubts"), texts("waivers"), texts("notes"));
    let input = archive.group_text("summary", "input").unwrap_or_default();
    Ok(Some(Summary { scalars, input, doubts, waivers, notes }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scalar(value: f64, minimum: Option<f64>, maximum: Option<f64>) -> Scalar {
        let (name, unit) = ("peak".to_string(), "A".to_string());
        let limited = match (minimum, maximum) {
            (Some(x), _) => Some(Limited::at_least("peak", "A", x)),
            (_, Some(x)) => Some(Limited::at_most("peak", "A", x)),
            _ => None,
        };
        Scalar { name, value, unit, limited, ..Scalar::default() }
    }

    #[test]
    fn one_exceeded_limit_fails_all() {
        let kept = scalar(1.0, None, Some(1.0));
        let free = scalar(9.0, None, None);
        let exceeded = scalar(1.1, None, Some(1.0));
        let near = Scalar { error: Uncertainty::within(0.1), ..kept.clone() };
        let verdict = |scalars: &[&Scalar]| {
            Summary::of(scalars.iter().map(|&scalar| scalar.clone()).collect()).verdict()
        };
        assert_eq!(verdict(&[]), Verdict::NotJudged);
        assert_eq!(verdict(&[&free]), Verdict::NotJudged);
        assert_eq!(verdict(&[&kept, &free]), Verdict::Passes);
        assert_eq!(verdict(&[&kept, &near]), Verdict::NotProven);
        assert_eq!(verdict(&[&kept, &near, &exceeded, &free]), Verdict::Fails);
        let doubts = vec!["a die has no heat path".to_string()];
        let doubted = Summary { scalars: vec![kept], doubts, ..Summary::default() };
        assert_eq!(doubted.verdict(), Verdict::NotProven);
    }

    #[test]
    fn a_number_that_is_none_proves_nothing() {
        assert_eq!(scalar(f64::NAN, Some(0.0), None).ruling(), Ruling::NotProven);
        assert_eq!(scalar(f64::NAN, None, Some(0.0)).ruling(), Ruling::NotProven);
    }
}
