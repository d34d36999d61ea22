//! Reports of runs.

mod definitions;
mod energies;
mod judged;
mod sequence;
mod switching;
mod traces;
mod windows;

use std::collections::BTreeMap;

use crate::output::report::{people, people_digits};

use super::{Block, Grid, Report, Section, Tone, words};
use crate::diagnostic::Sources;
use crate::output::result::{ResultError, ResultFile, Scalar, StepTable, StoredEvent, Summary, Verdict};

/// Most cleared faults that are reported in the answer.
const CLEARED: usize = 2;

/// Everything of a run's file that is read once.
pub(super) struct Read<'a> {
    pub file: &'a ResultFile,
    pub events: Vec<StoredEvent>,
    pub steps: StepTable,
    pub summary: Option<Summary>,
    /// First and last instant that is recorded, s.
    pub reach: (f64, f64),
}

impl Read<'_> {
    /// A number of the summary.
    fn scalar(&self, name: &str) -> Option<&Scalar> {
        self.summary.as_ref()?.scalars.iter().find(|s| s.name == name)
    }
}

/// The case: the scenario's title, or the first comment of its text.
fn title(inputs: &Sources) -> String {
    let files = &inputs.files;
    let own = files.first().map_or("", |f| f.1.as_str());
    let typed = own.parse::<toml::Table>().ok().and_then(|t| Some(t.get("title")?.as_str()?.to_string()));
    let comment = own.lines().find_map(|l| l.strip_prefix("# ")).map(String::from);
    let named = files.first().map(|f| f.0.display().to_string()).filter(|n| !n.is_empty());
    typed.filter(|t| !t.trim().is_empty()).or(comment).or(named).unwrap_or_else(|| "A run".into())
}

fn reach(file: &ResultFile) -> Result<(f64, f64), ResultError> {
    let n = file.samples();
    if n == 0 {
        return Ok((0.0, 0.0));
    }
    Ok((file.time(0..1)?[0], file.time(n - 1..n)?[0]))
}

/// The report of a run.
pub(super) fn report(file: &ResultFile) -> Result<Report, ResultError> {
    let read = Read {
        events: file.events()?,
        steps: file.steps()?,
        summary: file.summary()?,
        reach: reach(file)?,
        file,
    };
    let about = file.about();
    let limits = judged::limits(&read);
    let (verdict, tone) = headline(&read);
    let mut evidence = judged::grid(&limits).into_iter().map(Block::Grid).collect::<Vec<_>>();
    evidence.extend(judged::ratings(&read).map(Block::Grid));
    let waivers: Vec<String> = read.summary.iter().flat_map(|s| &s.waivers).cloned().collect();
    if !waivers.is_empty() {
        evidence
            .push(Block::Text("Ratings and notes that the scenario waives, each with its reason:".into()));
        evidence.push(Block::List(waivers));
    }
    let facts = facts(&read);
    let report = Report {
        kind: "Run".into(),
        title: title(&about.inputs),
        question: judged::question(&read, &limits),
        verdict: verdict.into(),
        tone,
        answers: answers(&read, &limits, verdict),
        warnings: warnings(&read),
        sections: vec![
            Section::new("Limits and ratings", evidence),
            Section::new("Sequence of events", sequence::blocks(&read)),
            Section::new("Waveforms", waveforms(&read)?),
            Section::new(
                "Energies and losses",
                [energies::blocks(&read)?, switching::blocks(&read)].concat(),
            ),
            Section::new("Junction temperatures", junctions(&read)),
            Section::new("Recorded signals", recorded(&read)),
            Section::new("How quantities are defined", vec![Block::Terms(definitions::definitions(&read))]),
            Section::new("Assumptions", vec![Block::List(definitions::assumptions(&read))]),
            words::record(&facts),
            words::cautions(),
            words::inputs(&about.inputs),
        ],
    };
    Ok(report.numbered())
}

fn headline(read: &Read<'_>) -> (&'static str, Tone) {
    match read.summary.as_ref().map(Summary::verdict) {
        Some(Verdict::Fails) => (Verdict::Fails.word(), Tone::Fails),
        _ if !read.file.complete() => ("incomplete", Tone::Plain),
        verdict => (verdict.unwrap_or(Verdict::NotJudged).word(), Tone::of(verdict)),
    }
}

fn answers(read: &Read<'_>, limits: &[judged::Against<'_>], verdict: &str) -> Vec<String> {
    let mut out = judged::sentences(read, limits, verdict);
    let bare = read.summary.as_ref().is_some_and(Summary::bare);
    if bare {
        out.push("The numbers are judged as they stand, without an estimate of their errors.".into());
    }
    let judged = read.summary.as_ref().filter(|s| s.verdict() != Verdict::NotJudged);
    out.extend(
        judged.filter(|s| !s.input.is_empty()).map(|s| format!("What the verdict holds for: {}.", s.input)),
    );
    let hottest = read.summary.iter().flat_map(|s| &s.scalars).filter(|s| s.name.ends_with(".hottest"));
    if let Some(hottest) = hottest.max_by(|a, b| a.value.total_cmp(&b.value)) {
        out.push(format!(
            "The hottest die is {} at {}.",
            hottest.name.trim_end_matches(".hottest"),
            people(hottest.value, "degC")
        ));
    }
    let cleared = read.events.iter().filter(|e| e.kind == "cleared");
    for e in cleared.clone().take(CLEARED) {
        let at = sequence::instant(e.time, read.reach.1);
        let value = if e.value.is_finite() { people(e.value, &e.unit) } else { String::new() };
        out.push(format!("{} clears a fault at {at}: {value} {}.", e.subject, e.note));
    }
    let more = cleared.count().saturating_sub(CLEARED);
    if more > 0 {
        out.push(format!("{more} more faults are cleared."));
    }
    if let Some(e) = read.events.iter().find(|e| e.kind == "lock-out") {
        out.push(format!("{} locks out at {}.", e.subject, sequence::instant(e.time, read.reach.1)));
    }
    out
}

fn warnings(read: &Read<'_>) -> Vec<String> {
    let mut out = Vec::new();
    if !read.file.complete() {
        out.push(format!(
            "The run did not end properly: this is a partial record, up to {}. What came later is not known.",
            people_digits(read.reach.1, "s", 4)
        ));
    }
    if read.summary.is_none() {
        out.push("The file holds no summary: limits and ratings could not be judged.".into());
    }
    out.extend(read.summary.iter().flat_map(|s| &s.doubts).map(|d| format!("Doubt: {d}.")));
    out.extend(judged::exceeded_ratings(read));
    out.extend(read.summary.iter().flat_map(|s| &s.waivers).map(|w| format!("Waived: {w}.")));
    out.extend(read.summary.iter().flat_map(|s| &s.notes).map(|n| format!("Note: {n}.")));
    out.extend(energies::warning(read));
    out
}

fn facts(read: &Read<'_>) -> Vec<(String, String)> {
    let about = read.file.about();
    let count = |name: &str| read.scalar(name).map_or(String::new(), |s| format!("{:.0}", s.value));
    let reached = read.scalar("reached").map_or(read.reach.1, |s| s.value);
    vec![
        ("Computed by".into(), format!("{} {}", about.producer, about.producer_version)),
        ("Computed at".into(), about.created.clone()),
        ("Simulated time".into(), people_digits(reached, "s", 4)),
        ("Samples recorded".into(), read.file.samples().to_string()),
        ("Steps".into(), count("steps")),
        ("Newton iterations".into(), count("iterations")),
    ]
}

fn waveforms(read: &Read<'_>) -> Result<Vec<Block>, ResultError> {
    if read.file.channels().is_empty() || read.file.samples() < 2 {
        return Ok(vec![Block::Text("No waveform was recorded.".into())]);
    }
    let windows = windows::choose(read)?;
    let order = match windows.shown.len() {
        1 => "",
        _ => "First the whole run, then what happened in it, closer. ",
    };
    let mut blocks = vec![Block::Text(format!(
        "{order}Samples are joined by straight lines; on/off lines hold from one sample to the next. Where a pixel holds many \
         samples, the line spans their least and largest value."
    ))];
    for window in &windows.shown {
        blocks.extend(traces::drawing(read, window)?.map(Block::Drawing));
    }
    if windows.left_out > 0 {
        let text = format!("{} further events are in the sequence above and in the file.", windows.left_out);
        blocks.push(Block::Text(text));
    }
    Ok(blocks)
}

fn junctions(read: &Read<'_>) -> Vec<Block> {
    let Some(summary) = &read.summary else { return Vec::new() };
    let rows: Vec<Vec<String>> = summary
        .scalars
        .iter()
        .filter_map(|s| s.name.strip_suffix(".hottest"))
        .map(|die| {
            let shown = |name: String| {
                let found = read.scalar(&name).map(|s| [people(s.value, &s.unit), s.error.words(&s.unit)]);
                found.unwrap_or_else(|| ["–".into(), String::new()])
            };
            let [hottest, heat] = ["hottest", "heat"].map(|what| shown(format!("{die}.{what}")));
            [vec![die.to_string()], hottest.to_vec(), heat.to_vec()].concat()
        })
        .collect();
    if rows.is_empty() {
        return Vec::new();
    }
    let caption =
        "Virtual junction temperature of each die, and the heat that it handed to the thermal network";
    vec![Block::Grid(Grid::new(caption, &["die", ">hottest", ">error", ">heat", ">error"], rows))]
}

/// Extremes by signal, and numbers that belong to no signal.
fn recorded(read: &Read<'_>) -> Vec<Block> {
    let Some(summary) = &read.summary else { return Vec::new() };
    let by_name: BTreeMap<&str, &Scalar> = summary.scalars.iter().map(|s| (s.name.as_str(), s)).collect();
    let shown = |name: String| {
        let found = by_name.get(name.as_str());
        found.map_or(["–".into(), String::new()], |s| {
            [people_digits(s.value, &s.unit, 4), s.error.words(&s.unit)]
        })
    };
    let rows: Vec<Vec<String>> = read
        .file
        .channels()
        .iter()
        .map(|c| {
            let extreme = |end: &str| shown(format!("{}.{end}", c.name));
            let words = vec![c.name.clone(), c.long_name.clone()];
            [words, extreme("least").to_vec(), extreme("largest").to_vec()].concat()
        })
        .collect();
    let mut blocks = Vec::new();
    if !rows.is_empty() {
        let caption = "Least and largest value at the end of any step, recorded or not";
        blocks.push(Block::Grid(Grid::new(
            caption,
            &["signal", "what it is", ">least", ">error", ">largest", ">error"],
            rows,
        )));
    }
    let known = |s: &&Scalar| {
        let of_signal = s.name.rsplit_once('.').is_some_and(|(name, end)| {
            let extreme =
                matches!(end, "least" | "largest") && read.file.channels().iter().any(|c| c.name == name);
            extreme || matches!(end, "hottest" | "heat")
        });
        let own = ["reached", "steps", "iterations", "stalled", "ledger_residual_relative"]
            .contains(&s.name.as_str());
        of_signal || own || s.limited.is_some()
    };
    let further: Vec<Vec<String>> = summary
        .scalars
        .iter()
        .filter(|s| !known(s))
        .map(|s| vec![s.name.clone(), s.long_name.clone(), super::number(s.value, &s.unit)])
        .collect();
    if !further.is_empty() {
        let grid = Grid::new("Further numbers of the file", &["name", "what it is", ">value"], further);
        blocks.insert(0, Block::Grid(grid));
    }
    blocks
}
