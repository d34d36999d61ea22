//! Errors and verdict of a study: the same computation at other levels, compared number by number.

use std::collections::BTreeMap;
use std::fmt;

use super::{Outcome, Study};
use crate::judge::{
    Computed, Level, Number, Proof, Ruling, Uncertainty, coarser, errors, errors_of_rounds, overall, prove,
    rule,
};
use crate::output::table::Cell;

/// How errors are found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Estimation {
    /// By two coarser computations.
    #[default]
    Coarser,
    /// Not at all: numbers are judged as they stand.
    None,
    /// By finer computations until every judged number stands still within its margin.
    Proof,
}

/// What the estimate of errors needs to know of a computation.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Computation {
    /// What protection did, in order, without instants.
    pub course: Vec<String>,
    /// Steps and Newton iterations.
    pub steps: u64,
    /// See `steps`.
    pub iterations: u64,
    /// The largest ratio of two differences that is believed; `None`: that of runs.
    pub ratio: Option<f64>,
    /// Whether steps exceeded the error bound at their finest length.
    pub stalled: bool,
    /// Steps of the coarser computations.
    pub of_estimate: u64,
    /// Their iterations.
    pub iterations_of_estimate: u64,
    /// Whether its numbers stand without errors: nothing is judged.
    pub bare: bool,
    /// What a level of a proof refines, in words: "steps, tables and meshes".
    pub refined: &'static str,
}

/// Computes a study at a level and gives it with errors, rulings and verdict. What it reports does not depend on the
/// number of threads.
///
/// # Errors
/// When the computation as stated fails. A coarser or finer one that fails leaves its trace in the errors or notes.
pub fn assess<E: fmt::Display + Send>(
    how: Estimation,
    stop: &(dyn Fn() -> bool + Sync),
    at: &(dyn Fn(Level) -> Result<Study, E> + Sync),
) -> Result<Study, E> {
    let mut study = match how {
        Estimation::None => at(Level::STATED)?,
        Estimation::Coarser => {
            let mut study = at(Level::STATED)?;
            // What came early to its end has nothing to compare.
            if study.outcome == Outcome::Done && !study.computation.bare {
                study.estimate(&coarser(|level| at(level).map(|s| s.computed())));
            }
            study
        }
        Estimation::Proof => proven(stop, at)?,
    };
    study.judge();
    Ok(study)
}

fn proven<E: fmt::Display>(
    stop: &(dyn Fn() -> bool + Sync),
    at: &(dyn Fn(Level) -> Result<Study, E> + Sync),
) -> Result<Study, E> {
    let mut rounds: Vec<Study> = Vec::new();
    let bounds = std::cell::RefCell::new(BTreeMap::new());
    let steady = std::cell::Cell::new(true);
    let refine = |level: Level| {
        let study = at(level).map_err(Early::Failed)?;
        steady.set(!study.computation.stalled);
        bounds.replace(study.answers.iter().map(|a| (a.name.clone(), a.bounds())).collect());
        let computed = study.computed();
        let done = study.outcome == Outcome::Done;
        rounds.insert(0, study);
        rounds.truncate(3);
        if done { Ok(computed) } else { Err(Early::Ended) }
    };
    let held = |name: &str| bounds.borrow().get(name).copied().filter(|b| !b.is_none());
    let proof = prove(refine, held, || steady.get(), stop);
    let mut all = rounds.into_iter();
    let (mut study, others) = match (all.next(), proof) {
        (None, Err(Early::Failed(why))) => return Err(why),
        // A first computation that succeeds is there whatever follows.
        (None, _) => return at(Level::STATED),
        (Some(study), Err(Early::Ended)) => return Ok(study),
        (Some(study), Err(why)) => {
            let mut study = study;
            let Early::Failed(why) = why else { return Ok(study) };
            study.notes.push(format!("a finer computation ended early: {why}"));
            study.doubts.push("the proof did not come to its end".into());
            (study, all.collect::<Vec<_>>())
        }
        (Some(mut study), Ok(Proof { rounds, proven, .. })) => {
            let of = study.computation.refined;
            if proven {
                study.notes.push(format!("proven by {rounds} rounds of finer {of}"));
            } else {
                study.doubts.push(format!("{rounds} rounds of finer {of} do not settle every judged number"));
            }
            (study, all.collect())
        }
    };
    let fine = study.computed();
    let found = match others.as_slice() {
        [a, b] => errors_of_rounds(&fine, [&a.computed(), &b.computed()]),
        _ => vec![Uncertainty::not_estimated("fewer than three computations"); fine.numbers.len()],
    };
    study.adopt(&found);
    Ok(study)
}

/// A round of a proof that has no numbers to compare.
enum Early<E> {
    /// There is no answer.
    Failed(E),
    /// It did not come to its end.
    Ended,
}

impl<E: fmt::Display> fmt::Display for Early<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Failed(why) => why.fmt(f),
            Self::Ended => f.write_str("it did not come to its end"),
        }
    }
}

impl Study {
    /// Takes the errors that two coarser computations tell.
    fn estimate<E: ToString>(&mut self, coarser: &[Result<Computed, E>; 2]) {
        let cost = |of: fn(&Computed) -> u64| -> u64 { coarser.iter().flatten().map(of).sum() };
        (self.computation.of_estimate, self.computation.iterations_of_estimate) =
            (cost(|c| c.steps), cost(|c| c.iterations));
        let found = errors(&self.computed(), coarser);
        self.adopt(&found);
    }

    /// Its numbers: the answers', then those of the tables' estimated columns.
    pub fn computed(&self) -> Computed {
        let answer = |a: &super::Answer| Number {
            name: a.name.clone(),
            value: a.value,
            missed: a.missed,
            further: a.further,
            own: a.error.clone(),
            counted: a.limited.as_ref().is_some_and(|l| l.limit.of.is_count()),
            exact: a.exact,
        };
        let mut numbers: Vec<Number> = self.answers.iter().map(answer).collect();
        for table in &self.tables {
            numbers.extend(table.numbers());
        }
        let Computation { course, steps, iterations, ratio, .. } = self.computation.clone();
        Computed { numbers, course, steps, iterations, ratio }
    }

    /// Names and units of what a batch has a column of: the answers, and the quantities of tables; each with whether
    /// coarser computations tell nothing of its error.
    pub fn columns(&self) -> Vec<(String, String, bool)> {
        let mut all: Vec<_> =
            self.answers.iter().map(|a| (a.name.clone(), a.unit.clone(), a.exact)).collect();
        let known = self.known();
        let mut at = self.answers.len();
        for table in &self.tables {
            let numbers = table.numbers();
            let here = known[at..].iter().zip(&numbers).filter(|_| !table.quantities.is_empty());
            all.extend(here.map(|((unit, _), number)| (number.name.clone(), unit.clone(), false)));
            at += numbers.len();
        }
        all
    }

    /// Unit and error of each number, in the order of [`Study::computed`].
    pub fn known(&self) -> Vec<(String, Uncertainty)> {
        let mut all: Vec<_> = self.answers.iter().map(|a| (a.unit.clone(), a.error.clone())).collect();
        for table in &self.tables {
            let column = |name: &String| table.data.heads.iter().position(|h| h.name == *name);
            let columns: Vec<usize> = table.estimated.iter().filter_map(column).collect();
            for (row, &k) in table.data.rows.iter().flat_map(|row| columns.iter().map(move |k| (row, k))) {
                let error = match row.get(k + 1) {
                    Some(Cell::Error(error)) => error.clone(),
                    _ => Uncertainty::Bare,
                };
                all.push((table.data.unit_of(row, k).into(), error));
            }
        }
        all
    }

    /// Takes errors in the order of [`Study::computed`].
    pub fn adopt(&mut self, errors: &[Uncertainty]) {
        let mut errors = errors.iter();
        for (answer, error) in self.answers.iter_mut().zip(errors.by_ref()).filter(|(a, _)| !a.exact) {
            answer.error = error.clone();
        }
        for table in &mut self.tables {
            let columns: Vec<&str> = table.estimated.iter().map(String::as_str).collect();
            table.data = std::mem::take(&mut table.data).with_errors(&columns, &mut errors);
        }
    }

    /// Rules over every limit and gives the verdict.
    pub fn judge(&mut self) {
        let unfinished = self.outcome != Outcome::Done;
        let stalled = self.computation.stalled;
        for a in &mut self.answers {
            // Steps that stalled at their finest length prove nothing, unless coarser ones show that they converge.
            let known = a.known && (!stalled || matches!(a.error, Uncertainty::Within { .. }));
            let bounds = a.bounds();
            a.ruling = match (a.waived(), bounds.is_none()) {
                (_, true) => Ruling::NotJudged,
                // What ended at once has seen nothing.
                _ if unfinished && a.value.is_nan() => Ruling::NotJudged,
                (Some(_), _) => Ruling::Waived,
                (None, false) => match (rule(a.value, &a.error, bounds, known), &a.spread) {
                    // The nominal part is one of the parts: what it exceeds is exceeded.
                    (ruling, None) | (ruling @ Ruling::Fails, _) => ruling,
                    (_, Some(spread)) => rule(a.value, &spread.beside(&a.error), bounds, known),
                },
            };
            if let Some(l) = a.limited.as_ref().filter(|_| a.ruling != Ruling::Waived) {
                a.ruling = l.occurrence.temper(l.end, a.ruling);
            }
        }
        let rulings = || self.answers.iter().map(|a| a.ruling);
        // What was not computed to its end has not shown that it keeps its limits, but may have shown the contrary.
        let judges = rulings().any(|r| !matches!(r, Ruling::NotJudged | Ruling::Waived));
        let judged = self.answers.iter().any(|a| !a.bounds().is_none()) || !self.doubts.is_empty();
        let verdict = overall(rulings(), (judges && unfinished) || !self.doubts.is_empty());
        self.verdict = judged.then_some(verdict);
    }
}

#[cfg(test)]
mod tests {
    use super::super::Answer;
    use super::*;
    use crate::judge::{Bounds, Verdict};

    /// A method of order two and a half: the error grows by 2.4 from level to level.
    fn study(level: Level, limit: f64) -> Result<Study, String> {
        let value = 1.0 + 1e-3 * level.of_steps().powf(2.5);
        let answer = Answer::new("x", "x", value, "V").limited(Bounds::at_most(limit), "limit");
        Ok(Study { answers: vec![answer], ..Study::default() })
    }

    #[test]
    fn errors_decide_between_passes_and_not_proven() {
        for (limit, verdict) in [(1.01, Verdict::Passes), (1.0015, Verdict::NotProven), (0.9, Verdict::Fails)]
        {
            let found = assess(Estimation::Coarser, &|| false, &|level| study(level, limit)).unwrap();
            assert_eq!(found.verdict, Some(verdict), "{limit}");
            let error = found.answers[0].error.plus_minus().unwrap();
            assert!((error / 1.25e-3 - 1.0).abs() < 1e-6, "{error}");
        }
        let proven = assess(Estimation::Proof, &|| false, &|level| study(level, 1.0005)).unwrap();
        assert_eq!(proven.verdict, Some(Verdict::Passes));
        let bare = assess(Estimation::None, &|| false, &|level| study(level, 1.0015)).unwrap();
        assert_eq!((bare.verdict, bare.answers[0].error.clone()), (Some(Verdict::Passes), Uncertainty::Bare));
    }
}
