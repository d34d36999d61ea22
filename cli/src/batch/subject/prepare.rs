//! From the words of a plan to its subject: the files that it names, under one root.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::{Subject, Varied, limits};
use crate::batch::read::PlanFile;
use crate::batch::row::Column;
use crate::batch::variant::Bound;
use crate::diagnostic::{Diagnostic, Refusal};
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::RawTable;
use crate::input::scenario::resolved::Scenario;
use crate::judge::{Level, Limit, SetBy};
use crate::output::answer::Estimation;
use crate::study::inputs::gather;
use crate::study::question::section;
use crate::study::{CATALOGUE, Cache, Checked, Entry};

/// A study, ready to be varied.
pub(crate) struct Prepared {
    /// The subject.
    pub subject: Subject,
    /// Its numbers.
    pub columns: Vec<Column>,
    /// What the tables mean, where they are a scenario.
    pub scenario: Option<Arc<Scenario>>,
    /// Limits of them; columns are counted from the first of the study's own.
    pub limits: Vec<Bound>,
}

/// The study that a plan names.
pub(crate) fn named(plan: &PlanFile) -> Option<&'static Entry> {
    CATALOGUE.iter().copied().find(|e| plan.fields.has(e.section.name))
}

/// Opens what the plan's study names.
///
/// # Errors
/// Everything that is wrong.
pub(crate) fn prepare(plan: &PlanFile, open: Open<'_>) -> Result<Prepared, Refusal> {
    let mut sources = plan.sources.clone();
    let refuse = |sources, diagnostics| Err(Refusal::sorted(sources, diagnostics));
    let found = named(plan).and_then(|entry| Some((entry, plan.fields.under(entry.section.name).first()?)));
    let Some((entry, fields)) = found else {
        let d =
            Diagnostic::new(&plan.root.span, "", "nothing to vary", "`scenario`, or the table of a study");
        return refuse(sources, vec![d]);
    };
    let mut diagnostics = Vec::new();
    let files = match gather(entry, fields, &mut sources, open, &mut diagnostics) {
        Ok(files) => files,
        Err((name, error)) => {
            let found = format!("cannot read `{name}`: {}", reason(&error));
            return refuse(
                sources,
                vec![Diagnostic::new(&fields.span, entry.section.name, found, "a scenario file")],
            );
        }
    };
    let own = plan.root.entries.iter().filter(|e| e.0 == entry.section.name || e.0 == "limit").cloned();
    let mut root = RawTable { span: plan.root.span.clone(), entries: own.collect() };
    files.put_into(&mut root);
    if !diagnostics.is_empty() {
        return refuse(sources, diagnostics);
    }
    let mut varied = Varied {
        entry,
        section: section(entry),
        doubts: Vec::new(),
        checked: Checked::new(entry, &root, files.loaded),
        cache: Cache::default(),
        base: None,
    };
    // Names, units and limits are the same on every mesh: the coarsest is enough to know them. What has no answer there
    // may have one on a finer one. Steps are as stated: with coarser ones a search may not end.
    let never = AtomicBool::new(false);
    let named = |how| varied.solve(&[], (Level::STATED, how), &never);
    let (question, study) = match named(None).or_else(|_| named(Some(Estimation::None))) {
        Ok(solved) => solved,
        Err(why) => {
            let what = why.map_or("interrupted".into(), |w| w.1);
            return refuse(sources, vec![Diagnostic::new(&fields.span, entry.section.name, what, "")]);
        }
    };
    let columns = Column::all_of(&study);
    let at = |name: &str| columns.iter().position(|c| c.name == name);
    let of_plan = match limits(question.limits(), &|name| at(name).map(|k| columns[k].unit.clone())) {
        Ok(limits) => limits,
        Err(d) => return refuse(sources, vec![*d]),
    };
    let bound = |limit: Limit, output: &str| {
        let k = at(output).unwrap_or(0);
        Bound { limit, columns: (k, k), varied: (None, None) }
    };
    let mut bounds: Vec<Bound> = of_plan.into_iter().map(|l| bound(l.limit, &l.output)).collect();
    for a in &study.answers {
        if let Some(l) = a.limited.as_ref().filter(|l| !l.bounds().is_none()) {
            let (name, bounded) = (a.name.clone(), l.bounds());
            // The plan did not set it.
            let limit = Limit { name, set_by: SetBy::Part, bounds: bounded, ..l.limit.clone() };
            bounds.push(bound(limit, &a.name));
        }
    }
    varied.doubts = study.doubts;
    let scenario = question.shared_scenario();
    varied.base = Some(question);
    Ok(Prepared { subject: Subject::Study(Box::new(varied)), columns, scenario, limits: bounds })
}
