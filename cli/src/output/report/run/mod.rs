//! What a recorded file holds beside a study's answer: events, waveforms, heat.

mod energies;
mod sequence;
mod traces;
mod windows;

use joulestep_engine::recorder::EventKind;

use super::{Block, Section, people, people_digits};
use crate::diagnostic::Sources;
use crate::judge::Verdict;
use crate::output::answer::overlay::Overlay;
use crate::output::answer::{Outcome, Study};
use crate::output::result::{ResultError, ResultFile, StepTable, StoredEvent, Summary};

/// Most cleared faults that are reported in the answer.
const CLEARED: usize = 2;

/// Everything of a recorded file that is read once.
pub(super) struct Read<'a> {
    pub file: &'a ResultFile,
    pub events: Vec<StoredEvent>,
    pub steps: StepTable,
    /// First and last instant that is recorded, s.
    pub reach: (f64, f64),
}

impl<'a> Read<'a> {
    pub fn of(file: &'a ResultFile) -> Result<Self, ResultError> {
        Ok(Self { events: file.events()?, steps: file.steps()?, reach: reach(file)?, file })
    }

    /// The evidence.
    pub fn sections(&self, overlays: &[Overlay]) -> Result<Vec<Section>, ResultError> {
        Ok(vec![
            Section::new("Sequence of events", sequence::blocks(self)),
            Section::new("Waveforms", waveforms(self, overlays)?),
            Section::new("Heat", energies::blocks(self)),
        ])
    }

    /// What happened, in sentences.
    pub fn happened(&self) -> Vec<String> {
        let mut out = Vec::new();
        let cleared = self.events.iter().filter(|e| e.is(EventKind::Cleared));
        for e in cleared.clone().take(CLEARED) {
            let at = sequence::instant(e.time, self.reach.1);
            let value = if e.value.is_finite() { people(e.value, &e.unit) } else { String::new() };
            out.push(format!("{} clears a fault at {at}: {value} {}.", e.subject, e.note));
        }
        let more = cleared.count().saturating_sub(CLEARED);
        if more > 0 {
            out.push(format!("{more} more faults are cleared."));
        }
        if let Some(e) = self.events.iter().find(|e| e.is(EventKind::LockOut)) {
            out.push(format!("{} locks out at {}.", e.subject, sequence::instant(e.time, self.reach.1)));
        }
        out
    }

    /// What must be known of an incomplete file.
    pub fn warnings(&self) -> Option<String> {
        (!self.file.complete()).then(|| {
            format!(
                "The run did not end properly: this is a partial record, up to {}. What came later is not known.",
                people_digits(self.reach.1, "s", 4)
            )
        })
    }

    /// What the file says of itself.
    pub fn facts(&self) -> Vec<(String, String)> {
        let about = self.file.about();
        vec![
            ("Computed by".into(), format!("{} {}", about.producer, about.producer_version)),
            ("Computed at".into(), about.created.clone()),
            ("Recorded until".into(), people_digits(self.reach.1, "s", 4)),
            ("Samples recorded".into(), self.file.samples().to_string()),
        ]
    }
}

/// The answer of a file that holds none: what its summary tells, if it has one.
pub(super) fn of_summary(file: &ResultFile) -> Result<Study, ResultError> {
    let inputs = file.about().inputs.clone();
    let summary = file.summary()?;
    let mut study = Study {
        kind: "run".into(),
        title: title(&inputs),
        inputs,
        outcome: if file.complete() { Outcome::Done } else { Outcome::Interrupted },
        ..Study::default()
    };
    let Some(summary) = summary else {
        study.doubts.push(
            "the file holds no energy ledger and no summary: limits and ratings could not be judged".into(),
        );
        return Ok(study);
    };
    study.verdict = Some(summary.verdict()).filter(|v| *v != Verdict::NotJudged);
    let Summary { answers, input, doubts, waivers, notes } = summary;
    study.answers = answers;
    study.notes = waivers.iter().map(|w| format!("waived: {w}")).chain(notes).collect();
    (study.input, study.doubts) = (input, doubts);
    Ok(study)
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

fn waveforms(read: &Read<'_>, overlays: &[Overlay]) -> Result<Vec<Block>, ResultError> {
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
        blocks.extend(traces::drawing(read, window, overlays)?.map(Block::Drawing));
    }
    if windows.left_out > 0 {
        let text = format!("{} further events are in the sequence above and in the file.", windows.left_out);
        blocks.push(Block::Text(text));
    }
    Ok(blocks)
}
