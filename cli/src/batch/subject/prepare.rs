//! From the words of a plan to its subject: the files that it names, under one root.

use std::collections::BTreeMap;

use super::dead_time::PLACES;
use super::{DeadTime, Rating, Subject, checked, limits, section};
use crate::batch::read::PlanFile;
use crate::batch::row::Column;
use crate::batch::variant::Bound;
use crate::diagnostic::{Diagnostic, Refusal};
use crate::scenario::fields::Fields;
use crate::scenario::include::Open;
use crate::scenario::raw::{Node, Raw, Table};

/// A subject that is no scenario, ready to be varied.
pub(crate) struct Prepared {
    /// All tables under one root.
    pub root: Table,
    /// The subject.
    pub subject: Subject,
    /// Its numbers.
    pub columns: Vec<Column>,
    /// Limits of them; columns are counted from the first of the subject's own.
    pub limits: Vec<Bound>,
}

/// Opens what the plan's `rating` or `dead-time` names.
///
/// # Errors
/// Everything that is wrong.
pub(crate) fn prepare(plan: &PlanFile, open: Open<'_>) -> Result<Prepared, Refusal> {
    let rating = plan.fields.table("rating");
    let mut sources = plan.sources.clone();
    let mut diagnostics = Vec::new();
    let mut root = Table { place: plan.root.place.clone(), entries: Vec::new() };
    let mut put = |name: &str, table: Table| {
        let node = Node { place: table.place.clone(), value: Raw::Table(table) };
        root.entries.push((name.to_string(), node.place.clone(), node));
    };
    let subject = match (rating, plan.fields.table("dead-time")) {
        (Some(f), _) => {
            let part = f.text("part").unwrap_or("");
            let at = (f.place_of("part"), "rating.part");
            if let Some((table, _)) = crate::parts::read_typed(part, at, &mut sources, open, &mut diagnostics)
            {
                put("part", table);
            }
            if let Some(package) = f.text("on") {
                let at = (f.place_of("on"), "rating.on");
                let read = crate::package::load_typed(package, at, &mut sources, open, &mut diagnostics);
                if let Some((table, _)) = read {
                    put("package", table);
                }
            }
            if f.has("on") && f.has("interface") {
                let found = "`interface` beside `on`: a package ends at its own heatsink";
                let d = Diagnostic::new(f.place_of("interface"), f.key("interface"), found, "one of the two");
                diagnostics.push(d);
            }
            Subject::Rating(Box::new(Rating::new(part, f.text("on").unwrap_or(""))))
        }
        (None, Some(f)) => {
            let mut names = BTreeMap::new();
            for (key, _) in PLACES {
                let Some(name) = f.text(key) else { continue };
                let at = (f.place_of(key), key);
                let read = crate::parts::read_typed(name, at, &mut sources, open, &mut diagnostics);
                if let Some((table, part)) = read {
                    put(key, table);
                    names.insert(key, part.name);
                }
            }
            Subject::DeadTime(Box::new(DeadTime::new(names)))
        }
        (None, None) => Subject::Run,
    };
    for key in ["rating", "dead-time", "limit"] {
        root.entries.extend(plan.root.entries.iter().filter(|e| e.0 == key).cloned());
    }
    let refuse = |sources, diagnostics| Err(Refusal::sorted(sources, diagnostics));
    if !diagnostics.is_empty() {
        return refuse(sources, diagnostics);
    }
    let place = rating.or(plan.fields.table("dead-time")).map_or(&plan.root.place, |f| &f.place).clone();
    let found = checked(&root, section(rating.is_some())).and_then(|fields| {
        let columns = match &subject {
            Subject::Rating(rating) => rating.columns(&fields),
            Subject::DeadTime(study) => study.columns(&fields),
            Subject::Run => Ok(Vec::new()),
        };
        columns.map(|columns| (fields, columns))
    });
    let told = found.map_err(|(_, why)| Box::new(Diagnostic::new(&place, "", why, "")));
    match told.and_then(|(fields, columns)| Ok((bounds(&fields, &columns)?, columns))) {
        Ok((limits, columns)) => Ok(Prepared { root, subject, columns, limits }),
        Err(d) => refuse(sources, vec![*d]),
    }
}

fn bounds(fields: &Fields, columns: &[Column]) -> Result<Vec<Bound>, Box<Diagnostic>> {
    let at = |name: &str| columns.iter().position(|c| c.name == name);
    let all = limits(fields, &|name| at(name).map(|k| columns[k].unit.clone()))?;
    let one = |limit: super::Limit| {
        let k = at(&limit.output).unwrap_or(0);
        let (name, bounds) = (limit.name, limit.bounds);
        Bound { name, bounds, columns: (k, k), varied: (None, None), by_user: true, waived: false }
    };
    Ok(all.into_iter().map(one).collect())
}
