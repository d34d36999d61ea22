//! From checked tables to the part as resolved.

mod ratings;

use std::collections::BTreeSet;

use joulestep_engine::units::{parse_unit, people};
use joulestep_models::devices::catalogue;
use joulestep_models::model::{Param, STATED_AT, Shape, Value, Values};
use joulestep_models::part::{
    Budget, Conditions, Curve, Die, Impedance, Material, Package, Part, Piece, Quantity, Spot, Spread,
    Technology, Thermal, Variable, inspect,
};

use super::sections as typed;
use crate::diagnostic::{Diagnostic, Span, nearest};
use crate::input::keys::fields::{Content, Fields, Named, TypedAt};
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
            Spot::Die => (typed::Stated::die.name, key(typed::Stated::die.name)),
            Spot::Point(k, column) => {
                (typed::Curve::points.name, self.points.get(k).map(|p| p[column.min(1)].clone()))
            }
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
    let tables = typed::Part::read(root)?;
    let of_kind = typed::OfKind::read(root)?;
    let given = of_kind.params.map(|p| given(&p, entry.params)).unwrap_or_default();
    let start = of_kind.start.map(|p| self::given(&p, entry.params)).unwrap_or_default();
    let dies = tables.die.iter().filter_map(|(name, f)| read.die(&name.name, f)).collect();
    let curves: Vec<_> = tables.curve.iter().filter_map(|f| read.curve(f)).collect();
    let (curves, spots): (Vec<_>, Vec<_>) = curves.into_iter().unzip();
    let technology = tables.technology.as_deref().and_then(Technology::of_key);
    let ratings = tables.ratings.as_ref().and_then(|f| read.ratings(f));
    let mut values = Values::with_defaults(entry.params);
    values.0.extend(given.iter().cloned());
    let mut part = Part {
        name: name.to_string(),
        title: tables.title.map_or_else(|| name.to_string(), |title| title.name),
        source: tables.source.map_or(String::new(), |source| source.name),
        kind: entry.kind,
        technology: technology.unwrap_or_else(|| Technology::of_kind(entry.kind)),
        invented: tables.invented,
        given: given.iter().map(|g| g.0).collect::<BTreeSet<_>>(),
        values,
        dies,
        package: tables.package.as_ref().and_then(package),
        thermal: tables.thermal.as_ref().and_then(|f| read.thermal(f)).unwrap_or_default(),
        budget: None,
        curves,
        spread: Spread::default(),
        ratings: ratings.unwrap_or_default(),
    };
    part.spread = read.spread(&tables.spread, &tables.correlation, &part);
    part.budget = read.budget(&tables.resistance, &part);
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

fn package(fields: &Fields) -> Option<Package> {
    let typed::Package { outline, length, width, height, creepage, clearance } =
        typed::Package::read(fields)?;
    Some(Package { outline, length, width, height, creepage, clearance })
}

struct Read<'a> {
    diagnostics: &'a mut Vec<Diagnostic>,
}

impl Read<'_> {
    fn die(&mut self, name: &str, fields: &Fields) -> Option<Die> {
        let typed::Die { area, thickness, heated_depth, material } = typed::Die::read(fields)?;
        if let (Some(depth), Some(whole)) = (heated_depth, thickness)
            && depth > whole
        {
            let expected = format!("at most the thickness, {}", people(whole, "m"));
            self.diagnostics.push(fields.wrong(typed::Die::heated_depth, people(depth, "m"), expected));
        }
        let material = material.and_then(|m| Material::ALL.iter().find(|a| a.0 == m)).map(|m| m.1);
        Some(Die { name: name.to_string(), area, thickness, heated_depth, material })
    }

    fn thermal(&mut self, fields: &Fields) -> Option<Thermal> {
        let stated = typed::Thermal::read(fields)?;
        let mut impedance: Vec<Impedance> = Vec::new();
        for f in &stated.impedance {
            let Some(terms) = typed::Impedance::read(f) else { continue };
            let (r, tau) = (terms.resistance, terms.time_constant);
            if r.len() != tau.len() {
                let found = format!("{} time constants for {} resistances", tau.len(), r.len());
                self.diagnostics.push(f.wrong(typed::Impedance::time_constant, found, "one for each term"));
                continue;
            }
            let on = terms.on.map(|on| on.name);
            if on.as_ref().is_some_and(|on| impedance.iter().all(|z| z.die != *on)) {
                let found = "a die of which no impedance stands before this one";
                self.diagnostics.push(f.wrong(typed::Impedance::on, found, "one stated before"));
                continue;
            }
            impedance.push(Impedance { die: terms.die.name, on, terms: r.into_iter().zip(tau).collect() });
        }
        let typed::Thermal { junction_case, temperature, .. } = stated;
        Some(Thermal { junction_case, temperature, impedance })
    }

    fn spread(&mut self, spreads: &[Fields], correlations: &[Fields], part: &Part) -> Spread {
        let mut all = Spread::default();
        for f in spreads {
            let Some(stated) = typed::Spread::read(f) else { continue };
            let key = stated.parameter.name.as_str();
            let given: Vec<&'static str> = part.given.iter().copied().collect();
            let value = part.values.0.get(key).and_then(|value| match value {
                Value::Number(x) => Some(*x),
                _ => None,
            });
            let param = part.entry().params.iter().find(|p| p.key == key && part.given.contains(p.key));
            let (Some(param), Some(value)) = (param, value) else {
                let found = format!("[params] gives no number `{key}`");
                let d = f.wrong(typed::Spread::parameter, found, one_of(&given));
                self.diagnostics.push(d.suggest(nearest(key, given)));
                continue;
            };
            if all.deviations.iter().any(|d| d.0 == param.key) {
                let (found, expected) = ("a parameter named twice", "a parameter named once");
                self.diagnostics.push(f.wrong(typed::Spread::parameter, found, expected));
            }
            let Shape::Number(of_value) = param.shape else { continue };
            let unit = unit_of_difference(of_value);
            let deviation = match (&stated.deviation, stated.relative) {
                (Some(typed), None) => match typed.quantity(unit, Range::Positive) {
                    Ok(deviation) => deviation,
                    Err(wrong) => {
                        self.diagnostics.push(*wrong);
                        continue;
                    }
                },
                (None, Some(share)) if of_value != "degC" => share * value.abs(),
                (None, Some(_)) => {
                    let (found, expected) = ("a share of a temperature", "`deviation`, in K");
                    self.diagnostics.push(f.wrong(typed::Spread::relative, found, expected));
                    continue;
                }
                _ => {
                    let found = "not one of `deviation` and `relative`";
                    self.diagnostics.push(f.wrong(typed::Spread::parameter, found, "one of them"));
                    continue;
                }
            };
            all.deviations.push((param.key, deviation));
        }
        for f in correlations {
            let Some(stated) = typed::Correlation::read(f) else { continue };
            let of = |name: &str| all.deviations.iter().map(|d| d.0).find(|key| *key == name);
            let pair: Vec<_> = stated.between.iter().map(|n| of(&n.name)).collect();
            match pair.as_slice() {
                &[Some(a), Some(b)] if a != b => all.correlations.push((a, b, stated.coefficient)),
                _ => self.diagnostics.push(f.wrong(
                    typed::Correlation::between,
                    "no pair of parameters that spread",
                    "two parameters of [[spread]]",
                )),
            }
        }
        all
    }

    fn budget(&mut self, tables: &[Fields], part: &Part) -> Option<Budget> {
        let mut pieces = Vec::new();
        for f in tables {
            let Some(stated) = typed::Resistance::read(f) else { continue };
            let die = stated.die.map(|die| die.name);
            let area = die.as_ref().and_then(|d| part.die(d)).map(|d| d.area);
            if let (Some(die), None) = (&die, area) {
                let names: Vec<&str> = part.dies.iter().map(|d| d.name.as_str()).collect();
                let found = format!("there is no [die.{die}]");
                let d = f.wrong(typed::Resistance::die, found, one_of(&names));
                self.diagnostics.push(d.suggest(nearest(die, names)));
                continue;
            }
            let (specific, value) = (stated.specific, stated.value);
            let resistance = match (specific, value, area) {
                (Some(specific), None, Some(area)) => specific / area,
                (None, Some(value), _) => value,
                (Some(_), None, None) => {
                    let found = "missing: a specific resistance needs its area";
                    self.diagnostics.push(f.wrong(typed::Resistance::die, found, "the name of a die"));
                    continue;
                }
                _ => {
                    let found = if specific.is_some() {
                        "both `specific` and `value`"
                    } else {
                        "neither `specific` nor `value`"
                    };
                    self.diagnostics.push(f.wrong(typed::Resistance::value, found, "one of the two"));
                    continue;
                }
            };
            pieces.push(Piece {
                name: stated.name.name,
                die,
                resistance,
                specific,
                exponent: stated.exponent,
            });
        }
        (!pieces.is_empty()).then_some(Budget { pieces })
    }

    fn curve(&mut self, fields: &Fields) -> Option<(Curve, Spots)> {
        let table = typed::Curve::read(fields)?;
        let stated = typed::Stated::read(fields)?;
        let quantity = table.quantity;
        let against = stated.against.or_else(|| quantity.abscissae().first().copied())?;
        let kinds = [against.unit(), quantity.unit()];
        let units = self.units(fields, &table.units, kinds)?;
        let mut points = Vec::new();
        let mut places = Vec::new();
        let mut complete = fields.has(typed::Curve::points);
        for row in &table.points {
            places.push([row[0].0.clone(), row[1].0.clone()]);
            let x = self.number(fields, &row[0], units.as_ref().map(|u| u[0].as_str()), kinds[0]);
            let y = self.number(fields, &row[1], units.as_ref().map(|u| u[1].as_str()), kinds[1]);
            complete &= x.is_some() && y.is_some();
            points.extend(x.zip(y));
        }
        let mut conditions = Conditions::default();
        let conditioned = [
            (typed::Stated::temperature, Variable::Temperature, stated.temperature),
            (typed::Stated::gate_voltage, Variable::GateVoltage, stated.gate_voltage),
            (typed::Stated::voltage, Variable::Voltage, stated.voltage),
            (typed::Stated::current, Variable::Current, stated.current),
            (typed::Stated::current_rate, Variable::CurrentRate, stated.current_rate),
        ];
        for (key, variable, value) in conditioned {
            let Some(value) = value else { continue };
            if variable == against {
                let found = format!("`{}` is the abscissa", key.name);
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
            die: stated.die.map(|die| die.name),
            points,
            weight: table.weight,
            capacitive: quantity == Quantity::RecoveryCharge && stated.capacitive_charge != "left-out",
            units: units.unwrap_or_else(|| kinds.map(str::to_string)),
        };
        complete.then_some((
            curve,
            Spots { path: fields.path.clone(), table: fields.span.clone(), keys, points: places },
        ))
    }

    /// The units of the two columns; `Some(None)` where none are stated, `None` where they are wrong (and reported).
    #[allow(clippy::option_option, reason = "three answers: none, wrong, right")]
    fn units(
        &mut self,
        fields: &Fields,
        stated: &[Named],
        kinds: [&'static str; 2],
    ) -> Option<Option<[String; 2]>> {
        if !fields.has(typed::Curve::units) {
            return Some(None);
        }
        let [x, y] = stated else {
            let count = stated.len();
            let found = format!("{count} unit{}", if count == 1 { "" } else { "s" });
            let expected = "two: of the abscissa and of the ordinate";
            self.diagnostics.push(fields.wrong(typed::Curve::units, found, expected));
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
            let d = Diagnostic::new(
                &typed.span,
                fields.key(typed::Curve::units),
                found,
                format!("a unit of {kind}"),
            );
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
                let d = Diagnostic::new(span, fields.key(typed::Curve::points), found, expected);
                self.diagnostics.push(d.suggest(suggestion));
                None
            }
        }
    }
}
