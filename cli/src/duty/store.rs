//! A duty's result file: `/thermal` the courses of the temperatures, `/waveforms` load, power and estimated error,
//! beside the tables and figures of a study; the root attribute `study` is "duty".

use std::path::Path;

use joulestep_engine::recorder::{Column, Event, EventKind, Layout, Recorder};
use joulestep_models::arrangement::duty::profile::{Profile, Side};
use joulestep_models::arrangement::duty::{Followed, Happening, Instant};

use super::{Life, sheets};
use crate::result::{ResultError, ResultWriter, Scalar, Study, Summary, WriterOptions};
use crate::scenario::meant::{CourseOf, DutySpec};
use crate::sheet::Cell;

/// Writes while the duty is followed.
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
        spec: &DutySpec,
        profile: &Profile,
        inputs: &[String],
    ) -> Result<Self, ResultError> {
        let mut writer = ResultWriter::create(path, text, WriterOptions::default())?;
        writer.studies("duty");
        let mut layout = Layout::default();
        for course in &spec.courses {
            let (name, what) = match &course.of {
                CourseOf::Parameter(key) => (key.to_string(), "parameter of the arrangement"),
                CourseOf::Boundary(name) => (format!("boundary-{name}"), "temperature of the boundary"),
            };
            layout.channels.push(column(name.clone(), format!("{what} {}", course.of.name()), course.unit));
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
        let mut values: Vec<f64> = self.profile.courses.iter().map(|c| c.at(t, side)).collect();
        values.extend(&i.power);
        values.push(i.estimate);
        self.writer.sample(i.time, &values);
        let each = i.celsius.iter().zip(&i.within);
        let temperatures: Vec<f64> = each.flat_map(|(t, w)| [*t, t + w.least, t + w.largest]).collect();
        self.writer.thermal(i.time, &temperatures);
    }

    pub(crate) fn happening(&mut self, t: f64, what: Happening) {
        let (note, value, unit) = match what {
            Happening::Stretch(k) => (format!("stretch {} of the round begins", k + 1), f64::NAN, ""),
            Happening::Resolved(n) => ("cycles resolved".into(), f64::from(n), "1"),
            Happening::Jumped(e) => ("rest of a settling jumped over, estimated error".into(), e, "K"),
            Happening::Leapt(cycles, e) => (format!("leap over {cycles:.0} cycles, estimated error"), e, "K"),
            Happening::TakenBack(cycles, e) => {
                (format!("leap over {cycles:.0} cycles taken back, estimated error"), e, "K")
            }
        };
        let kind = EventKind::Happening;
        self.writer.event(&Event { time: t, kind, subject: "duty".into(), note, value, unit, lane: 0 });
    }

    pub(crate) fn go_on(&mut self, t: f64) -> bool {
        Recorder::<f64>::go_on(&mut self.writer, t)
    }

    /// Closes it with what was found; gives its size, bytes.
    pub(crate) fn finish(
        mut self,
        followed: &Followed,
        lives: &[Life],
        study: Study,
    ) -> Result<u64, ResultError> {
        self.writer.found(study);
        let summary = summary(followed, lives);
        let done = self.writer.finish(followed.complete, None, Some(&summary))?;
        Ok(done.bytes)
    }
}

fn summary(followed: &Followed, lives: &[Life]) -> Summary {
    let mut scalars = Vec::new();
    let mut add = |name: String, long_name: String, value: f64, unit: &str| {
        scalars.push(Scalar { name, long_name, value, unit: unit.into(), ..Scalar::default() });
    };
    let dies = sheets::dies(followed);
    for (row, name) in dies.rows.iter().zip(&followed.inputs) {
        for (head, cell) in dies.heads.iter().zip(row).skip(1) {
            if let Cell::Number(x) = cell {
                add(
                    format!("{name}-{}", head.name),
                    format!("{name}: {}", head.name.replace('_', " ")),
                    *x,
                    &head.unit,
                );
            }
        }
    }
    if let Some(hot) = &followed.hottest {
        for (name, r) in followed.inputs.iter().zip(&hot.ripple) {
            add(
                format!("{name}-switching-ripple"),
                format!("{name}: switching-frequency ripple, peak to peak"),
                r.switching,
                "K",
            );
            if followed.period.1 > 1 {
                add(
                    format!("{name}-line-ripple"),
                    format!("{name}: line-frequency ripple, peak to peak"),
                    r.line,
                    "K",
                );
            }
        }
    }
    for (name, life) in followed.inputs.iter().zip(lives) {
        if let Some((duty, ripple)) = life.damage {
            add(
                format!("{name}-damage"),
                format!("{name}: damage of the duty by the user's law"),
                duty + ripple,
                "1",
            );
        }
    }
    let w = &followed.work;
    for (name, words, value, unit) in [
        ("input-energy", "energy from sources", followed.balance[0], "J"),
        ("output-energy", "energy into the load", followed.balance[1], "J"),
        ("losses-energy", "losses", followed.balance[2], "J"),
        ("cycles", "cycles of the duty", w.cycles, "1"),
        ("cycles-solved", "cycles solved", w.solved as f64, "1"),
        ("leaps", "leaps", f64::from(w.leaps), "1"),
        ("leaps-taken-back", "leaps taken back", f64::from(w.taken_back), "1"),
        ("estimated-error", "largest estimated error of a temperature", w.estimate, "K"),
    ] {
        add(name.into(), words.into(), value, unit);
    }
    Summary::of(scalars)
}
