//! What studies of parts on their heat paths share: the keys that say where the heat goes, the path itself, the gate
//! voltage and the highest junction temperature.

use std::sync::Arc;

use joulestep_engine::thermal::field::reduce::Near;
use joulestep_models::merit::{Conditions, gate_on};
use joulestep_models::model::Range::{Any, NotNegative};
use joulestep_models::package::Package;
use joulestep_models::part::Part;
use joulestep_models::rating::RatingError;
use joulestep_models::rating::heat::{
    Heat, PackageHeat, heat_of_package, heat_of_part, solve_package, solve_package_for_others,
    solve_package_near,
};

use super::{Context, Question, StudyError};
use crate::cache;
use crate::input::keys::shape::{Form, Key};
use crate::output::answer::Estimation;

/// The package of each part.
pub const ON: Key = Key::may(
    "on",
    Form::OneOrMore,
    "package (shipped name or file) on which a part sits: one for each part in their order, or one for all; without it \
     the part's own impedance to the case and `interface`",
);
/// Where the heat path ends.
pub const HEATSINK: Key = Key::may(
    "heatsink",
    Form::Quantity("degC", Any),
    "temperature of the heatsink: of every fixed temperature of the package",
)
.or(45.0);
/// Between case and heatsink.
pub const INTERFACE: Key = Key::may(
    "interface",
    Form::Quantity("K/W", NotNegative),
    "thermal resistance from case to heatsink, without a package",
)
.or(0.0);
/// Bound of the junctions.
pub const HOTTEST: Key = Key::may(
    "hottest",
    Form::Quantity("degC", Any),
    "junction temperature that no die may exceed; without it the part's own",
);
/// While it is on.
pub const GATE_ON: Key = Key::may(
    "gate-on",
    Form::Quantity("V", Any),
    "gate-source voltage; without it the one at which the part states its on-resistance",
);
/// Of the mesh.
pub const CELLS: Key =
    Key::may("cells", Form::Whole(1_000, MOST_CELLS as i64), "cells of the mesh, at most").or(120_000.0);

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
        let (parts, packages) = (q.parts("part").len(), q.packages("on").len());
        if packages > 1 && packages != parts {
            let found = format!("{packages} package{} for {parts} part{}", plural(packages), plural(parts));
            return Err(q.wrong("on", found, "one for all, or one for each"));
        }
        if packages > 0 && q.fields.has("interface") {
            let found = "`interface` beside `on`: a package ends at its own heatsink";
            return Err(q.wrong("interface", found, "one of the two"));
        }
        Ok(Self { heatsink: q.number("heatsink"), interface: q.number("interface"), cells: q.whole("cells") })
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
        let with_errors = context.estimation != Estimation::None && !context.brief;
        let keyed = |bare: &Package| format!("package {name} {cells} {with_errors} {bare:?}");
        let key = keyed(&own);
        let what = format!("{}: to rate parts on", package.title);
        // What its variants have in common decides what they begin with, so each has the same numbers in any company.
        let varied = context.base.filter(|_| context.brief && !context.sketch);
        let base = varied
            .and_then(|question| question.packages("on").iter().find(|p| p.0 == *name).map(|p| bare(&p.1)));
        let Some(base) = base.filter(|base| *base != own) else {
            let solved: Arc<PackageHeat> = context.cache.get(key.clone(), || {
                let solve = if with_errors { heat_of_package } else { solve_package };
                cache::kept(&what, &key, || solve(name, &own, cells)).map_err(|e| failed(&e))
            })?;
            return Ok(solved.at(self.heatsink));
        };
        let of_base = keyed(&base);
        let key = format!("{key} near {of_base}");
        let solved: Arc<PackageHeat> = context.cache.get(key.clone(), || {
            let begun = || {
                let near = || {
                    solve_package_for_others(name, &base, cells).map(|found| found.1).map_err(|e| failed(&e))
                };
                context.cache.get::<Near, StudyError>(of_base, near)
            };
            let solve = || match begun() {
                Ok(near) => solve_package_near(name, &own, cells, &near),
                Err(_) => solve_package(name, &own, cells),
            };
            cache::kept(&what, &key, solve).map_err(|e| failed(&e))
        })?;
        Ok(solved.at(self.heatsink))
    }
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "" } else { "s" }
}

/// The package of the part of this number: its own, or the one for all.
pub fn package(q: &Question, number: usize) -> Option<&(String, Package)> {
    let all = q.packages("on");
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
    let given = q.maybe("gate-on");
    let gate = gate_on(part, &Conditions { gate_on: given, ..Conditions::default() })
        .map_err(|e| refusal(e.to_string()))?;
    if let (Some(gate), Some((low, high))) = (gate, part.gate_limits())
        && !(low..=high).contains(&gate)
    {
        return Err(refusal(format!("the gate at {gate} V; its gate withstands {low} V to {high} V")));
    }
    let hottest = match (q.maybe("hottest"), part.hottest()) {
        (Some(t), Some(most)) if t > most => {
            let found =
                format!("{t} °C is above the highest junction temperature of {} ({most} °C)", part.name);
            return Err(q.wrong("hottest", found, format!("at most {most} degC")));
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
        return Err(q.wrong("heatsink", found, format!("from {COLDEST} degC to below {hottest} degC")));
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
