//! A part derived from another: scaled in area, or with parameters of its own.

use std::path::Path;

use joulestep_engine::units::{people, people_digits};
use joulestep_models::merit::{Conditions, gate_on};
use joulestep_models::model::Range::Positive;
use joulestep_models::model::{Shape, Value};
use joulestep_models::operating::resistance;
use joulestep_models::part::{Changed, Derivation, DeriveError, Part, derive};

use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::fields::Named;
use crate::input::keys::shape::quantity;
use crate::input::keys::table::keys;
use crate::input::keys::words::one_of;
use crate::input::parts::write;
use crate::judge::Level;
use crate::output::answer::{Answer, Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Chart, Curve, Figure, Panel};
use crate::output::table::{Cell, Head, Table};
use crate::output::written;

/// The study.
pub static STUDY: Entry = Entry {
    name: "parts derive",
    section: &SECTION,
    help: "Derives a part from another and writes its file, with a statement of its origin and of everything that \
           differs. Scaled in area, by --area or to the on-resistance of --resistance at 25 °C: currents, charges, \
           capacitances, conductances and avalanche energy of the dies in proportion; resistances, electrical and thermal \
           (gate resistance too), in inverse proportion; spread and curves with what they are of. Not scaled: voltages, \
           temperatures, times, inductances, the package's own resistance, outline and the ratings of leads. --set then \
           gives parameters values of their own.\n\n\
           The scaling assumes equal layers and heat flow straight down; a smaller die spreads its heat better than that, \
           and has more rim. A package file of the original does not fit the derived part.",
    examples: "joulestep parts derive cascode-700v-22m --set \"mosfet-gate-resistance=1 ohm\" --file quiet-gate.toml\n\
               joulestep parts derive cascode-700v-7m --resistance \"12 mohm\" --file cascode-700v-12m.toml",
    inputs: &[Input {
        key: Asked::part,
        root: "part",
        what: What::Part,
        count: Count::One,
        positional: true,
    }],
    trial: Trial {
        args: &["mosfet-sic-700v-12m", "--area", "0.5", "--set", "gate-resistance=1 ohm"],
        vary: ("area", ["0.5", "0.4"]),
    },
    refines: "",
    writes: &[(Asked::file, false)],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "derive":
        "Derive a part from another: scaled in area, or with parameters of its own";
    need part: Files, "a shipped part by name, or a part file ending in .toml";
    may resistance: Quantity("ohm", Positive), "on-resistance at 25 degC to scale the area to";
    may area: Quantity("1", Positive), "area of the dies over that of the part";
    may set: OneOrMore, "KEY=QUANTITY: a parameter of the part's model and its value, after any scaling; may be repeated";
    may title: Text, "one line that says what the derived part is";
    may file: Text, "part file to write; it must not exist yet, unless --force is given";
}

/// Junction temperatures of the figure, °C.
const TEMPERATURES: [f64; 7] = [-25.0, 0.0, 25.0, 60.0, 100.0, 140.0, 175.0];
/// Current at which the on-resistance is taken, A.
const SMALL: f64 = 1.0;

const DEFINITIONS: [(&str, &str); 2] = [
    ("area", "conducting area of the dies over that of the part"),
    (
        "on-resistance",
        "drain-source voltage over 1 A with the gate on, by the model, at the junction temperature",
    ),
];

/// A parameter and its value, as typed.
fn setting(q: &Question, part: &Part, typed: &Named) -> Result<(&'static str, Value), StudyError> {
    let wrong = |found: String, expected: String, hint: Option<String>| {
        let d = Diagnostic::new(&typed.span, q.fields.key(Asked::set), found, expected);
        Err(StudyError::Value(Box::new(d.suggest(hint))))
    };
    let Some((key, value)) = typed.name.split_once('=') else {
        let expected = "KEY=QUANTITY, such as `mosfet-gate-resistance=1 ohm`".to_string();
        return wrong(format!("`{}`", typed.name), expected, None);
    };
    let (key, value) = (key.trim(), value.trim());
    let params = part.entry().params;
    let Some(param) = params.iter().find(|p| p.key == key) else {
        let names: Vec<&str> = params.iter().map(|p| p.key).collect();
        let hint = nearest(key, names.iter().copied());
        let found = format!("a {} has no parameter `{key}`", part.kind);
        return wrong(found, one_of(&names), hint);
    };
    let Shape::Number(unit) = param.shape else {
        let found = format!("`{key}` is a list or a table");
        return wrong(found, "a parameter that is a number; edit the file for others".into(), None);
    };
    match quantity(Ok(value), unit, param.range) {
        Ok(x) => Ok((param.key, Value::Number(x))),
        Err((found, expected, hint)) => wrong(format!("{key}: {found}"), expected, hint),
    }
}

fn how(q: &Question, asked: &Asked, part: &Part) -> Result<Derivation, StudyError> {
    let (area, resistance) = (asked.area, asked.resistance);
    if area.is_some() && resistance.is_some() {
        return Err(q.wrong(Asked::area, "`resistance` beside it", "one of the two"));
    }
    let set = asked.set.iter().map(|typed| setting(q, part, typed));
    let set = set.collect::<Result<Vec<_>, _>>()?;
    if area.is_none() && resistance.is_none() && set.is_empty() {
        return Err(q.wrong(Asked::part, "nothing that is to differ", "`resistance`, `area` or `set`"));
    }
    Ok(Derivation { area, resistance, set })
}

/// What was done, in words.
fn origin(part: &Part, how: &Derivation) -> String {
    let mut what = Vec::new();
    what.extend(how.area.map(|a| format!("area times {}", people_digits(a, "1", 4))));
    what.extend(how.resistance.map(|r| format!("scaled in area to {}", people_digits(r, "ohm", 4))));
    for (key, value) in &how.set {
        let param = part.entry().params.iter().find(|p| p.key == *key);
        if let (Value::Number(x), Some(Shape::Number(unit))) = (value, param.map(|p| p.shape)) {
            what.push(format!("{key} set to {}", people_digits(*x, unit, 4)));
        }
    }
    format!("Derived from {} ({}): {}.", part.name, part.title, what.join(", "))
}

/// On-resistance at a junction temperature, °C, of a switch.
fn on_resistance(part: &Part, celsius: f64) -> f64 {
    let gate = gate_on(part, &Conditions::default()).ok().flatten();
    let at = |gate| resistance(part.entry(), &part.values, gate, SMALL, celsius).ok();
    gate.and_then(at).unwrap_or(f64::NAN)
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let [part] = question.parts(Asked::part) else {
        return Err(question.wrong(Asked::part, "none", "a part"));
    };
    let asked = question.asked(Asked::read)?;
    let out = asked.file.as_ref().filter(|_| context.level == Level::STATED && !context.brief);
    let out = out.map(|file| Path::new(&file.name));
    out.map_or(Ok(()), |out| question.writes(out))?;
    let how = how(question, &asked, part)?;
    let (mut made, changed) = derive(part, &how).map_err(|error| match error {
        DeriveError::Package { package } => {
            let expected = format!("more than that of the package, {}", people(package, "ohm"));
            question.wrong(Asked::resistance, "not more than its package alone has", expected)
        }
        why => StudyError::Refused(why.to_string()),
    })?;
    let origin = origin(part, &how);
    made.title = asked.title.as_ref().map_or_else(|| format!("{}, derived", part.title), |t| t.name.clone());
    made.source = if part.source.is_empty() { origin.clone() } else { format!("{origin} {}", part.source) };
    let mut notes = Vec::new();
    if let Some(out) = out {
        written::write(out, write::toml(&made, &origin)).map_err(|why| StudyError::Output(why.0))?;
        notes.push(format!("written: {}", out.display()));
    }
    if how.area.or(how.resistance).is_some() {
        notes.push(
            "Not scaled: voltages, temperatures, times, inductances, the package's own resistance, outline, ratings of leads."
                .into(),
        );
    }
    let hottest = part.hottest().unwrap_or(150.0);
    let areas = part.dies.first().zip(made.dies.first()).map(|(a, b)| b.area / a.area);
    let area = areas.or(how.area).unwrap_or(1.0);
    let mut answers = vec![Answer::new("area", "area of the dies over that of the part", area, "1")];
    for (key, celsius) in [("cold", 25.0), ("hot", hottest)] {
        for (whose, words, part) in [("before", "of the part", part), ("after", "of the derived part", &made)]
        {
            let quantity = format!("on-resistance {words} at {}", people(celsius, "degC"));
            let name = format!("resistance.{key}.{whose}");
            answers.push(Answer::new(name, quantity, on_resistance(part, celsius), "ohm"));
        }
    }
    answers.push(Answer::new("changed", "numbers that differ", changed.len() as f64, "1"));
    let figures = if context.brief || on_resistance(&made, 25.0).is_nan() {
        Vec::new()
    } else {
        let caption = "On-resistance of the part and of the derived one against junction temperature.";
        vec![StudyFigure::new(caption, picture(part, &made))]
    };
    Ok(Study {
        title: format!("What differs in a part derived from {}?", part.name),
        answers,
        notes,
        conditions: vec![
            origin,
            "Layers and doping stay; heat flows straight down through what scales.".into(),
        ],
        definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        tables: vec![table(&changed)],
        figures,
        ..Study::default()
    })
}

fn table(changed: &[Changed]) -> StudyTable {
    let heads = vec![
        Head::text("number"),
        Head::text("unit"),
        Head::number("before", "before", "1"),
        Head::number("after", "after", "1"),
        Head::number("factor", "factor", "1"),
        Head::text("rule"),
    ];
    let row = |c: &Changed| {
        let factor = c.before.filter(|b| *b != 0.0 && c.unit != "degC").map(|b| c.after / b);
        vec![
            Cell::from(c.what.as_str()),
            c.unit.into(),
            c.before.into(),
            c.after.into(),
            factor.into(),
            c.rule.into(),
        ]
    };
    let data = Table { heads, rows: changed.iter().map(row).collect() };
    StudyTable::new("changes", "Every number that differs, in SI units", 2, data)
}

fn picture(part: &Part, made: &Part) -> Figure {
    let curve = |name: &str, part: &Part| {
        let points = TEMPERATURES.iter().map(|&t| (t, on_resistance(part, t)));
        Curve::new(name, points.collect())
    };
    let chart = Chart {
        x: Axis::linear("junction temperature", "degC"),
        y: Axis::linear("on-resistance", "ohm"),
        curves: vec![curve(&part.name, part), curve("derived", made)],
        ..Chart::default()
    };
    Figure::new(&format!("Derived from {}", part.name), vec![Panel::Chart(chart)])
}
