//! The options of a study's command, by its parameter table.

use std::path::PathBuf;

use clap::builder::PossibleValuesParser;
use clap::{Arg, ArgAction, Command, value_parser};

use crate::diagnostic::capital;
use crate::input::keys::shape::{Form, Key};
use crate::study::Entry;
use crate::study::inputs::Count;

impl Entry {
    /// Whether the effect of its inputs' spread can be asked for.
    pub(super) fn spreads(&self) -> bool {
        self.takes_scenario() && !self.refines.is_empty()
    }

    /// The command with its options.
    pub fn command(&'static self) -> Command {
        // Paragraphs are filled to the terminal's width.
        let filled: Vec<String> = self.help.split("\n\n").map(|p| p.replace('\n', " ")).collect();
        let help = format!("{}.\n\n{}", self.section.help, filled.join("\n\n"));
        let mut command = Command::new(self.word()).about(self.section.help).long_about(help);
        command = command.after_long_help(format!("Examples:\n{}", indented(self.examples)));
        for key in self.section.keys {
            command = command.args(self.argument(key));
        }
        if !self.refines.is_empty() {
            let proof = format!(
                "Repeat with finer {} until every judged number stands still within its margin",
                self.refines
            );
            let long = format!(
                "{proof}.\n\nTwo to five rounds; if they are not enough, the verdict is \"not proven\"."
            );
            command = command
                .arg(flag(
                    "no-estimate",
                    "Leave out the coarser computations that estimate the error of every number",
                ))
                .arg(flag("prove", &proof).long_help(long).conflicts_with("no-estimate"));
        }
        if self.spreads() {
            let spread = "Report the effect of the tolerances that part files state, or of the inputs that a plan draws";
            let long = format!(
                "{spread}.\n\nTwo computations for each input, one standard deviation to either side, and one for each judged \
                 number far out; numbers are judged with three standard deviations beside their numerical errors. A number \
                 that is not linear in its inputs is marked, and not proven. Without this the verdict is one of the nominal part."
            );
            let arg = Arg::new("spread").long("spread").value_name("PLAN").num_args(0..=1).help(spread);
            let arg = arg.long_help(long).value_parser(value_parser!(PathBuf)).conflicts_with("prove");
            command = command.arg(arg);
        }
        let csv = "Print a table as CSV (SI units, temperatures in degC): the main one, or --csv=TABLE";
        command
            .arg(
                flag("json", "Print everything as JSON (SI units, temperatures in degC)")
                    .conflicts_with("csv"),
            )
            .arg(
                Arg::new("csv")
                    .long("csv")
                    .value_name("TABLE")
                    .num_args(0..=1)
                    .require_equals(true)
                    .default_missing_value("")
                    .help(csv),
            )
            .arg(path("plot", "FILE.svg", "Draw the main figure: SVG, or PNG where the name ends in .png"))
            .arg(
                path("out", "FILE.h5", "Result file to write (HDF5); `report` makes a document of it")
                    .short('o'),
            )
            .arg(flag("force", "Replace files that exist"))
            .arg(flag("quiet", "Show no progress").short('q'))
    }

    /// The argument of a key; tables and pairs stand in plans only.
    pub(super) fn argument(&self, key: &Key) -> Option<Arg> {
        let mut arg = Arg::new(key.name).required(key.required);
        if let Some(input) = self.inputs.iter().find(|i| i.key.name == key.name) {
            let many = input.count == Count::Many;
            arg = arg.help(capital(key.help)).action(ArgAction::Append);
            return Some(match (input.positional, many) {
                (true, true) => arg.num_args(1..),
                (true, false) => arg.num_args(1),
                (false, _) => arg.long(key.name).value_name("NAME").num_args(1),
            });
        }
        arg = arg.long(key.name).help(help(key)).allow_hyphen_values(true);
        Some(match key.form {
            Form::Quantity(..) | Form::Measure => arg.value_name("QUANTITY"),
            Form::Quantities(..) => {
                arg.value_name("QUANTITIES").value_delimiter(',').action(ArgAction::Append)
            }
            Form::Whole(least, most) => {
                arg.value_name("NUMBER").value_parser(value_parser!(i64).range(least..=most))
            }
            Form::Flag => arg.action(ArgAction::SetTrue).allow_hyphen_values(false),
            Form::Word(words) => arg.value_name("WORD").value_parser(PossibleValuesParser::new(words)),
            Form::Text | Form::Name => arg.value_name("TEXT"),
            Form::OneOrMore => arg.value_name("TEXT").action(ArgAction::Append),
            _ => return None,
        })
    }
}

fn flag(name: &'static str, help: &str) -> Arg {
    Arg::new(name).long(name).help(help.to_string()).action(ArgAction::SetTrue)
}

fn path(name: &'static str, value: &'static str, help: &str) -> Arg {
    let help = format!("{help}; it must not exist yet");
    Arg::new(name).long(name).value_name(value).help(help).value_parser(value_parser!(PathBuf))
}

fn indented(lines: &str) -> String {
    lines.lines().map(|l| if l.is_empty() { "\n".into() } else { format!("  {l}\n") }).collect()
}

/// A quantity as one would type it.
fn as_typed(x: f64, unit: &str) -> String {
    let (prefix, factor) = match x.abs() {
        _ if matches!(unit, "degC" | "K" | "K/W") => ("", 1.0),
        1e-12..1e-9 => ("p", 1e12),
        1e-9..1e-6 => ("n", 1e9),
        1e-6..1e-3 => ("u", 1e6),
        1e-3..1.0 => ("m", 1e3),
        // Rates of current, as data sheets state them.
        _ if unit == "A/s" => return format!("{} A/us", 1e-6 * x),
        _ => ("", 1.0),
    };
    format!("{} {prefix}{unit}", (x * factor * 1e6).round() / 1e6)
}

/// Help of an option, with its default.
fn help(key: &Key) -> String {
    let shown = match (key.default, key.form) {
        (Some(x), Form::Quantity("1", _) | Form::Quantities("1", _)) => Some(x.to_string()),
        (Some(x), Form::Quantity(unit, _) | Form::Quantities(unit, _)) => Some(as_typed(x, unit)),
        (Some(x), Form::Whole(..)) => Some(x.to_string()),
        (_, Form::Word([first, ..])) if !key.required => Some((*first).to_string()),
        _ => None,
    };
    let default = shown.map_or(String::new(), |d| format!(" [default: {d}]"));
    capital(key.help) + &default
}
