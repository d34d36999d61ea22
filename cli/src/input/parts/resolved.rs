//! From checked tables to the part as resolved.

use std::collections::BTreeSet;

use joulestep_engine::units::parse_unit;
use joulestep_models::devices::catalogue;
use joulestep_models::model::{Entry, Param, STATED_AT, Shape, Value, Values};
use joulestep_models::part::{
    Budget, Conditions, Curve, Die, Impedance, Material, Package, Part, Piece, Quantity, Ratings, Spot,
    Spread, Technology, Thermal, Variable, inspect,
};

use crate::diagnostic::{Diagnostic, Span, nearest};
use crate::input::keys::fields::{Content, Fields, TypedAt};
use crate::input::keys::shape::quantity;
use crate::input::keys::words::one_of;
use crate::judge::unit_of_difference;
use joulestep_models::model::Range;

/// Where the pieces of a curve stand in its file.
#[derive(Clone, Debug)]
pub struct Spots {
    /// How diagnostics call the curve (`part.curve[2]`).
    pub path: String,
    /// The table.
    pub table: Span,
    /// The values of its keys.
    pub keys: Vec<(&'static str, Span)>,
    /// Abscissa and ordinate of each point.
    pub points: Vec<[Span; 2]>,
}

impl Spots {
    /// The place of a spot, and the key that diagnostics name.
    pub fn of(&self, spot: Spot) -> (Span, &'static str) {
        let key = |name: &str| self.keys.iter().find(|k| k.0 == name).map(|k| k.1.clone());
        let (name, span) = match spot {
            Spot::Curve => ("", None),
            Spot::Condition(variable) => (variable.key(), key(variable.key())),
            Spot::Die => ("die", key("die")),
            Spot::Point(k, column) => ("points", self.points.get(k).map(|p| p[column.min(1)].clone())),
        };
        (span.unwrap_or_else(|| self.table.clone()), name)
    }
}

/// A part from the checked root table of its file, with the spans of its curves, and the table `start` of a file of
/// points. Faults of the curves are reported.
pub fn part(
    root: &Fields,
    name: &str,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<(Part, Vec<Spots>, Values)> {
    let entry = catalogue().iter().find(|e| e.kind == root.kind)?;
    let mut read = Read { diagnostics };
    let given = root.table("params").map(|p| given(p, entry.params)).unwrap_or_default();
    let start = root.table("start").map(|p| self::given(p, entry.params)).unwrap_or_default();
    let dies = root.by_name("die").iter().filter_map(|(name, f)| read.die(&name.name, f)).collect();
    let curves: Vec<_> = root.tables("curve").iter().filter_map(|f| read.curve(f)).collect();
    let (curves, spots): (Vec<_>, Vec<_>) = curves.into_iter().unzip();
    let technology = root.text("technology").and_then(Technology::of_key);
    let mut part = Part {
        name: name.to_string(),
        title: root.text("title").unwrap_or(name).to_string(),
        source: root.text("source").unwrap_or("").to_string(),
        kind: entry.kind,
        technology: technology.unwrap_or_else(|| Technology::of_kind(entry.kind)),
        invented: root.flag("invented").unwrap_or(false),
        given: given.iter().map(|g| g.0).collect::<BTreeSet<_>>(),
        values: with_defaults(entry, given),
        dies,
        package: root.table("package").map(package),
        thermal: root.table("thermal").map(|f| read.thermal(f)).unwrap_or_default(),
        budget: None,
        curves,
        spread: Spread::default(),
        ratings: root.table("ratings").map(|f| read.ratings(f)).unwrap_or_default(),
    };
    part.spread = read.spread(root, &part);
    part.budget = read.budget(root, &part);
    for fault in inspect(&part) {
        let Some(spots) = spots.get(fault.curve) else { continue };
        let (span, key) = spots.of(fault.spot);
        let key = if key.is_empty() { spots.path.clone() } else { format!("{}.{key}", spots.path) };
        diagnostics.push(Diagnostic::new(&span, key, fault.found, fault.expected));
    }
    Some((part, spots, Values(start.into_iter().collect())))
}

/// The parameters that a table gives.
pub fn given(fields: &Fields, params: &[Param]) -> Vec<(&'static str, Value)> {
    let value = |key: &str| match &fields.values.get(key)?.content {
        Content::Number(x) => Some(Value::Number(*x)),
        Content::Numbers(x) => Some(Value::List(x.clone())),
        Content::Pairs(x) => Some(Value::Table(x.clone())),
        _ => None,
    };
    params.iter().filter_map(|p| Some((p.key, value(p.key)?))).collect()
}

fn with_defaults(entry: &Entry, given: Vec<(&'static str, Value)>) -> Values {
    let mut values = Values::with_defaults(entry.params);
    values.0.extend(given);
    values
}

fn package(fields: &Fields) -> Package {
    Package {
        outline: fields.text("outline").unwrap_or("").to_string(),
        length: fields.number("length"),
        width: fields.number("width"),
        height: fields.number("height"),
        creepage: fields.number("creepage"),
        clearance: fields.number("clearance"),
    }
}

struct Read<'a> {
    diagnostics: &'a mut Vec<Diagnostic>,
}

impl Read<'_> {
    fn die(&mut self, name: &str, fields: &Fields) -> Option<Die> {
        let material = fields.text("material");
        let material = material.and_then(|m| Material::ALL.iter().find(|a| a.0 == m)).map(|m| m.1);
        let (thickness, heated_depth) = (fields.number("thickness"), fields.number("heated-depth"));
        if let (Some(depth), Some(whole)) = (heated_depth, thickness)
            && depth > whole
        {
            let found = joulestep_engine::units::people(depth, "m");
            let expected = format!("at most the thickness, {}", joulestep_engine::units::people(whole, "m"));
            self.diagnostics.push(fields.wrong("heated-depth", found, expected));
        }
        Some(Die { name: name.to_string(), area: fields.number("area")?, thickness, heated_depth, material })
    }

    fn thermal(&mut self, fields: &Fields) -> Thermal {
        let mut impedance: Vec<Impedance> = Vec::new();
        for f in fields.tables("impedance") {
            let (r, tau) = (f.numbers("resistance"), f.numbers("time-constant"));
            if r.len() != tau.len() {
                let found = format!("{} time constants for {} resistances", tau.len(), r.len());
                self.diagnostics.push(f.wrong("time-constant", found, "one for each term"));
                continue;
            }
            let terms = r.iter().copied().zip(tau.iter().copied()).collect();
            let on = f.text("on").map(str::to_string);
            if let Some(on) = on.as_ref().filter(|on| impedance.iter().all(|z| z.die != **on)) {
                let found = format!("`{on}`, of which no impedance stands before this one");
                self.diagnostics.push(f.wrong("on", found, "a die whose impedance is stated before"));
                continue;
            }
            impedance.extend(f.text("die").map(|die| Impedance { die: die.to_string(), on, terms }));
        }
        let temperature = fields.number("temperature");
        Thermal { junction_case: fields.number("junction-case"), temperature, impedance }
    }

    fn ratings(&mut self, f: &Fields) -> Ratings {
        let ratings = Ratings {
            lead_current: f.number("lead-current"),
            lead_pulse_current: f.number("lead-pulse-current"),
            lead_pulse_width: f.number("lead-pulse-width"),
            avalanche_current: f.number("avalanche-current"),
            avalanche_energy: f.number("avalanche-energy"),
            single_event_temperature: f.number("single-event-temperature"),
        };
        let pulse = [ratings.lead_pulse_current, ratings.lead_pulse_width];
        if pulse.iter().any(Option::is_some) && (pulse.contains(&None) || ratings.lead_current.is_none()) {
            let key = if f.has("lead-pulse-current") { "lead-pulse-current" } else { "lead-pulse-width" };
            let expected = "`lead-current`, `lead-pulse-current` and `lead-pulse-width` together";
            self.diagnostics.push(f.wrong(key, "a pulse that is stated in part", expected));
        } else if let [Some(direct), Some(pulse)] = [ratings.lead_current, ratings.lead_pulse_current]
            && pulse <= direct
        {
            let [direct, pulse] = [direct, pulse].map(|x| joulestep_engine::units::people(x, "A"));
            let expected = format!("a pulse above the direct current, {direct}");
            self.diagnostics.push(f.wrong("lead-pulse-current", pulse, expected));
        }
        ratings
    }

    fn spread(&mut self, root: &Fields, part: &Part) -> Spread {
        let mut all = Spread::default();
        for f in root.tables("spread") {
            let Some(key) = f.text("parameter") else { continue };
            let given: Vec<&'static str> = part.given.iter().copied().collect();
            let value = part.values.0.get(key).and_then(|value| match value {
                Value::Number(x) => Some(*x),
                _ => None,
            });
            let param = part.entry().params.iter().find(|p| p.key == key && part.given.contains(p.key));
            let (Some(param), Some(value)) = (param, value) else {
                let found = format!("[params] gives no number `{key}`");
                let d = f.wrong("parameter", found, one_of(&given));
                self.diagnostics.push(d.suggest(nearest(key, given)));
                continue;
            };
            if all.deviations.iter().any(|d| d.0 == param.key) {
                self.diagnostics.push(f.wrong(
                    "parameter",
                    "a parameter named twice",
                    "a parameter named once",
                ));
            }
            let Shape::Number(of_value) = param.shape else { continue };
            let unit = unit_of_difference(of_value);
            let deviation = match (f.measure("deviation"), f.number("relative")) {
                (Some(typed), None) => match quantity(typed, unit, Range::Positive) {
                    Ok(deviation) => deviation,
                    Err((found, expected, hint)) => {
                        let span = f.span_of("deviation");
                        let d = Diagnostic::new(span, f.key("deviation"), found, expected).suggest(hint);
                        self.diagnostics.push(d);
                        continue;
                    }
                },
                (None, Some(share)) if of_value != "degC" => share * value.abs(),
                (None, Some(_)) => {
                    self.diagnostics.push(f.wrong(
                        "relative",
                        "a share of a temperature",
                        "`deviation`, in K",
                    ));
                    continue;
                }
                _ => {
                    self.diagnostics.push(f.wrong(
                        "parameter",
                        "not one of `deviation` and `relative`",
                        "one of them",
                    ));
                    continue;
                }
            };
            all.deviations.push((param.key, deviation));
        }
        for f in root.tables("correlation") {
            let of = |name: &str| all.deviations.iter().map(|d| d.0).find(|key| *key == name);
            let pair: Vec<_> = f.texts("between").iter().map(|n| of(&n.name)).collect();
            match (pair.as_slice(), f.number("coefficient")) {
                (&[Some(a), Some(b)], Some(r)) if a != b => all.correlations.push((a, b, r)),
                _ => self.diagnostics.push(f.wrong(
                    "between",
                    "no pair of parameters that spread",
                    "two parameters of [[spread]]",
                )),
            }
        }
        all
    }

    fn budget(&mut self, root: &Fields, part: &Part) -> Option<Budget> {
        let mut pieces = Vec::new();
        for f in root.tables("resistance") {
            let area = f.text("die").and_then(|d| part.die(d)).map(|d| d.area);
            if let (Some(die), None) = (f.text("die"), area) {
                let names: Vec<&str> = part.dies.iter().map(|d| d.name.as_str()).collect();
                let found = format!("there is no [die.{die}]");
                let d = f.wrong("die", found, one_of(&names));
                self.diagnostics.push(d.suggest(nearest(die, names)));
                continue;
            }
            let (specific, value) = (f.number("specific"), f.number("value"));
            let resistance = match (specific, value, area) {
                (Some(specific), None, Some(area)) => specific / area,
                (None, Some(value), _) => value,
                (Some(_), None, None) => {
                    self.diagnostics.push(f.wrong(
                        "die",
                        "missing: a specific resistance needs its area",
                        "the name of a die",
                    ));
                    continue;
                }
                _ => {
                    let found = if specific.is_some() {
                        "both `specific` and `value`"
                    } else {
                        "neither `specific` nor `value`"
                    };
                    self.diagnostics.push(f.wrong("value", found, "one of the two"));
                    continue;
                }
            };
            pieces.extend(f.text("name").map(|name| Piece {
                name: name.to_string(),
                die: f.text("die").map(str::to_string),
                resistance,
                specific,
                exponent: f.number("exponent").unwrap_or(0.0),
            }));
        }
        (!pieces.is_empty()).then_some(Budget { pieces })
    }

    fn curve(&mut self, fields: &Fields) -> Option<(Curve, Spots)> {
        let quantity = Quantity::of_key(&fields.kind)?;
        let stated = fields.text("against").and_then(Variable::of_key);
        let against = stated.or_else(|| quantity.abscissae().first().copied())?;
        let kinds = [against.unit(), quantity.unit()];
        let units = self.units(fields, kinds)?;
        let mut points = Vec::new();
        let mut places = Vec::new();
        let mut complete = fields.has("points");
        for row in fields.rows("points") {
            places.push([row[0].0.clone(), row[1].0.clone()]);
            let x = self.number(fields, &row[0], units.as_ref().map(|u| u[0].as_str()), kinds[0]);
            let y = self.number(fields, &row[1], units.as_ref().map(|u| u[1].as_str()), kinds[1]);
            complete &= x.is_some() && y.is_some();
            points.extend(x.zip(y));
        }
        let mut conditions = Conditions::default();
        for &(key, variable, _) in Variable::ALL {
            let Some(value) = fields.number(key) else { continue };
            if variable == against {
                let found = format!("`{key}` is the abscissa");
                self.diagnostics.push(fields.wrong(key, found, "no such condition, or another `against`"));
                continue;
            }
            conditions = conditions.with(variable, value);
        }
        if conditions.temperature.is_none() && against != Variable::Temperature && against != Variable::Time {
            conditions.temperature = Some(STATED_AT - joulestep_models::model::CELSIUS);
        }
        let keys = fields.values.iter().map(|(k, f)| (*k, f.span.clone())).collect();
        let curve = Curve {
            quantity,
            against,
            conditions,
            die: fields.text("die").map(str::to_string),
            points,
            weight: fields.number("weight").unwrap_or(1.0),
            capacitive: quantity == Quantity::RecoveryCharge
                && fields.text("capacitive-charge") != Some("left-out"),
            units: units.unwrap_or_else(|| kinds.map(str::to_string)),
        };
        complete.then_some((
            curve,
            Spots { path: fields.path.clone(), table: fields.span.clone(), keys, points: places },
        ))
    }

    /// The units of the two columns; `Some(None)` where none are stated, `None` where they are wrong (and reported).
    #[allow(clippy::option_option, reason = "three answers: none, wrong, right")]
    fn units(&mut self, fields: &Fields, kinds: [&'static str; 2]) -> Option<Option<[String; 2]>> {
        if !fields.has("units") {
            return Some(None);
        }
        let [x, y] = fields.texts("units") else {
            let count = fields.texts("units").len();
            let found = format!("{count} unit{}", if count == 1 { "" } else { "s" });
            self.diagnostics.push(fields.wrong("units", found, "two: of the abscissa and of the ordinate"));
            return None;
        };
        let mut right = true;
        for (typed, kind) in [x, y].into_iter().zip(kinds) {
            let wanted = parse_unit(kind).map(|u| u.dimension).ok();
            let (found, suggestion) = match parse_unit(&typed.name) {
                Ok(unit) if Some(unit.dimension) == wanted => continue,
                Ok(unit) => (format!("`{}` is a unit of {}", typed.name, unit.dimension.kind()), None),
                Err(error) => (error.to_string(), error.suggestion().map(str::to_string)),
            };
            let kind = wanted.map_or_else(|| kind.to_string(), |d| d.kind());
            let d = Diagnostic::new(&typed.span, fields.key("units"), found, format!("a unit of {kind}"));
            self.diagnostics.push(d.suggest(suggestion));
            right = false;
        }
        right.then(|| Some([x.name.clone(), y.name.clone()]))
    }

    fn number(&mut self, fields: &Fields, typed: &TypedAt, unit: Option<&str>, kind: &str) -> Option<f64> {
        let (span, value) = typed;
        // With its column's unit behind it, a bare number is read as if it had been typed so.
        let text = match (value, unit) {
            (Ok(text), _) => Ok(text.clone()),
            (Err(x), Some(unit)) => Ok(format!("{x} {unit}")),
            (Err(x), None) if kind == "degC" => Ok(format!("{x} degC")),
            (Err(x), None) => Err(*x),
        };
        match quantity(text.as_deref().map_err(|x| *x), kind, Range::Any) {
            Ok(x) => Some(x),
            Err((found, expected, suggestion)) => {
                let d = Diagnostic::new(span, fields.key("points"), found, expected);
                self.diagnostics.push(d.suggest(suggestion));
                None
            }
        }
    }
}
