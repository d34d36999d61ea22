//! A mission's result file: `/thermal` the courses of the temperatures, `/waveforms` load, power and estimated error,
//! beside the tables and figures of a study; the root attribute `study` is "mission".

use std::path::Path;

use joulestep_engine::recorder::{Column, Event, EventKind, Layout, Recorder};
use joulestep_models::arrangement::mission::profile::{Profile, Side};
use joulestep_models::arrangement::mission::{Instant, MissionEvent};

use super::judge::Known;
use crate::account;
use crate::answer::Study;
use crate::judge::Uncertainty;
use crate::result::{ResultError, ResultWriter, Scalar, Summary, WriterOptions};
use crate::scenario::resolved::{MissionSpec, SegmentOf};
use crate::table::{Cell, Table};

/// Writes while the mission is followed.
pub(crate) struct File {
    writer: ResultWriter,
    profile: Profile,
}

fn column(name: String, long_name: String, unit: &str) -> Column {
    Column { name, long_name, unit: unit.into() }
}

impl File {
    /// Makes the file.
    pub(crate) fn create(
        path: &Path,
        text: &str,
        spec: &MissionSpec,
        profile: &Profile,
        inputs: &[String],
    ) -> Result<Self, ResultError> {
        let mut writer = ResultWriter::create(path, text, WriterOptions::default())?;
        writer.studies("mission");
        let mut layout = Layout::default();
        for segment in &spec.segments {
            let (name, what) = match &segment.of {
                SegmentOf::Parameter(key) => (key.to_string(), "parameter of the arrangement"),
                SegmentOf::Boundary(name) => (format!("boundary-{name}"), "temperature of the boundary"),
            };
            layout.channels.push(column(name.clone(), format!("{what} {}", segment.of.name()), segment.unit));
        }
        for name in inputs {
            layout.channels.push(column(
                format!("power-{name}"),
                format!("mean power of {name} since the instant before"),
                "W",
            ));
            let parts = [
                ("", "mean over a cycle"),
                ("-least", "least within a cycle"),
                ("-largest", "largest within a cycle"),
            ];
            for (ending, what) in parts {
                layout.thermal.push(column(format!("{name}{ending}"), format!("{name}, {what}"), "degC"));
            }
        }
        layout.channels.push(column(
            "estimated-error".into(),
            "estimated error of the temperatures".into(),
            "K",
        ));
        writer.begin(&layout);
        Ok(Self { writer, profile: profile.clone() })
    }

    pub(crate) fn instant(&mut self, i: &Instant) {
        let length = self.profile.length;
        let round = (i.time / length).floor();
        let within = i.time - round * length;
        // The end of a round belongs to it.
        let (t, side) = match within <= 1e-12 * length && i.time > 0.0 {
            true => (length, Side::Before),
            false => (within, Side::Before),
        };
        let mut values: Vec<f64> = self.profile.segments.iter().map(|c| c.at(t, side)).collect();
        values.extend(&i.power);
        values.push(i.estimate);
        self.writer.sample(i.time, &values);
        let each = i.celsius.iter().zip(&i.within);
        let temperatures: Vec<f64> = each.flat_map(|(t, w)| [*t, t + w.least, t + w.largest]).collect();
        self.writer.thermal(i.time, &temperatures);
    }

    pub(crate) fn event(&mut self, t: f64, what: MissionEvent) {
        let (note, value, unit) = match what {
            MissionEvent::Stretch(k) => (format!("stretch {} of the round begins", k + 1), f64::NAN, ""),
            MissionEvent::Resolved(n) => ("cycles resolved".into(), f64::from(n), "1"),
            MissionEvent::Jumped(e) => ("rest of a settling jumped over, estimated error".into(), e, "K"),
            MissionEvent::Leapt(cycles, e) => {
                (format!("leap over {cycles:.0} cycles, estimated error"), e, "K")
            }
            MissionEvent::TakenBack(cycles, e) => {
                (format!("leap over {cycles:.0} cycles taken back, estimated error"), e, "K")
            }
        };
        let kind = EventKind::Scheduled;
        self.writer.event(&Event { time: t, kind, subject: "mission".into(), note, value, unit, lane: 0 });
    }

    pub(crate) fn go_on(&mut self, t: f64) -> bool {
        Recorder::<f64>::go_on(&mut self.writer, t)
    }

    /// Closes it with what was found; gives its size, bytes.
    pub(crate) fn finish(mut self, known: &Known, study: Study) -> Result<u64, ResultError> {
        self.writer.found(study);
        let summary = summary(known);
        let done = self.writer.finish(known.followed.complete, None, Some(&summary))?;
        Ok(done.bytes)
    }
}

/// Numbers of a table with their errors, by the die that a row is of.
fn of_table(data: &Table, words: &str) -> Vec<Scalar> {
    let mut all = Vec::new();
    for row in &data.rows {
        let Some(Cell::Text(die)) = row.first() else { continue };
        for (k, head) in data.heads.iter().enumerate() {
            let Cell::Number(value) = row[k] else { continue };
            let error = match row.get(k + 1) {
                Some(Cell::Error(error)) => error.clone(),
                _ => Uncertainty::Bare,
            };
            let name = format!("{die}-{}", head.name.replace("_ripple", "-ripple"));
            let long_name = format!("{die}: {}{words}", head.name.replace('_', " "));
            all.push(Scalar { name, long_name, value, unit: head.unit.clone(), error, ..Scalar::default() });
        }
    }
    all
}

fn summary(known: &Known) -> Summary {
    let Known { followed, lives, account, tables, .. } = known;
    let mut scalars = of_table(&tables.dies, "");
    scalars.extend(of_table(&tables.ripple, ", peak to peak"));
    let mut add = |name: String, long_name: String, value: f64, unit: &str, error: &Uncertainty| {
        let unit = unit.into();
        scalars.push(Scalar { name, long_name, value, unit, error: error.clone(), ..Scalar::default() });
    };
    let damages = followed.inputs.iter().zip(lives).filter_map(|(name, life)| Some((name, life.damage?)));
    for ((name, (mission, ripple)), error) in damages.zip(&tables.damage) {
        let words = format!("{name}: damage of the mission by the user's law");
        add(format!("{name}-damage"), words, mission + ripple, "1", error);
    }
    let w = &followed.work;
    let energies = [
        ("input-energy", "energy from sources"),
        ("output-energy", "energy into the load"),
        ("losses-energy", "losses"),
    ];
    for (((name, words), joules), error) in energies.into_iter().zip(followed.balance).zip(&tables.balance) {
        add(name.into(), words.into(), joules, "J", error);
    }
    for (name, words, value, unit) in [
        ("cycles", "cycles of the mission", w.cycles, "1"),
        ("cycles-solved", "cycles solved", w.solved as f64, "1"),
        ("leaps", "leaps", f64::from(w.leaps), "1"),
        ("leaps-taken-back", "leaps taken back", f64::from(w.taken_back), "1"),
        ("estimated-error", "largest estimated error of a temperature", w.estimate, "K"),
    ] {
        add(name.into(), words.into(), value, unit, &Uncertainty::Bare);
    }
    scalars.extend(account::store::judged(account));
    account::store::summary_of(account, scalars)
}
