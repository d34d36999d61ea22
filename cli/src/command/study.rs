//! A study as a command: its question as typed, its answer as printed.

use std::io;
use std::path::PathBuf;
use std::sync::atomic::Ordering;

use clap::ArgMatches;

use super::spread::Spreading;
use crate::diagnostic::{Diagnostic, FileId, Refusal, Sources, Span};
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, NUMERICAL};
use crate::input::keys::conform::Conform;
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::shape::{Form, Key};
use crate::judge::{Level, Verdict, exit_code};
use crate::output::answer::{Estimation, Outcome, Study, assess};
use crate::output::print;
use crate::output::streams::Streams;
use crate::output::written::{Refused, draw, is_new, refused};
use crate::signals;
use crate::study::inputs::{gather, root};
use crate::study::{Cache, Checked, Context, Entry, Question, Recording, StudyError};

/// Name under which the command line stands in diagnostics.
const COMMAND_LINE: &str = "command line";

/// A question, and the tables that it was read from.
#[derive(Debug)]
pub struct Asked {
    /// The question.
    pub question: Question,
    /// Those tables, checked.
    pub checked: Checked,
}

/// Why there is no question.
#[derive(Debug)]
pub enum Unasked {
    /// A file cannot be opened.
    Unreadable(String),
    /// What is wrong.
    Wrong(Vec<Diagnostic>),
}

impl Entry {
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
        let asked = match self.ask(typed, &mut sources, &open) {
            Ok(mut asked) => {
                asked.question.command.clone_from(&streams.command);
                asked.question.force = matches.get_flag("force");
                asked
            }
            Err(Unasked::Wrong(diagnostics)) => return self.refuse(diagnostics, sources, as_json, streams),
            Err(Unasked::Unreadable(why)) => return refused(&(why, INPUT_OUTPUT), as_json, streams),
        };
        let quiet = matches.get_flag("quiet") || as_json || matches.contains_id("csv");
        let cache = Cache::default();
        let recording = outputs[1].map(|path| Recording::new(path.clone()));
        let is_set = |id: &str| !self.refines.is_empty() && matches.get_flag(id);
        let estimation = match (is_set("prove"), is_set("no-estimate") || self.refines.is_empty()) {
            (true, _) => Estimation::Proof,
            (_, true) => Estimation::None,
            _ => Estimation::Coarser,
        };
        let stop = signals::stopped();
        let context = Context {
            level: Level::STATED,
            stop,
            quiet,
            brief: false,
            sketch: false,
            base: None,
            estimation,
            cache: &cache,
            record: recording.as_ref(),
        };
        let spread = match self.spreads() && matches.contains_id("spread") {
            true => Spreading::of(&asked, matches.get_one::<PathBuf>("spread"), context, &open).map(Some),
            false => Ok(None),
        };
        let spread = match spread {
            Ok(spread) => spread,
            Err(why) => return refused(&why, as_json, streams),
        };
        match self.solved(&asked.question, &context) {
            Ok(mut study) => {
                if let Some(spread) = spread.filter(|_| study.outcome == Outcome::Done) {
                    spread.add_to(&mut study);
                }
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
            let named = self.inputs.iter().any(|i| i.key.name == key.name && i.positional);
            if !named {
                text.push_str(&format!("--{}", key.name));
            }
            let mut nodes = Vec::new();
            for (k, word) in words.iter().enumerate() {
                text.push_str(if k > 0 && list && !named { "," } else { " " });
                let begin = text.len();
                text.push_str(word);
                nodes.push(Node { span: Span { file, range: begin..text.len() }, value: value(word) });
            }
            text.push('\n');
            let span = nodes.first().map_or(Span { file, range: 0..0 }, |n| n.span.clone());
            let node = match (list, nodes.len()) {
                (false, 1) => nodes.remove(0),
                _ => Node { span: span.clone(), value: Raw::List(nodes) },
            };
            entries.push((key.name.to_string(), span, node));
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
        RawTable { span: Span { file, range: 0..0 }, entries }
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
    ) -> Result<Asked, Unasked> {
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
        let checked = Checked::new(self, &root, files.loaded);
        let mut question = Question::of(self, &checked).map_err(Unasked::Wrong)?;
        question.fields.path.clear();
        question.inputs = Sources { files: sources.files[own..].to_vec() };
        Ok(Asked { question, checked })
    }

    fn solved(&'static self, question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
        let stopped = || context.stop.load(Ordering::Relaxed);
        let at = |level| (self.solve)(question, &context.at(level));
        let mut study = assess(context.estimation, &stopped, &at)?;
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
            None => {
                write!(streams.out, "{}", print::text(study))?;
                if let Some(out) = matches.get_one::<PathBuf>("out") {
                    let bytes = std::fs::metadata(out).map_or(0, |m| m.len());
                    writeln!(streams.out, "\nwritten: {} ({:.1} MB)", out.display(), bytes as f64 / 1e6)?;
                }
            }
        }
        let error = match study.outcome {
            Outcome::Done => None,
            Outcome::Interrupted => Some(signals::code()),
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
