//! How key tables are written: one description from which the checking, the help and the JSON Schema are made.

use joulestep_engine::units::{bare_in, in_unit};
use joulestep_models::arrangement::Arrangement;
use joulestep_models::model::{Param, Range, Shape};

/// What a key takes.
#[derive(Clone, Copy, Debug)]
pub enum Form {
    /// A number with this unit symbol, within a range.
    Quantity(&'static str, Range),
    /// A quantity whose unit depends on another key (the threshold of a watched signal).
    Measure,
    /// A list of such quantities.
    Measures,
    /// An integer within two bounds, both included.
    Whole(i64, i64),
    /// true or false.
    Flag,
    /// Free text in one line.
    Text,
    /// A name by the grammar of [`is_name`].
    Name,
    /// One of a few words.
    Word(&'static [&'static str]),
    /// Anything; looked at elsewhere.
    Any,
    /// A list of free texts.
    Texts,
    /// A free text, or a list of them.
    OneOrMore,
    /// A list of names.
    Names,
    /// A list of quantities with this unit symbol.
    Quantities(&'static str, Range),
    /// A list of pairs of quantities with these unit symbols.
    Pairs(&'static str, &'static str),
    /// A list of pairs of quantities whose units depend on another key (the points of a curve).
    Rows,
    /// Names in order, or a table from a pin's name to a node's.
    Pins,
    /// A name, or a table from name to name.
    NameOrMap,
    /// A table.
    Table(&'static Section),
    /// A list of tables.
    Tables(&'static Section),
    /// Tables under names of their own.
    Named(&'static Section),
    /// A table of the parameters of a kind, any of which may be left out.
    Parameters(&'static str, &'static [Param]),
}

/// A key of a table.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    /// As it is typed.
    pub name: &'static str,
    /// What it takes.
    pub form: Form,
    /// Whether it must be there.
    pub required: bool,
    /// One line of help.
    pub help: &'static str,
    /// Value where none is given, in SI units (°C), if the table knows one.
    pub default: Option<f64>,
}

impl Key {
    /// A key that must be there.
    pub const fn need(name: &'static str, form: Form, help: &'static str) -> Self {
        Self { name, form, required: true, help, default: None }
    }
    /// A key that may be left out.
    pub const fn may(name: &'static str, form: Form, help: &'static str) -> Self {
        Self { name, form, required: false, help, default: None }
    }

    /// The same with a default, in SI units (°C).
    pub const fn or(self, default: f64) -> Self {
        Self { default: Some(default), ..self }
    }

    /// The keys of an arrangement: its places, then its parameters.
    pub fn of_arrangement(a: &'static Arrangement) -> Vec<Self> {
        let place = |name: &&'static str| Self::may(name, Form::Text, "part of this place; default: `part`");
        a.places.iter().map(place).chain(a.params.iter().map(|p| Self::of_param(p, false))).collect()
    }

    /// The key of a model's parameter. With a part file behind it nothing must be given.
    pub fn of_param(param: &Param, from_part: bool) -> Self {
        let form = match param.shape {
            Shape::Number(unit) => Form::Quantity(unit, param.range),
            Shape::Table(x, y) => Form::Pairs(x, y),
            Shape::List(unit) => Form::Quantities(unit, param.range),
        };
        let required = param.default.is_none() && !param.optional && !from_part;
        Self { name: param.key, form, required, help: param.help, default: param.default }
    }
}

impl AsRef<str> for Key {
    fn as_ref(&self) -> &str {
        self.name
    }
}

/// A table that comes in several kinds, distinguished by one key.
#[derive(Clone, Copy, Debug)]
pub enum Kinds {
    /// It does not.
    None,
    /// By the word under the key of this name; each kind has further keys.
    Listed(&'static str, &'static [Kind]),
    /// By the catalogue of models, under the key `kind`, or by a part file.
    Catalogue,
    /// By the list of arrangements, under the key `kind`: its parameters, and a part for each of its places.
    Arrangements,
    /// By the catalogue of models, under the key `kind`; the model's parameters stand in the tables of these names.
    Part(&'static [Key]),
}

/// One kind of a table.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// The word.
    pub word: &'static str,
    /// One line of help.
    pub help: &'static str,
    /// Its further keys.
    pub keys: &'static [Key],
}

/// A table of the scenario file.
#[derive(Clone, Copy, Debug)]
pub struct Section {
    /// As it is typed between brackets.
    pub name: &'static str,
    /// One line of help.
    pub help: &'static str,
    /// Keys that all kinds have.
    pub keys: &'static [Key],
    /// Its kinds.
    pub kinds: Kinds,
}

impl Section {
    /// The kind of a table that states none, where the key of the kind may be left out: the first.
    pub fn default_kind(&self) -> Option<&'static Kind> {
        let Kinds::Listed(tag, kinds) = self.kinds else { return None };
        let optional = self.keys.iter().any(|k| k.name == tag && !k.required);
        kinds.first().filter(|_| optional)
    }
}

/// Longest name, in bytes.
pub const LONGEST_NAME: usize = 64;

/// What a name looks like, in words.
pub const NAME_GRAMMAR: &str = "a name of letters, digits, `_`, `-` or `+` that begins with a letter, a digit or `_` (at most 64 characters)";

/// The pattern of [`is_name`] for a JSON Schema.
pub const NAME_PATTERN: &str = "^[A-Za-z0-9_][A-Za-z0-9_+-]{0,63}$";

/// Names of components, nodes, lines and thermal nodes. They become names in files and parts of `voltage(a, b)` and
/// `Q1.current`, so nothing else may stand in them.
pub fn is_name(text: &str) -> bool {
    let good = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '+');
    text.len() <= LONGEST_NAME
        && text.chars().all(good)
        && text.starts_with(|c: char| c.is_ascii_alphanumeric() || c == '_')
}

/// The name of ground.
pub const GROUND: &str = "gnd";

/// What is found of a node that is called `0`: other programs take it as ground.
pub fn zero_as_ground(name: &str) -> Option<String> {
    (name == "0").then(|| format!("`0` is no node: ground is `{GROUND}`"))
}

/// A range in words.
pub fn range_words(range: Range) -> String {
    match range {
        Range::Any => "any finite number".into(),
        Range::Positive => "above zero".into(),
        Range::NotNegative => "zero or above".into(),
        Range::Between(a, b) => format!("between {a} and {b}"),
    }
}

/// What is wrong with a value: found, expected, what may be intended.
pub type WrongValue = (String, String, Option<String>);

/// A quantity typed as a string or bare number → SI value.
///
/// # Errors
/// [`WrongValue`].
pub fn quantity(typed: Result<&str, f64>, unit: &str, range: Range) -> Result<f64, WrongValue> {
    let shown = || typed.map_or_else(|number| number.to_string(), str::to_string);
    let value = match typed {
        Ok(text) => in_unit(text, unit),
        Err(number) => bare_in(number, unit),
    };
    let value = value
        .map_err(|error| (error.to_string(), error.expected(unit), error.suggestion().map(str::to_string)))?;
    within(value, shown, unit, range)
}

/// A value in a unit, if its range holds it.
///
/// # Errors
/// [`WrongValue`].
pub fn within(
    value: f64,
    shown: impl FnOnce() -> String,
    unit: &str,
    range: Range,
) -> Result<f64, WrongValue> {
    if range.holds(value) {
        return Ok(value);
    }
    let shown = shown();
    let kind = joulestep_engine::units::parse_unit(unit).map(|u| u.dimension);
    let (kind, example) = kind.map_or((unit.to_string(), String::new()), |d| (d.kind(), d.example()));
    let found = match range {
        Range::Positive if value == 0.0 => format!("`{shown}` is zero"),
        Range::Positive | Range::NotNegative => format!("`{shown}` is below zero"),
        _ => format!("`{shown}` is out of range"),
    };
    let example = match range {
        Range::Between(..) if unit == "1" => String::new(),
        Range::Between(..) => format!(" {unit}"),
        _ => format!(" such as {example}"),
    };
    Err((found, format!("{kind} {}{example}", range_words(range)), None))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_could_steer_a_file_or_signal_are_refused() {
        for good in ["R1", "bus+", "0", "_x", "a-b"] {
            assert!(is_name(good), "{good}");
        }
        for bad in ["", "-a", "a b", "a/b", "a.b", "voltage(a)", "a\n", "ü", "../x", &"a".repeat(65)] {
            assert!(!is_name(bad), "{bad:?}");
        }
    }

    #[test]
    fn ranges_are_in_words() {
        let (found, expected, _) = quantity(Ok("-20 mohm"), "ohm", Range::Positive).unwrap_err();
        assert_eq!(found, "`-20 mohm` is below zero");
        assert_eq!(expected, "a resistance above zero such as \"20 mohm\"");
        assert_eq!(quantity(Err(0.5), "1", Range::Between(0.0, 1.0)), Ok(0.5));
    }
}
