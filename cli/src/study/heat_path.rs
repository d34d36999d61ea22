//! What studies of parts on their heat paths share: the keys that say where the heat goes, the path itself, the gate
//! voltage and the highest junction temperature.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use joulestep_engine::thermal::field::reduce::Near;
use joulestep_models::merit::{Conditions, gate_on};
use joulestep_models::model::Range::{Any, NotNegative};
use joulestep_models::package::Package;
use joulestep_models::part::Part;
use joulestep_models::rating::RatingError;
use joulestep_models::rating::heat::{
    Heat, PackageHeat, Stop, heat_of_package, heat_of_part, solve_package, solve_package_for_others,
    solve_package_near,
};

use super::{Context, Question, StudyError};
use crate::cache;
use crate::input::keys::table::keys;
use crate::output::answer::Estimation;

keys! {
    /// Where the heat goes, and how far a part is driven.
    pub struct Sink;
    may on: Files,
        "package (shipped name or file) on which a part sits: one for each part in their order, or one for all; without it \
         the part's own impedance to the case and `interface`";
    may heatsink: Quantity("degC", Any), "temperature of the heatsink: of every fixed temperature of the package", or 45.0;
    may interface: Quantity("K/W", NotNegative),
        "thermal resistance from case to heatsink, without a package", or 0.0;
    may hottest: Quantity("degC", Any), "junction temperature that no die may exceed; without it the part's own";
    may gate_on: Quantity("V", Any),
        "gate-source voltage; without it the one at which the part states its on-resistance";
    may cells: Whole(1_000, MOST_CELLS as i64), "cells of the mesh, at most", or 120_000.0;
}

/// Coldest heatsink, °C.
pub const COLDEST: f64 = -100.0;
/// Share by which all rises are enlarged to see what an error of the heat path does to a number.
pub const NUDGE: f64 = 0.01;
/// Finest level: the table of a part of two dies has eight times the nodes at each.
pub const FINEST: i32 = -3;
/// Most cells of a mesh.
const MOST_CELLS: usize = 2_000_000;

/// Where heat goes.
#[derive(Clone, Copy, Debug)]
pub struct Way {
    /// °C.
    pub heatsink: f64,
    /// K/W.
    pub interface: f64,
    /// Cells of a package's mesh, at most.
    pub cells: usize,
}

impl Way {
    /// As a question states it by the keys of this module.
    ///
    /// # Errors
    /// Packages that do not fit the number of parts; an interface beside a package.
    pub fn of(q: &Question) -> Result<Self, StudyError> {
        let (parts, packages) = (q.all_parts(), q.packages(Sink::on).len());
        if packages > 1 && packages != parts {
            let found = format!("{packages} package{} for {parts} part{}", plural(packages), plural(parts));
            return Err(q.wrong(Sink::on, found, "one for all, or one for each"));
        }
        if packages > 0 && q.fields.has(Sink::interface) {
            let found = "`interface` beside `on`: a package ends at its own heatsink";
            return Err(q.wrong(Sink::interface, found, "one of the two"));
        }
        let Sink { heatsink, interface, cells, .. } = q.asked(Sink::read)?;
        Ok(Self { heatsink, interface, cells: cells as usize })
    }

    /// The heat path of a part; a package is solved once for all temperatures of its cooling.
    ///
    /// # Errors
    /// A part that states no impedance; a package that cannot be solved.
    pub fn heat(
        &self,
        part: &Part,
        package: Option<&(String, Package)>,
        context: &Context<'_>,
    ) -> Result<Heat, StudyError> {
        let Some((name, package)) = package else {
            return heat_of_part(part, self.heatsink, self.interface).map_err(|e| failed(&e));
        };
        let cells = (self.cells << context.level.0.clamp(FINEST, 0).unsigned_abs()).min(MOST_CELLS);
        let cells = context.cells(cells);
        let bare = |package: &Package| {
            let mut bare = Package { title: String::new(), ..package.clone() };
            bare.cooling.iter_mut().for_each(|c| c.temperature = 0.0);
            bare
        };
        let own = bare(package);
        let stop: Stop<'_> = &|| context.stop.load(Ordering::Relaxed);
        let wrong = |e: RatingError| if stop() { StudyError::Interrupted } else { failed(&e) };
        let with_errors = context.estimation != Estimation::None && !context.sketch;
        let keyed = |bare: &Package, errors: bool| format!("package {name} {cells} {errors} {bare:?}");
        let key = keyed(&own, with_errors);
        let what = format!("{}: to rate parts on", package.title);
        // What its variants have in common decides what they begin with, so each has the same numbers in any company.
        let varied = context.base.filter(|_| context.brief && !context.sketch);
        let base = varied.and_then(|question| {
            question.packages(Sink::on).iter().find(|p| p.0 == *name).map(|p| bare(&p.1))
        });
        let whole = || -> Result<Arc<PackageHeat>, StudyError> {
            context.cache.get(key.clone(), || {
                let solve = if with_errors { heat_of_package } else { solve_package };
                cache::kept(&what, &key, || solve(name, &own, cells, stop)).map_err(wrong)
            })
        };
        let at = |heat: &PackageHeat| heat.at(self.heatsink).with_plates(package.plates());
        let Some(base) = base.filter(|base| *base != own) else {
            return Ok(at(&*whole()?));
        };
        let of_base = keyed(&base, false);
        let near = format!("{} near {of_base}", keyed(&own, false));
        let solved: Arc<PackageHeat> = context.cache.get(near.clone(), || {
            let begun = || {
                let near =
                    || solve_package_for_others(name, &base, cells, stop).map(|found| found.1).map_err(wrong);
                context.cache.get::<Near, StudyError>(of_base, near)
            };
            let solve = || match begun() {
                Ok(near) => solve_package_near(name, &own, cells, &near, stop),
                Err(_) => solve_package(name, &own, cells, stop),
            };
            cache::kept(&what, &near, solve).map_err(wrong)
        })?;
        // The numbers of all variants are found alike; how far meshes may have them wrong is known of some.
        Ok(at(&if with_errors { solved.with_errors_of(&*whole()?) } else { (*solved).clone() }))
    }
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "" } else { "s" }
}

/// The package of the part of this number: its own, or the one for all.
pub fn package(q: &Question, number: usize) -> Option<&(String, Package)> {
    let all = q.packages(Sink::on);
    all.get(number).or(all.first())
}

/// How a part and its package contradict each other.
pub fn contradictions(part: &Part, package: Option<&(String, Package)>) -> Vec<String> {
    package.map_or(Vec::new(), |(_, package)| package.contradicts(part))
}

/// The gate-source voltage of a part, V, and the highest junction temperature, °C.
///
/// # Errors
/// Voltages and temperatures beyond what the part withstands; a part that states neither.
pub fn bounds(q: &Question, part: &Part, heatsink: f64) -> Result<(Option<f64>, f64), StudyError> {
    let refusal = |what: String| StudyError::Refused(format!("{}: {what}", part.name));
    let Sink { gate_on: given, hottest, .. } = q.asked(Sink::read)?;
    let gate = gate_on(part, &Conditions { gate_on: given, ..Conditions::default() })
        .map_err(|e| refusal(e.to_string()))?;
    if let (Some(gate), Some((low, high))) = (gate, part.gate_limits())
        && !(low..=high).contains(&gate)
    {
        return Err(refusal(format!("the gate at {gate} V; its gate withstands {low} V to {high} V")));
    }
    let hottest = match (hottest, part.hottest()) {
        (Some(t), Some(most)) if t > most => {
            let found =
                format!("{t} °C is above the highest junction temperature of {} ({most} °C)", part.name);
            return Err(q.wrong(Sink::hottest, found, format!("at most {most} degC")));
        }
        (Some(t), _) | (None, Some(t)) => t,
        (None, None) => {
            return Err(refusal(
                "it states no highest junction temperature; expected that, or `hottest`".into(),
            ));
        }
    };
    if heatsink >= hottest || heatsink < COLDEST {
        let found =
            format!("{heatsink} °C; {} has a highest junction temperature of {hottest} °C", part.name);
        return Err(q.wrong(Sink::heatsink, found, format!("from {COLDEST} degC to below {hottest} degC")));
    }
    Ok((gate, hottest))
}

/// A rating that cannot be given.
pub fn failed(error: &RatingError) -> StudyError {
    match error {
        RatingError::Thermal(_) => StudyError::Numerical(error.to_string()),
        _ => StudyError::Refused(error.to_string()),
    }
}
