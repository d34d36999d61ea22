//! What is wrong with an input file, as data: where, which key, what was found, what was expected, what may be
//! intended.

use std::fmt::Write;
use std::ops::Range;
use std::path::PathBuf;

use serde::Serialize;

/// A file that was read, by its number in [`Sources`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct FileId(pub usize);

/// A stretch of a file, in bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// The file.
    pub file: FileId,
    /// First byte and the one after the last.
    pub range: Range<usize>,
}

/// Keys and tables of which every file of ours has one: scenarios, parts, points, packages, plans.
const OURS: [&str; 20] = [
    "format",
    "title",
    "include",
    "component",
    "arrangement",
    "steps",
    "record",
    "thermal",
    "limit",
    "kind",
    "technology",
    "params",
    "curve",
    "layer",
    "die",
    "vary",
    "sampling",
    "scenario",
    "rating",
    "dead-time",
];

/// The files that make up a scenario, in the order in which they were opened.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sources {
    /// Path as it is shown, and the text.
    pub files: Vec<(PathBuf, String)>,
}

impl Sources {
    /// Adds a file.
    pub fn add(&mut self, path: PathBuf, text: String) -> FileId {
        self.files.push((path, text));
        FileId(self.files.len() - 1)
    }

    /// Adds the files of others that are not there yet.
    pub fn merge(&mut self, others: Self) {
        for file in others.files {
            if !self.files.contains(&file) {
                self.files.push(file);
            }
        }
    }

    /// A text that stands for itself, without a file.
    pub fn of_text(text: impl Into<String>) -> Self {
        Self { files: vec![(PathBuf::new(), text.into())] }
    }

    /// Text of a file.
    pub fn text(&self, file: FileId) -> &str {
        self.files.get(file.0).map_or("", |f| f.1.as_str())
    }

    /// Whether its lines may be shown: they have one of our keys or tables somewhere, or are a table of numbers. Others
    /// (a list of passwords behind a link) are nobody's business.
    fn is_own(&self, file: FileId) -> bool {
        let ending = self.files.get(file.0).and_then(|f| f.0.extension());
        let key = |line: &str| {
            line.trim_start_matches(['[', ' ', '\t']).split(['=', ']', '.', ' ']).next().map(str::to_string)
        };
        let ours = |line: &str| key(line).is_some_and(|key| OURS.contains(&key.as_str()));
        ending.is_some_and(|e| e.eq_ignore_ascii_case("csv")) || self.text(file).lines().any(ours)
    }

    /// Line and column (in characters) of a span's first byte, both counted from 1.
    pub fn line_and_column(&self, span: &Span) -> (usize, usize) {
        let text = self.text(span.file);
        let mut at = span.range.start.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        let begin = text[..at].rfind('\n').map_or(0, |k| k + 1);
        (text[..at].matches('\n').count() + 1, text[begin..at].chars().count() + 1)
    }

    /// `file:line:column`.
    pub fn show(&self, span: &Span) -> String {
        let (line, column) = self.line_and_column(span);
        let path = self.files.get(span.file.0).map_or_else(String::new, |f| f.0.display().to_string());
        format!("{path}:{line}:{column}")
    }
}

/// Diagnostics that are shown; further ones are only counted.
pub const SHOWN: usize = 50;

/// Whether one more diagnostic may still be shown: only then are lists of names and suggestions worth their time.
pub(crate) fn worded(so_far: &[Diagnostic]) -> bool {
    so_far.len() < 2 * SHOWN
}

/// Columns of what is printed for people.
const WIDTH: usize = 100;

/// One thing wrong with an input file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Diagnostic {
    /// Where; `None` where the error is not in a file's text.
    #[serde(skip)]
    pub span: Option<Span>,
    /// The key, with the table it stands in (`component.R1.resistance`); empty where none is concerned.
    pub key: String,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// What may have been intended.
    pub suggestion: Option<String>,
}

impl Diagnostic {
    /// A diagnostic without a suggestion.
    pub fn new(
        span: &Span,
        key: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        let span = Some(span.clone());
        Self { span, key: key.into(), found: found.into(), expected: expected.into(), suggestion: None }
    }

    /// The same with a suggestion.
    pub fn suggest(mut self, suggestion: Option<String>) -> Self {
        self.suggestion = suggestion;
        self
    }

    /// All of it in one line, without the span.
    pub fn line(&self) -> String {
        let mut text = String::new();
        if !self.key.is_empty() {
            let _ = write!(text, "{}: ", self.key);
        }
        text.push_str(&self.found);
        if !self.expected.is_empty() {
            let _ = write!(text, "; expected {}", self.expected);
        }
        if let Some(suggestion) = &self.suggestion {
            let _ = write!(text, "; did you mean `{suggestion}`?");
        }
        printable(&text)
    }
}

/// Control characters made visible: what a file says must not steer a terminal.
pub fn printable(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { format!("\\u{{{:x}}}", c as u32) } else { c.to_string() })
        .collect()
}

/// The files read, and everything that is wrong with them.
#[derive(Clone, Debug, Default)]
pub struct Refusal {
    /// The files.
    pub sources: Sources,
    /// What is wrong, in the order of the files.
    pub diagnostics: Vec<Diagnostic>,
}

impl Refusal {
    /// With the diagnostics brought into the order of the files.
    pub fn sorted(sources: Sources, mut diagnostics: Vec<Diagnostic>) -> Self {
        diagnostics.sort_by_key(|d| d.span.as_ref().map(|p| (p.file, p.range.start)));
        Self { sources, diagnostics }
    }

    /// For people: where, message, the line with a mark below it.
    pub fn text(&self) -> String {
        self.text_in("the scenario")
    }

    /// The same, where the file is something else than a scenario ("the part file").
    pub fn text_in(&self, what: &str) -> String {
        let mut out = String::new();
        for d in self.diagnostics.iter().take(SHOWN) {
            self.one(d, &mut out);
        }
        let n = self.diagnostics.len();
        if n > SHOWN {
            let _ = writeln!(out, "... and {} more", n - SHOWN);
        }
        let _ = writeln!(out, "{n} error{} in {what}", if n == 1 { "" } else { "s" });
        out
    }

    fn one(&self, d: &Diagnostic, out: &mut String) {
        let key = if d.key.is_empty() { String::new() } else { format!("{}: ", printable(&d.key)) };
        let found = printable(&d.found);
        if let Some(span) = &d.span {
            let _ = writeln!(out, "{}: {key}{found}", self.sources.show(span));
            let (line, column) = self.sources.line_and_column(span);
            if !self.sources.is_own(span.file) {
                return self.rest(d, out);
            }
            let text = self.sources.text(span.file).lines().nth(line - 1).unwrap_or("");
            let shown: String =
                text.chars().take(160).map(|c| if c.is_control() { ' ' } else { c }).collect();
            let length = self.sources.text(span.file).get(span.range.clone()).unwrap_or("");
            let length = length.lines().next().unwrap_or("").chars().count();
            let length = length.clamp(1, shown.chars().count().saturating_sub(column - 1).max(1));
            let gutter = line.to_string().len();
            let _ = writeln!(out, "  {line} | {shown}");
            if column <= 160 {
                let _ = writeln!(out, "  {:gutter$} | {}{}", "", " ".repeat(column - 1), "^".repeat(length));
            }
        } else {
            let _ = writeln!(out, "{key}{found}");
        }
        self.rest(d, out);
    }

    /// What was expected, and may have been intended.
    fn rest(&self, d: &Diagnostic, out: &mut String) {
        if !d.expected.is_empty() {
            filled(&format!("expected {}", printable(&d.expected)), WIDTH, out);
        }
        if let Some(suggestion) = &d.suggestion {
            let _ = writeln!(out, "  did you mean `{}`?", printable(suggestion));
        }
        out.push('\n');
    }

    /// For programs.
    pub fn json(&self) -> Invalid<impl Serialize> {
        let errors = self.diagnostics.iter().take(SHOWN).map(|diagnostic| {
            let span = diagnostic.span.as_ref();
            let file = span.map(|p| self.sources.files[p.file.0].0.display().to_string());
            let (line, column) = span.map(|p| self.sources.line_and_column(p)).unzip();
            Located { file, line, column, diagnostic }
        });
        let more = self.diagnostics.len().saturating_sub(SHOWN);
        Invalid { valid: false, errors: errors.collect(), more }
    }
}

/// A file that is not accepted, as JSON.
#[derive(Debug, Serialize)]
pub struct Invalid<E> {
    /// Never.
    pub valid: bool,
    /// What is wrong, the first of it.
    pub errors: Vec<E>,
    /// How much more is wrong.
    #[serde(skip_serializing_if = "is_zero")]
    pub more: usize,
}

fn is_zero(number: &usize) -> bool {
    *number == 0
}

#[derive(Serialize)]
struct Located<'a> {
    file: Option<String>,
    line: Option<usize>,
    column: Option<usize>,
    #[serde(flatten)]
    diagnostic: &'a Diagnostic,
}

/// First letter as a capital.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}", letters.as_str())
}

/// Writes a text in indented lines of at most `width` columns.
pub fn filled(text: &str, width: usize, out: &mut String) {
    let mut column = 0;
    for word in text.split(' ') {
        let length = word.chars().count();
        if column == 0 {
            out.push_str("  ");
            column = 2 + length;
        } else if column + 1 + length > width {
            out.push_str("\n    ");
            column = 4 + length;
        } else {
            out.push(' ');
            column += 1 + length;
        }
        out.push_str(word);
    }
    out.push('\n');
}

/// The name nearest to what was typed, when one is near enough to be intended.
pub fn nearest<'a>(typed: &str, names: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let lower = typed.to_lowercase();
    let letters = typed.chars().count();
    // A third of the letters may be wrong; lengths that differ by more need no closer look.
    let most = letters.max(3) / 3;
    let near = names.into_iter().filter(|n| n.chars().count().abs_diff(letters) <= most);
    let near = near.map(|n| (strsim::damerau_levenshtein(&n.to_lowercase(), &lower), n));
    let (distance, name) = near.min_by_key(|(d, _)| *d)?;
    (distance <= most && name != typed).then(|| name.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mark_stands_below_the_value() {
        let mut refusal = Refusal::default();
        let file = refusal.sources.add("a.toml".into(), "kind=1\nµ = \"20 mV\"\n".into());
        let span = Span { file, range: 12..19 };
        refusal.diagnostics.push(Diagnostic::new(&span, "µ", "`20 mV` is a voltage", "a resistance"));
        assert_eq!(
            refusal.text(),
            "a.toml:2:5: µ: `20 mV` is a voltage\n  2 | µ = \"20 mV\"\n    |     ^^^^^^^\n  expected a resistance\n\n1 error in the scenario\n"
        );
        assert_eq!(serde_json::to_value(refusal.json()).unwrap()["errors"][0]["column"], 5);
    }

    #[test]
    fn control_characters_do_not_reach_a_terminal() {
        assert_eq!(printable("a\u{1b}[31mb"), "a\\u{1b}[31mb");
    }

    #[test]
    fn near_names_only() {
        assert_eq!(nearest("resistence", ["resistance", "kind"]), Some("resistance".into()));
        assert_eq!(nearest("foo", ["resistance", "kind"]), None);
    }
}
