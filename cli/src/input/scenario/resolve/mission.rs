//! A mission: its segments against the arrangement and the thermal network.

use std::collections::BTreeMap;
use std::path::Path;

use joulestep_engine::cycle::lifetime::Scatter;
use joulestep_engine::cycle::rainflow::{Activation, UserLaw};
use joulestep_engine::units::people_digits;
use joulestep_models::arrangement::mission::profile::MOVABLE;
use joulestep_models::model::{Param, Range, Shape};

use super::Resolve;
use super::parts::tables;
use crate::diagnostic::{Diagnostic, Sources, Span, nearest};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::{Fields, Named, TypedAt};
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::{Raw, RawTable};
use crate::input::keys::shape::quantity;
use crate::input::scenario::resolved::{
    ArrangementSpec, ComponentSpec, LifetimeSpec, MissionSpec, SegmentOf, SegmentSpec, ThermalSpec,
};
use crate::input::scenario::sections::Root;
use crate::input::scenario::sections::mission::{Damage, Lifetime, Mission, Segment};

/// One electron volt, J (exact in the SI).
const ELECTRON_VOLT: f64 = 1.602_176_634e-19;
/// Most points of a segment.
const MOST: usize = 100_000;

/// Points of segments that stand in files, by the place of the file's name.
#[derive(Debug, Default)]
pub(super) struct SegmentFiles(BTreeMap<(usize, usize), Vec<[TypedAt; 2]>>);

impl SegmentFiles {
    /// Reads every file that a segment names.
    pub(super) fn load(
        root: &RawTable,
        sources: &mut Sources,
        open: Open<'_>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Self {
        let mut files = Self::default();
        let segments = tables(root, &[Root::mission, Mission::segment]);
        for node in segments.into_iter().filter_map(|table| table.get(Segment::file.name)) {
            let Raw::Text(name) = &node.value else { continue };
            let here = sources.files.get(node.span.file.0).map(|f| f.0.clone()).unwrap_or_default();
            let path = here.parent().unwrap_or(Path::new("")).join(name);
            match open(&path) {
                Ok(text) => {
                    let rows = rows(sources, path, text, diagnostics);
                    files.0.insert((node.span.file.0, node.span.range.start), rows);
                }
                Err(error) => {
                    let found = format!("cannot read `{}`: {}", path.display(), reason(&error));
                    let expected = "the path of a CSV file, relative to this file";
                    diagnostics.push(Diagnostic::new(&node.span, "mission.segment.file", found, expected));
                }
            }
        }
        files
    }

    fn of(&self, span: &Span) -> &[[TypedAt; 2]] {
        self.0.get(&(span.file.0, span.range.start)).map_or(&[], |rows| rows)
    }
}

/// The rows of a CSV file: time and value, each with its place. A head `name (unit)` gives its column the unit.
fn rows(
    sources: &mut Sources,
    path: std::path::PathBuf,
    text: String,
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<[TypedAt; 2]> {
    let file = sources.add(path, text.clone());
    let mut units = [String::new(), String::new()];
    let mut out = Vec::new();
    let mut begin = 0;
    for (number, line) in text.split('\n').enumerate() {
        let at = begin;
        begin += line.len() + 1;
        if line.trim().is_empty() || line.trim_start().starts_with('#') {
            continue;
        }
        let mut cells = Vec::new();
        let mut from = at;
        for cell in line.split(',') {
            let trimmed = cell.trim().trim_matches('"');
            let start = from + cell.find(trimmed).unwrap_or(0);
            cells.push((Span { file, range: start..start + trimmed.len() }, trimmed));
            from += cell.len() + 1;
        }
        let [(time, first), (value, second)] = cells.as_slice() else {
            let span = Span { file, range: at..at + line.trim_end().len() };
            let found = format!("{} columns", cells.len());
            diagnostics.push(Diagnostic::new(&span, "mission.segment.file", found, "two: time and value"));
            return Vec::new();
        };
        let is_head = out.is_empty() && number == 0 && !first.starts_with(|c: char| c.is_ascii_digit());
        if is_head {
            let unit = |head: &str| {
                let inside = head.split_once('(').and_then(|(_, rest)| rest.strip_suffix(')'));
                inside.unwrap_or_default().trim().to_string()
            };
            units = [unit(first), unit(second)];
            continue;
        }
        let typed = |cell: &str, unit: &str| match cell.parse::<f64>() {
            Ok(_) if !unit.is_empty() && unit != "1" => Ok(format!("{cell} {unit}")),
            Ok(number) => Err(number),
            Err(_) => Ok(cell.to_string()),
        };
        out.push([(time.clone(), typed(first, &units[0])), (value.clone(), typed(second, &units[1]))]);
    }
    out
}

/// What a mission may move.
#[derive(Clone, Copy)]
pub(super) struct Movable<'a> {
    pub(super) arrangement: Option<&'a ArrangementSpec>,
    pub(super) components: &'a [Option<ComponentSpec>],
    /// Whether there is a [cycle].
    pub(super) repeats: bool,
}

impl Resolve<'_> {
    pub(super) fn mission(
        &mut self,
        f: &Fields,
        movable: Movable<'_>,
        thermal: &ThermalSpec,
        files: &SegmentFiles,
    ) -> Option<MissionSpec> {
        let mission = Mission::read(f)?;
        let length = mission.length;
        if movable.arrangement.is_none() && !movable.repeats {
            let expected = "an [arrangement], or a [cycle] that says what repeats";
            self.report(&f.span, "mission", "a mission of a circuit that does not repeat", expected);
            return None;
        }
        let mut segments: Vec<SegmentSpec> = Vec::new();
        for segment in &mission.segment {
            let Some(found) = self.segment(segment, length, movable, thermal, files) else { continue };
            if segments.iter().any(|c| c.of == found.of) {
                let what = format!("a second segment of `{}`", found.of.name());
                self.report(&segment.span, segment.key(Segment::points), what, "one segment of each");
            }
            segments.push(found);
        }
        if mission.segment.is_empty() {
            self.wrong(f, Mission::segment, "nothing changes", "at least one [[mission.segment]]");
        }
        let (rounds, steady) = (mission.rounds as u32, mission.start == "steady");
        let damage = mission.damage.as_ref().and_then(|d| self.damage(d));
        let lifetime = mission.lifetime.as_ref();
        let lifetime =
            lifetime.and_then(|t| self.lifetime(t, f.has(Mission::damage), f64::from(rounds) * length));
        Some(MissionSpec { length, rounds, steady, segments, damage, lifetime })
    }

    /// `duration`: of a mission, s.
    fn lifetime(&mut self, f: &Fields, has_law: bool, duration: f64) -> Option<LifetimeSpec> {
        const DAY: f64 = 86_400.0;
        if !has_law {
            let expected = "the law of cycles to failure that it is computed by";
            self.report(&f.span, "mission.lifetime", "no [mission.damage]", expected);
        }
        let asked = Lifetime::read(f)?;
        let daily = asked.missions_per_day;
        if daily * duration > DAY * (1.0 + 1e-9) {
            let found = format!("{daily} missions of {}", people_digits(duration, "s", 7));
            let most = format!("at most {} a day: a mission is all its rounds", DAY / duration);
            self.wrong(f, Lifetime::missions_per_day, found, most);
        }
        for key in [Lifetime::failed_share, Lifetime::allowed_share] {
            if !f.has(Lifetime::weibull_shape) && f.has(key) {
                self.wrong(f, key, "given without `weibull-shape`", "both or none");
            }
        }
        let share = asked.failed_share.unwrap_or(-f64::exp_m1(-1.0));
        Some(LifetimeSpec {
            rate: daily / DAY,
            scatter: asked.weibull_shape.map(|shape| Scatter { shape, share }),
            allowed: asked.allowed_share.unwrap_or(0.1),
            required: asked.required,
        })
    }

    fn damage(&mut self, f: &Fields) -> Option<UserLaw> {
        let law = Damage::read(f)?;
        let (energy, reference) = (law.activation_energy, law.reference_temperature);
        if energy.is_some() != reference.is_some() {
            let (has, lacks) = match energy {
                Some(_) => (Damage::activation_energy, Damage::reference_temperature),
                None => (Damage::reference_temperature, Damage::activation_energy),
            };
            self.wrong(f, has, format!("given without `{}`", lacks.name), "both or none");
        }
        let activation =
            energy.zip(reference).map(|(e, reference)| Activation { energy: e * ELECTRON_VOLT, reference });
        Some(UserLaw { cycles: law.cycles, range: law.range, exponent: law.exponent, activation })
    }

    /// A parameter of a component: `load.resistance`.
    fn of_component(
        &mut self,
        named: &Named,
        key: String,
        components: &[Option<ComponentSpec>],
    ) -> Option<(SegmentOf, &'static str, Range)> {
        let (name, parameter) = named.name.rsplit_once('.').unwrap_or((&named.name, ""));
        let is = |c: &Option<ComponentSpec>| c.as_ref().is_some_and(|c| c.name.name == name);
        let Some(k) = components.iter().position(is) else {
            let of_it = |c: &ComponentSpec| format!("{}.{parameter}", c.name.name);
            let known: Vec<String> = components.iter().flatten().map(of_it).collect();
            // A component that was refused is missing here.
            if components.iter().all(Option::is_some) {
                self.unknown(named, key, "parameter", known.iter().map(String::as_str));
            }
            return None;
        };
        let spec = components[k].as_ref()?;
        // What is given or has a default: with another the circuit would have other pieces.
        let there = |p: &&Param| matches!(p.shape, Shape::Number(_)) && spec.values.maybe(p.key).is_some();
        let there: Vec<&'static Param> = spec.entry.params.iter().filter(there).collect();
        let Some(param) = there.iter().find(|p| p.key == parameter) else {
            let known: Vec<String> = there.iter().map(|p| format!("{name}.{}", p.key)).collect();
            self.unknown(named, key, "parameter", known.iter().map(String::as_str));
            return None;
        };
        let Shape::Number(unit) = param.shape else { return None };
        Some((SegmentOf::OfComponent(k, param.key, named.name.clone()), unit, param.range))
    }

    /// What the segment is of, with its unit and range.
    fn segment_of(
        &mut self,
        f: &Fields,
        segment: &Segment,
        movable: Movable<'_>,
        thermal: &ThermalSpec,
    ) -> Option<(SegmentOf, &'static str, Range)> {
        match (&segment.parameter, &segment.boundary) {
            (Some(named), None) => {
                let Some(arrangement) = movable.arrangement else {
                    return self.of_component(named, f.key(Segment::parameter), movable.components);
                };
                let movable: Vec<&'static Param> =
                    arrangement.arrangement.params.iter().filter(|p| MOVABLE.contains(&p.key)).collect();
                let Some(param) = movable.iter().find(|p| p.key == named.name) else {
                    let keys: Vec<&str> = movable.iter().map(|p| p.key).collect();
                    let exists = arrangement.arrangement.params.iter().any(|p| p.key == named.name);
                    let found = match exists {
                        true => format!("`{}` cannot change while the circuit works", named.name),
                        false => format!("`{}` has no parameter `{}`", arrangement.kind.name, named.name),
                    };
                    let d = Diagnostic::new(&named.span, f.key(Segment::parameter), found, one_of(&keys));
                    self.diagnostics.push(d.suggest(nearest(&named.name, keys)));
                    return None;
                };
                if param.optional && arrangement.values.maybe(param.key).is_none() {
                    let found = format!(
                        "`{}` is not given under [arrangement]: it would change the circuit",
                        param.key
                    );
                    self.report(
                        &named.span,
                        f.key(Segment::parameter),
                        found,
                        "a parameter that is there from the start",
                    );
                    return None;
                }
                let Shape::Number(unit) = param.shape else { return None };
                Some((SegmentOf::Parameter(param.key), unit, param.range))
            }
            (None, Some(named)) => {
                let own = thermal.boundaries.iter().map(|b| b.name.name.clone());
                let packages = thermal.packages.iter().flat_map(|s| {
                    s.package.cooling.iter().map(move |c| format!("{}-{}", s.name.name, c.boundary))
                });
                let names: Vec<String> = own.chain(packages).collect();
                if !names.contains(&named.name) {
                    let known = names.iter().map(String::as_str);
                    self.unknown(named, f.key(Segment::boundary), "boundary", known);
                    return None;
                }
                Some((SegmentOf::Boundary(named.name.clone()), "degC", Range::Any))
            }
            _ => {
                let found = if segment.parameter.is_some() { "both are given" } else { "missing" };
                self.report(&f.span, f.key(Segment::parameter), found, "either `parameter` or `boundary`");
                None
            }
        }
    }

    fn segment(
        &mut self,
        f: &Fields,
        length: f64,
        movable: Movable<'_>,
        thermal: &ThermalSpec,
        files: &SegmentFiles,
    ) -> Option<SegmentSpec> {
        let segment = Segment::read(f)?;
        let (of, unit, range) = self.segment_of(f, &segment, movable, thermal)?;
        let (typed, source) = match (f.has(Segment::points), &segment.file) {
            (true, None) => (&segment.points[..], Segment::points),
            (false, Some(file)) => (files.of(&file.span), Segment::file),
            (both, _) => {
                let found = if both { "both are given" } else { "missing" };
                self.report(&f.span, f.key(Segment::points), found, "either `points` or `file`");
                return None;
            }
        };
        if typed.is_empty() || typed.len() > MOST {
            let found = format!("{} points", typed.len());
            self.wrong(f, source, found, format!("1 to {MOST} points"));
            return None;
        }
        let wrong = self.diagnostics.len();
        let mut points: Vec<(f64, f64)> = Vec::new();
        for [time, value] in typed {
            let t = self.quantity_at(time, "s", Range::NotNegative, &f.key(source));
            let x = self.quantity_at(value, unit, range, &f.key(source));
            let Some((t, x)) = t.zip(x) else { continue };
            if points.last().is_some_and(|last| t < last.0) {
                self.report(
                    &time.0,
                    f.key(source),
                    format!("{} is before the point above", people_digits(t, "s", 7)),
                    "times that do not fall",
                );
            } else if t > length {
                let found = format!("{} is after the end of the round", people_digits(t, "s", 7));
                self.report(
                    &time.0,
                    f.key(source),
                    found,
                    format!("at most {}", people_digits(length, "s", 7)),
                );
            }
            if unit == "degC" && x <= -273.15 {
                self.report(
                    &value.0,
                    f.key(source),
                    format!("{x} °C is not above absolute zero"),
                    "above -273.15 degC",
                );
            }
            points.push((t, x));
        }
        if self.diagnostics.len() > wrong {
            return None;
        }
        if segment.between.as_deref() != Some("ramp") {
            points = held(&points);
        }
        match (segment.shift, &of) {
            (None, _) => {}
            (Some(kelvin), SegmentOf::Boundary(_)) => points.iter_mut().for_each(|p| p.1 += kelvin),
            (Some(_), _) => {
                self.wrong(f, Segment::shift, "`shift` beside `parameter`", "a boundary");
                return None;
            }
        }
        Some(SegmentSpec { of, unit, points })
    }

    fn quantity_at(&mut self, (span, typed): &TypedAt, unit: &str, range: Range, key: &str) -> Option<f64> {
        match quantity(typed.as_deref().map_err(|number| *number), unit, range) {
            Ok(x) => Some(x),
            Err((found, expected, suggestion)) => {
                let d = Diagnostic::new(span, key, found, expected);
                self.diagnostics.push(d.suggest(suggestion));
                None
            }
        }
    }
}

/// Points between which the value of the one before holds.
fn held(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::with_capacity(2 * points.len());
    for &(t, x) in points {
        if let Some(&(_, before)) = out.last() {
            out.push((t, before));
        }
        out.push((t, x));
    }
    out
}
