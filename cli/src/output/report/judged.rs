//! What is asked of limits and ratings, and the answer in sentences.

use crate::judge::{Ruling, SetBy, Uncertainty, Verdict};
use crate::output::answer::{Answer, Study};

/// Most quantities that a report states in sentences where nothing is judged.
const SENTENCES: usize = 6;

fn is_judged(a: &&Answer) -> bool {
    !matches!(a.ruling, Ruling::NotJudged | Ruling::Waived)
}

fn bounded(study: &Study, rated: bool) -> impl Iterator<Item = &Answer> {
    study.answers.iter().filter(move |a| !a.bounds().is_none() && (a.set_by() == SetBy::Part.sets()) == rated)
}

/// What is asked, where the title asks nothing.
pub(super) fn question(study: &Study) -> String {
    if study.title.ends_with('?') || study.answers.is_empty() {
        return String::new();
    }
    let each: Vec<String> =
        bounded(study, false).map(|a| format!("{} {}", a.quantity, a.bounds_words())).collect();
    match each.len() {
        0 => "Are the ratings of the parts kept? No limit is set.".into(),
        1 => format!("Is the limit set kept: {}?", each[0]),
        _ => format!("Are the limits set kept: {}?", each.join("; ")),
    }
}

/// The quantity that decides: the worst ruled, of those the one with the least margin, as a share of the bound; of
/// those that are not proven, in units of the error.
fn deciding(study: &Study) -> Option<&Answer> {
    let all = || study.answers.iter().filter(is_judged);
    let worst = all().map(|a| a.ruling).max()?;
    let share = |a: &Answer| (a.margin_share().unwrap_or(f64::INFINITY), a.margin());
    // A count that is kept is kept exactly: its margin says nothing of how near it came.
    let counts =
        |a: &Answer| worst == Ruling::Passes && a.limited.as_ref().is_some_and(|l| l.limit.of.is_count());
    let others = all().any(|a| !counts(a));
    all().filter(|a| a.ruling == worst && !(others && counts(a))).min_by(|a, b| {
        let times =
            |a: &Answer| a.margin_in_errors().filter(|_| worst == Ruling::NotProven).unwrap_or(f64::INFINITY);
        let order = times(a).total_cmp(&times(b));
        order.then(share(a).0.total_cmp(&share(b).0)).then(share(a).1.total_cmp(&share(b).1))
    })
}

/// The answer: what decides, then whatever else fails or is not proven; the first few quantities where nothing is
/// judged.
pub(super) fn sentences(study: &Study) -> Vec<String> {
    let Some(deciding) = deciding(study) else {
        return study.answers.iter().filter(|a| !a.exact).take(SENTENCES).map(Answer::sentence).collect();
    };
    let mut out = Vec::new();
    if deciding.ruling < Ruling::NotProven && !study.doubts.is_empty() {
        let doubts = match study.doubts.len() {
            1 => "the doubt".into(),
            n => format!("the {n} doubts"),
        };
        out.push(format!("Not proven for {doubts} below; what could be judged is kept."));
    }
    let word = |ruling: Ruling| match ruling {
        Ruling::Fails => "Exceeded",
        Ruling::NotProven => "Not proven",
        _ => "Nearest to its limit",
    };
    out.push(format!("{}: {}", word(deciding.ruling), deciding.sentence()));
    let beyond = |a: &&Answer| matches!(a.ruling, Ruling::Fails | Ruling::NotProven) && *a != deciding;
    let mut others: Vec<&Answer> = study.answers.iter().filter(beyond).collect();
    others.sort_by_key(|a| std::cmp::Reverse(a.ruling));
    out.extend(others.iter().map(|a| format!("{}: {}", word(a.ruling), a.sentence())));
    if study.verdict == Some(Verdict::Passes) {
        let [set, rated] = [false, true].map(|rated| bounded(study, rated).filter(is_judged).count());
        let several = |n: usize, what: &str| format!("{n} {what}{}", if n == 1 { "" } else { "s" });
        out.push(match (set, rated) {
            (set, 0) => format!("Kept: {} set.", several(set, "limit")),
            (0, rated) => format!("Kept: {} of the parts. No limit is set.", several(rated, "rating")),
            _ => format!("Kept: {} set, {} of the parts.", several(set, "limit"), several(rated, "rating")),
        });
    }
    if study.answers.iter().any(|a| is_judged(&a) && a.value.is_finite() && a.error == Uncertainty::Bare) {
        out.push("The numbers are judged as they stand, without an estimate of their errors.".into());
    }
    if !study.input.is_empty() {
        out.push(format!("What the verdict holds for: {}.", study.input));
    }
    out
}
