//! `/summary`: the numbers that a reader looks at first, each with its error, and the verdict over them.

use super::archive::Archive;
use super::error::ResultError;
use super::names::{self, Names};
use super::store::Store;
use crate::judge::{
    Bounded, Bounds, End, Limit, Limited, Occurrence, Ruling, SetBy, Spread, Uncertainty, Verdict, overall,
    rule,
};
use crate::output::answer::Answer;

/// Between the texts of a list that is one attribute.
const BETWEEN: &str = "\n";

/// All of the summary.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// The numbers in the order to be shown.
    pub answers: Vec<Answer>,
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
    /// A summary that rests on its numbers alone, which are judged here.
    pub fn of(mut answers: Vec<Answer>) -> Self {
        answers.iter_mut().for_each(|a| a.ruling = rule(a.value, &a.error, a.bounds(), true));
        Self { answers, ..Self::default() }
    }

    /// The verdict over all numbers.
    pub fn verdict(&self) -> Verdict {
        overall(self.answers.iter().map(|a| a.ruling), !self.doubts.is_empty())
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
    Ruling::ALL.into_iter().find(|r| word(*r) == report)
}

/// The limit on a number as attributes beside it.
fn write_limit(store: &Store, path: &str, limited: &Limited) -> Result<(), ResultError> {
    let Limited { limit, end, occurrence, .. } = limited;
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

/// The limit on a number of this name and unit.
fn read_limit(archive: &Archive, path: &str, name: &str, unit: String) -> Option<Limited> {
    let [minimum, maximum] = ["minimum", "maximum"].map(|name| archive.number(path, name));
    let text = |name: &str| archive.text(path, name);
    let stated = text("limit");
    if stated.is_none() && minimum.or(maximum).is_none() {
        return None;
    }
    let bounds =
        Bounds { lower: minimum.unwrap_or(f64::NEG_INFINITY), upper: maximum.unwrap_or(f64::INFINITY) };
    let limit = Limit {
        name: stated.unwrap_or_else(|| name.into()),
        set_by: text("set_by").and_then(|word| SetBy::of_word(&word)).unwrap_or_default(),
        of: text("limit_kind").map_or(Bounded::Signal, |word| Bounded::of_word(&word)),
        unit,
        bounds,
        waived: text("waived"),
    };
    Some(Limited {
        limit,
        end: text("limit_end").and_then(|word| End::of_word(&word)).unwrap_or(End::Only),
        occurrence: text("occurrence").map_or(Occurrence::Happened, |word| Occurrence::of_word(&word)),
        by: String::new(),
    })
}

/// Fills the group, which exists.
pub(super) fn write(store: &Store, summary: &Summary) -> Result<(), ResultError> {
    let mut names = Names::reserving(&[]);
    for answer in &summary.answers {
        let dataset = names.take(&answer.name);
        let words = if answer.quantity.is_empty() { &answer.name } else { &answer.quantity };
        store.scalar("summary", &dataset, answer.value, names::unit(&answer.unit), words)?;
        let path = format!("summary/{dataset}");
        if dataset != answer.name {
            store.text_attribute(&path, "original_name", &answer.name)?;
        }
        if let Some(limited) = answer.limited.as_ref().filter(|l| !l.bounds().is_none()) {
            write_limit(store, &path, limited)?;
        }
        if let Some(error) = answer.error.plus_minus() {
            store.number_attribute(&path, "error", error)?;
        }
        store.text_attribute(&path, "error_kind", answer.error.word())?;
        if let Uncertainty::NotEstimated { why } = &answer.error {
            store.text_attribute(&path, "error_why", why)?;
        }
        match &answer.spread {
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
        store.text_attribute(&path, "verdict", word(answer.ruling))?;
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
    let mut answers = Vec::new();
    for dataset in archive.datasets("summary")? {
        let path = format!("summary/{dataset}");
        let kind = archive.text(&path, "error_kind").unwrap_or_else(|| "bare".into());
        let error = archive.number(&path, "error");
        let name = archive.text(&path, "original_name").unwrap_or(dataset);
        let limited = read_limit(archive, &path, &name, archive.unit(&path));
        let remark = limited.as_ref().map_or("", |l| l.occurrence.remark(l.limit.of));
        answers.push(Answer {
            quantity: archive.text(&path, "long_name").unwrap_or_default(),
            value: archive.scalar(&path)?,
            unit: archive.unit(&path),
            error: Uncertainty::of_word(&kind, error, archive.text(&path, "error_why")),
            remark: remark.into(),
            limited,
            ruling: archive.text(&path, "verdict").and_then(|r| ruling_of(&r)).unwrap_or_default(),
            spread: archive.text(&path, "input_kind").map(|kind| {
                match archive.number(&path, "input_deviation") {
                    Some(deviation) if kind == "linear" => Spread::Linear { deviation },
                    Some(deviation) if kind == "unresolved" => Spread::Unresolved { deviation },
                    _ => Spread::NotLinear { why: archive.text(&path, "input_why").unwrap_or_default() },
                }
            }),
            name,
            ..Answer::default()
        });
    }
    let texts = |name: &str| -> Vec<String> {
        let report = archive.group_text("summary", name).unwrap_or_default();
        report.split(BETWEEN).filter(|t| !t.is_empty()).map(String::from).collect()
    };
    let (doubts, waivers, notes) = (texts("doubts"), texts("waivers"), texts("notes"));
    let input = archive.group_text("summary", "input").unwrap_or_default();
    Ok(Some(Summary { answers, input, doubts, waivers, notes }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(value: f64, lower: f64, upper: f64, error: f64) -> Answer {
        Answer::new("peak", "peak", value, "A")
            .error(Uncertainty::within(error))
            .limited(Bounds { lower, upper }, "limit")
    }

    #[test]
    fn one_exceeded_limit_fails_all() {
        let (none, endless) = (f64::NEG_INFINITY, f64::INFINITY);
        let kept = answer(1.0, 0.0, 1.0, 0.0);
        let free = answer(9.0, none, endless, 0.0);
        let exceeded = answer(1.1, none, 1.0, 0.0);
        let near = answer(1.0, 0.0, 1.0, 0.1);
        let verdict = |all: &[&Answer]| Summary::of(all.iter().map(|&a| a.clone()).collect()).verdict();
        assert_eq!(verdict(&[]), Verdict::NotJudged);
        assert_eq!(verdict(&[&free]), Verdict::NotJudged);
        assert_eq!(verdict(&[&kept, &free]), Verdict::Passes);
        assert_eq!(verdict(&[&kept, &near]), Verdict::NotProven);
        assert_eq!(verdict(&[&kept, &near, &exceeded, &free]), Verdict::Fails);
        let doubts = vec!["a die has no heat path".to_string()];
        let doubted = Summary { doubts, ..Summary::of(vec![kept]) };
        assert_eq!(doubted.verdict(), Verdict::NotProven);
        // A number that is none proves nothing.
        assert_eq!(verdict(&[&answer(f64::NAN, 0.0, endless, 0.0)]), Verdict::NotProven);
    }
}
