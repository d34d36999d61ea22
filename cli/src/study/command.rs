//! A study as a command: options from its parameter table, outputs by its answer.

use std::io;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::builder::PossibleValuesParser;
use clap::{Arg, ArgAction, ArgMatches, Command, value_parser};

use super::inputs::{Count, gather, root};
use super::{Cache, Context, Entry, Question, Recording, StudyError};
use crate::diagnostic::{Diagnostic, FileId, Place, Refusal, Sources, capital};
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, INTERRUPTED, NUMERICAL};
use crate::input::keys::conform::Conform;
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::shape::{Form, Key};
use crate::judge::{Verdict, exit_code};
use crate::output::answer::{Estimation, Outcome, Study, assess};
use crate::output::print;
use crate::output::streams::Streams;
use crate::output::written::{Refused, draw, is_new, refused};
use crate::signals::listen;

/// Name under which the command line stands in diagnostics.
const COMMAND_LINE: &str = "command line";

/// Why there is no question.
#[derive(Debug)]
pub enum Unasked {
    /// A file cannot be opened.
    Unreadable(String),
    /// What is wrong.
    Wrong(Vec<Diagnostic>),
}

impl Entry {
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
    fn argument(&self, key: &Key) -> Option<Arg> {
        let mut arg = Arg::new(key.name).required(key.required);
        if let Some(input) = self.inputs.iter().find(|i| i.key == key.name) {
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
            _ => return None,
        })
    }

    /// Carries out the command.
    ///
    /// # Errors
    /// When a stream cannot be written.
    pub fn execute(&'static self, matches: &ArgMatches, streams: &mut Streams<'_>) -> io::Result<u8> {
        let as_json = matches.get_flag("json");
        let outputs = ["plot", "out"].map(|id| matches.get_one::<PathBuf>(id));
        for path in outputs {
            if let Err(why) = is_new(path.map(PathBuf::as_path), matches.get_flag("force")) {
                return refused(&why, as_json, streams);
            }
        }
        let mut sources = Sources::default();
        let typed = self.typed(matches, &mut sources);
        let open = streams.access.open();
        let question = match self.ask(typed, &mut sources, &open) {
            Ok(mut question) => {
                question.command.clone_from(&streams.command);
                question.force = matches.get_flag("force");
                question
            }
            Err(Unasked::Wrong(diagnostics)) => return self.refuse(diagnostics, sources, as_json, streams),
            Err(Unasked::Unreadable(why)) => return refused(&(why, INPUT_OUTPUT), as_json, streams),
        };
        let quiet = matches.get_flag("quiet") || as_json || matches.contains_id("csv");
        let stop = listen();
        let recording = outputs[1].map(|path| Recording::new(path.clone()));
        match self.solved(&question, matches, (quiet, stop, recording.as_ref())) {
            Ok(study) => {
                let written = recording.map_or(Ok(()), |r| r.finish(&study));
                if let Err(why) = written {
                    return refused(&(why.to_string(), INPUT_OUTPUT), as_json, streams);
                }
                Self::print(&study, matches, streams)
            }
            Err(StudyError::Value(diagnostic)) => self.refuse(vec![*diagnostic], sources, as_json, streams),
            Err(StudyError::Invalid(diagnostics)) => self.refuse(diagnostics, sources, as_json, streams),
            Err(why) => refused(&(why.to_string(), why.code()), as_json, streams),
        }
    }

    fn refuse(
        &self,
        diagnostics: Vec<Diagnostic>,
        sources: Sources,
        as_json: bool,
        streams: &mut Streams<'_>,
    ) -> io::Result<u8> {
        let refusal = Refusal::sorted(sources, diagnostics);
        if as_json {
            streams.json(&refusal.json())?;
        } else {
            let what = if self.takes_scenario() { "the scenario" } else { "the question" };
            write!(streams.err, "{}", refusal.text_in(what))?;
        }
        Ok(BAD_INPUT)
    }

    /// The section as typed on the command line, which is the first of the sources.
    fn typed(&self, matches: &ArgMatches, sources: &mut Sources) -> RawTable {
        let file = FileId(sources.files.len());
        let mut text = String::new();
        let mut entries = Vec::new();
        let mut add = |key: &Key, value: &dyn Fn(&str) -> Raw, words: &[String], list: bool| {
            let named = self.inputs.iter().any(|i| i.key == key.name && i.positional);
            if !named {
                text.push_str(&format!("--{}", key.name));
            }
            let mut nodes = Vec::new();
            for (k, word) in words.iter().enumerate() {
                text.push_str(if k > 0 && list && !named { "," } else { " " });
                let begin = text.len();
                text.push_str(word);
                nodes.push(Node { place: Place { file, span: begin..text.len() }, value: value(word) });
            }
            text.push('\n');
            let place = nodes.first().map_or(Place { file, span: 0..0 }, |n| n.place.clone());
            let node = match (list, nodes.len()) {
                (false, 1) => nodes.remove(0),
                _ => Node { place: place.clone(), value: Raw::List(nodes) },
            };
            entries.push((key.name.to_string(), place, node));
        };
        let as_text = |word: &str| Raw::Text(word.to_string());
        for key in self.section.keys.iter().filter(|k| self.argument(k).is_some()) {
            let given = matches.value_source(key.name) == Some(clap::parser::ValueSource::CommandLine);
            if !given {
                continue;
            }
            let words = || -> Vec<String> {
                matches
                    .get_many::<String>(key.name)
                    .into_iter()
                    .flatten()
                    .map(|w| w.trim().to_string())
                    .collect()
            };
            match key.form {
                Form::Whole(..) => {
                    let number = matches.get_one::<i64>(key.name).copied().unwrap_or_default();
                    add(key, &|_| Raw::Whole(number), &[number.to_string()], false);
                }
                Form::Flag => add(key, &|_| Raw::Flag(true), &[String::new()], false),
                Form::Quantities(..) | Form::OneOrMore => add(key, &as_text, &words(), true),
                _ => add(key, &as_text, &words(), false),
            }
        }
        sources.add(PathBuf::from(COMMAND_LINE), text);
        RawTable { place: Place { file, span: 0..0 }, entries }
    }

    /// The question that a section as typed asks, with its files.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn ask(
        &'static self,
        typed: RawTable,
        sources: &mut Sources,
        open: Open<'_>,
    ) -> Result<Question, Unasked> {
        let catalogue = joulestep_models::devices::catalogue();
        let mut conform = Conform { catalogue, kind_of_part: &|_, _| None, diagnostics: Vec::new() };
        let fields = conform.table(&typed, self.section, "");
        let mut diagnostics = conform.diagnostics;
        let own = sources.files.len();
        let files = gather(self, &fields, sources, open, &mut diagnostics).map_err(|(name, error)| {
            Unasked::Unreadable(format!("cannot read `{name}`: {}", reason(&error)))
        })?;
        if !diagnostics.is_empty() {
            return Err(Unasked::Wrong(diagnostics));
        }
        let mut root = root(typed, self.section.name);
        files.put_into(&mut root);
        let question = match &files.loaded {
            Some(loaded) => Question::read_scenario(self, &root, loaded),
            None => Question::read(self, &root),
        };
        let mut question = question.map_err(Unasked::Wrong)?;
        question.fields.path.clear();
        question.inputs = Sources { files: sources.files[own..].to_vec() };
        Ok(question)
    }

    fn solved(
        &'static self,
        question: &Question,
        matches: &ArgMatches,
        (quiet, stop, record): (bool, &AtomicBool, Option<&Recording>),
    ) -> Result<Study, StudyError> {
        let is_set = |id: &str| !self.refines.is_empty() && matches.get_flag(id);
        let how = match (is_set("prove"), is_set("no-estimate") || self.refines.is_empty()) {
            (true, _) => Estimation::Proof,
            (_, true) => Estimation::None,
            _ => Estimation::Coarser,
        };
        let cache = Cache::default();
        let context = Context {
            level: crate::judge::Level::STATED,
            stop,
            quiet,
            brief: false,
            sketch: false,
            base: None,
            errors: how != Estimation::None,
            cache: &cache,
            record,
        };
        let stopped = || stop.load(Ordering::Relaxed);
        let mut study = assess(how, &stopped, &|level| (self.solve)(question, &context.at(level)))?;
        study.kind = self.section.name.into();
        study.command.clone_from(&question.command);
        study.inputs.clone_from(&question.inputs);
        Ok(study)
    }

    fn print(study: &Study, matches: &ArgMatches, streams: &mut Streams<'_>) -> io::Result<u8> {
        let as_json = matches.get_flag("json");
        if let Err(why) = write(study, matches) {
            return refused(&why, as_json, streams);
        }
        match matches.get_one::<String>("csv") {
            Some(table) => match print::csv(study, Some(table.as_str()).filter(|t| !t.is_empty())) {
                Ok(csv) => write!(streams.out, "{csv}")?,
                Err(names) => {
                    let what = format!("--csv={table}: no such table; expected one of {}", names.join(", "));
                    return refused(&(what, BAD_INPUT), as_json, streams);
                }
            },
            None if as_json => streams.json(&print::json(study))?,
            None => write!(streams.out, "{}", print::text(study))?,
        }
        let error = match study.outcome {
            Outcome::Done => None,
            Outcome::Interrupted => Some(INTERRUPTED),
            Outcome::Failed(_) => Some(NUMERICAL),
        };
        Ok(exit_code(error, study.verdict.unwrap_or(Verdict::NotJudged)))
    }
}

/// Draws the picture that is asked for.
fn write(study: &Study, matches: &ArgMatches) -> Result<(), Refused> {
    match (matches.get_one::<PathBuf>("plot"), study.figures.first()) {
        (None, _) => Ok(()),
        (Some(path), Some(figure)) => draw(path, &figure.figure),
        (Some(_), None) => Err(("--plot: this answer has no figure".into(), BAD_INPUT)),
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
