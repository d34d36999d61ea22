//! `mission`: junction temperatures of a scenario's arrangement through a profile of load and ambient.

mod known;
mod life;
mod lifetime;
mod picture;
mod record;
mod tables;

use std::sync::atomic::AtomicBool;

use joulestep_engine::accounts::ledger::Entry as LedgerEntry;
use joulestep_engine::cycle::steady::Effort;
use joulestep_engine::recorder::Recorder;
use joulestep_engine::run::watch::Watch;
use joulestep_engine::units::people;
use joulestep_models::arrangement::mission::profile::Profile;
use joulestep_models::arrangement::mission::{Followed, Make, MissionError, Options, again, follow};
use joulestep_models::model::Range::Positive;

use self::known::OfInput;
use self::life::{Life, law_words, life, make};
use super::{Context, Entry, Input, Question, StudyError, Trial};
use crate::input::keys::table::keys;
use crate::input::scenario::build::{Ready, build_with, repeating};
use crate::input::scenario::resolved::{MissionSpec, Scenario, SegmentOf, SegmentSpec};
use crate::output::account::{Account, Facts, Found, Shown};
use crate::output::answer::{Answer, Outcome, Study, StudyFigure};
use crate::progress::Progress;

/// The study.
pub static STUDY: Entry = Entry {
    name: "mission",
    section: &SECTION,
    help: HELP,
    examples: "joulestep mission examples/ferry-mission.toml\n\
               joulestep mission examples/ferry-mission.toml --out mission.h5 --plot mission.svg --tolerance \"0.02 K\"",
    inputs: &[Input::scenario(Asked::scenario)],
    trial: Trial {
        args: &["tests/catalogue_of_studies/mission.toml"],
        vary: ("arrangement.duty", ["0.5", "0.4"]),
    },
    refines: "steps",
    writes: &[],
    solve,
};

const HELP: &str = "\
Load and ambient follow the scenario's `[mission]`. The laws of the devices are held at each junction's mean temperature over
a cycle; the ripple within a cycle follows exactly from the power of every step, but does not act back on the laws.
The first load begins in its electrical periodic state. After every later step of a parameter, cycles are stepped through
with the temperatures coupled, until what is left of the settling could move no temperature by 5 % of the tolerance; then
(or after --resolve cycles) the rest is solved by shooting. A settling between the same two loads at about the same
temperatures (15 K) is resolved once and used again. While a parameter ramps, the circuit counts as in the periodic state
of each moment; its lag is part of the estimated error.

A leap extrapolates the power of a cycle, linear in the temperatures and, in a ramp, in time. A cycle solved at its end
gives the power that was missed, and the error in temperature; a leap that is too long is taken back. One leap may add a
fifth of the tolerance. The estimated error sums what every leap may have missed, passed through the thermal network,
without the correction that is applied. Where a cycle is a line period (inverter, totem pole), cycles are line periods.

The mission is judged by the ratings of the parts and the limits of the scenario: the temperatures of its whole course,
voltages and currents of the cycles that were solved. There is no law of damage in this program: [mission.damage] states the
user's own, and what is printed is what that law says. [mission.lifetime] states how often the mission takes place and how
lifetimes scatter (Weibull): lifetimes in hours and years follow, of each die and of the first to fail.";

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "mission":
        "Junction temperatures of a scenario's arrangement through a mission of seconds to hours";
    need scenario: Files,
        "scenario file (TOML) with an arrangement or a `[cycle]`, a thermal network and a `[mission]`";
    may tolerance: Quantity("K", Positive), "tolerance of the temperatures", or 0.1;
    may resolve: Whole(0, 1_000_000_000), "most cycles to resolve after a step of the load", or 2000.0;
    may every_cycle: Flag, "resolve every cycle, without leaps: slow, to compare with", else false;
    may closing: Quantity("1", Positive),
        "closing error of a periodic state that is good enough", or 1e-5;
    may repeating: Flag,
        "count temperature cycles as of a mission that begins anew again and again (ASTM E1049-85, 5.4.5)", else false;
}

impl From<MissionError> for StudyError {
    fn from(error: MissionError) -> Self {
        match error {
            MissionError::Cycle { .. } | MissionError::Numerical { .. } | MissionError::Runaway { .. } => {
                Self::Numerical(error.to_string())
            }
            _ => Self::Refused(error.to_string()),
        }
    }
}

/// What is asked, at any level.
struct Task<'a> {
    scenario: &'a Scenario,
    spec: &'a MissionSpec,
    profile: Profile,
    options: Options,
    repeating: bool,
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    context.go_on()?;
    let scenario = question.scenario()?;
    let refused = |what: &str| StudyError::Refused(what.into());
    let (Some(spec), Some((kind, frequency))) = (&scenario.mission, scenario.repeating()) else {
        return Err(refused("no [mission]: expected a profile of load or ambient"));
    };
    let ready = build_with(scenario, &context.reductions())?;
    if ready.placed.iter().all(|p| p.heat.iter().all(Option::is_none)) {
        return Err(refused(
            "no die has a heat input (in an arrangement, one named PLACE-DIE): there is no temperature to follow",
        ));
    }
    let network = ready.setup.thermal.as_ref().map(|t| t.modal());
    let profile = life::profile(spec, network.map_or(&[][..], |m| m.boundaries()));
    let profile = profile.ok_or_else(|| refused("a course of a boundary that the network does not have"))?;
    let inputs = network.map_or(Vec::new(), |m| m.inputs().to_vec());
    let asked = question.asked(Asked::read)?;
    let options = Options {
        tolerance: asked.tolerance,
        resolve: u32::try_from(asked.resolve).unwrap_or(u32::MAX),
        every_cycle: asked.every_cycle,
        effort: Effort { closing: asked.closing, ..Effort::default() },
        switching: Some(frequency),
    };
    let task = Task { scenario, spec, profile, options, repeating: asked.repeating };
    // A coarser one solves cycles of the one as stated again.
    let near = question.left::<Followed>().filter(|_| context.level.0 > 0);
    let followed = match near {
        Some(near) => task.at(context, |build| again(&near, task.profile.begin, build))?,
        None => task.follow(question, context, &inputs)?,
    };
    if context.level.0 == 0 {
        question.leave(followed.clone());
    }
    Ok(task.study(&followed, ready, &kind))
}

impl Task<'_> {
    /// The arrangement at parameters, as coarse as a level.
    fn at<T>(
        &self,
        context: &Context<'_>,
        work: impl FnOnce(&mut Make<'_>) -> Result<T, MissionError>,
    ) -> Result<T, StudyError> {
        let of = self.spec.segments.iter().map(|s: &SegmentSpec| &s.of);
        let moved: Vec<&SegmentOf> = of.filter(|of| !matches!(of, SegmentOf::Boundary(_))).collect();
        let mut scenario = self.scenario.clone();
        let reductions = context.reductions();
        let mut build = |values: &[f64]| {
            let (layout, mut setup) = make(&mut scenario, &reductions, &moved, values)?;
            context.level.apply(&mut setup);
            Ok((layout, setup))
        };
        Ok(work(&mut build)?)
    }

    fn follow(
        &self,
        question: &Question,
        context: &Context<'_>,
        inputs: &[String],
    ) -> Result<Followed, StudyError> {
        let mut writer = context.record.map(|r| r.create(&question.inputs, "mission")).transpose()?;
        if let Some(writer) = &mut writer {
            Recorder::<f64>::begin(writer, &record::layout(self.spec, inputs));
        }
        let progress = Progress::new(context.quiet, self.profile.duration());
        // Names do not depend on how far it is followed.
        let at_once = AtomicBool::new(true);
        let stop = if context.sketch { &at_once } else { context.stop };
        let mut observer = record::Observer { writer, profile: &self.profile, progress, stop };
        let followed = self.at(context, |build| follow(&self.profile, build, &self.options, &mut observer));
        observer.progress.done();
        // What fails leaves its file closed as a partial one.
        let followed = followed?;
        if let (Some(record), Some(writer)) = (context.record, observer.writer) {
            record.keep(writer, None);
        }
        Ok(followed)
    }

    fn study(&self, f: &Followed, ready: Ready, kind: &str) -> Study {
        let lives = life(f, self.spec.damage.as_ref(), self.repeating);
        let known: Vec<_> = (0..f.inputs.len()).map(|k| known::known_of(f, &self.options, k)).collect();
        let account = self.account(f, ready);
        let named = if self.scenario.title.is_empty() { kind } else { &self.scenario.title };
        let mut study = Study {
            title: format!("{named}: how hot do the dies get over the mission?"),
            answers: self.answers(f, &lives, &known),
            conditions: self.conditions(f, kind),
            definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
            tables: known::tables(f, &lives, &self.options, self.profile.begin),
            figures: vec![StudyFigure::new(
                "Load and ambient, junction temperatures (dotted: least and largest within a cycle), ripple against \
                 frequency, counted cycles",
                picture::figure(named, self.spec, &self.profile, f, &lives),
            )],
            ..Study::default()
        };
        self.lifetime(&mut study, f, &lives, &known);
        study.answers.extend(account.answers());
        account.tell(&mut study);
        if f.work.estimate > self.options.tolerance && !self.options.every_cycle {
            let text =
                "THE ESTIMATED ERROR OF LEAPS IS ABOVE THE TOLERANCE: repeat with a smaller --tolerance";
            study.notes.push(text.into());
        }
        if f.work.jumps > 0 {
            let text = format!(
                "{} settlings were longer than {} cycles: the rest was jumped over by shooting",
                f.work.jumps, self.options.resolve
            );
            study.notes.push(text);
        }
        study
    }

    fn account(&self, f: &Followed, ready: Ready) -> Account {
        let Ready { mut setup, placed, judging, signals, metered, .. } = ready;
        let bursts = repeating(&mut setup.gauges);
        let moves = |k: usize| {
            let most = |of: &dyn Fn(&joulestep_models::arrangement::mission::Instant) -> f64| {
                f.course.iter().map(of).fold(f64::NEG_INFINITY, f64::max)
            };
            (most(&|i| i.celsius[k]), most(&|i| i.celsius[k] + i.within[k].largest))
        };
        let (title, end) = (self.scenario.title.clone(), self.profile.duration());
        let facts = Facts { title, end, method: f.method, placed, judging, signals, metered };
        let of = |(w, s)| (w, known::seen(f, &self.options, w, s));
        let all: Vec<(&Watch, _)> = setup.watches.iter().zip(&f.seen).map(of).collect();
        let watts = |w: &f64| LedgerEntry {
            name: String::new(),
            kind: "",
            delivered: 0.0,
            dissipated: *w,
            stored: 0.0,
        };
        let found = Found {
            readings: Shown::of_bursts(&bursts, &f.readings, &moves),
            seen: all.iter().map(|(_, (seen, _))| *seen).collect(),
            watches: all.iter().map(|(w, (_, further))| (*w, *further)).collect(),
            entries: &f.dissipated.iter().map(watts).collect::<Vec<_>>(),
            residual: 0.0,
            relative: 0.0,
            // Watts: joules over a second.
            repeats: Some(1.0),
            counters: f.counters,
            reached: f.course.last().map_or(0.0, |i| i.time),
        };
        let outcome = if f.complete { Outcome::Done } else { Outcome::Interrupted };
        Account::of_found(&found, &facts, Vec::new(), outcome)
    }

    /// The hottest of each die, damage by the user's law, the balance.
    fn answers(&self, f: &Followed, lives: &[Life], known: &[OfInput]) -> Vec<Answer> {
        let mut all = Vec::new();
        for (k, name) in f.inputs.iter().enumerate() {
            let high =
                |i: &joulestep_models::arrangement::mission::Instant| i.celsius[k] + i.within[k].largest;
            let hottest = f.course.iter().max_by(|a, b| high(a).total_cmp(&high(b)));
            let at = hottest.map_or(String::new(), |i| format!("at {}", people(i.time, "s")));
            let value = hottest.map_or(f64::NAN, high);
            let answer = Answer::new(format!("{name}.largest"), format!("{name}, hottest"), value, "degC");
            all.push(answer.further(known[k].kelvin).remark(at));
        }
        for (k, name) in f.inputs.iter().enumerate() {
            let Some((mission, ripple)) = lives[k].damage else { continue };
            let sum = mission + ripple;
            let answer = Answer::new(format!("{name}.damage"), format!("{name}, damage"), sum, "1");
            let words = format!("{ripple:.2e} of it by the ripple; 1 after {:.3e} such missions", 1.0 / sum);
            all.push(answer.further(self.damage_share(&known[k]) * sum.abs()).remark(words));
        }
        let most = known.iter().map(|k| k.share).fold(0.0, f64::max);
        let sums = [
            ("energy.input", "energy from sources"),
            ("energy.output", "energy into the load"),
            ("energy.losses", "losses"),
        ];
        for (k, (name, words)) in sums.into_iter().enumerate() {
            let further = most * f.balance[2].abs() + f.balance_error[k];
            all.push(Answer::new(name, words, f.balance[k], "J").further(further));
        }
        all
    }

    /// How far a damage may be wrong by what the power of its input may be wrong by, as a share of it.
    fn damage_share(&self, known: &OfInput) -> f64 {
        self.spec.damage.as_ref().map_or(1.0, |l| l.exponent.abs()) * known.share
    }

    /// The lifetime by the user's law and use.
    fn lifetime(&self, study: &mut Study, f: &Followed, lives: &[Life], known: &[OfInput]) {
        let Some(spec) = &self.spec.lifetime else { return };
        let shares: Vec<f64> = known.iter().map(|k| self.damage_share(k)).collect();
        let all = lifetime::lifetimes(spec, f, lives, &shares);
        study.answers.extend(lifetime::answer(spec, &all));
        study.tables.insert(1, lifetime::table(spec, &all));
        study.conditions.push(lifetime::words(spec));
        let words = "by the law: until the damage of all missions is 1; n % failed: of many, that share has failed by \
                     then (Weibull 1951, IEC 61649); first to fail: any of the dies, in series";
        study.definitions.push(("lifetime".into(), words.into()));
    }

    fn conditions(&self, f: &Followed, kind: &str) -> Vec<String> {
        let s = if self.profile.rounds == 1 { "" } else { "s" };
        let span = f.course.last().map_or(0.0, |i| i.time);
        let mut all = vec![
            format!("{} in {} round{s} of the profile; {kind}.", people(span, "s"), self.profile.rounds),
            format!("Tolerance of the temperatures: {}.", people(self.options.tolerance, "K")),
            "Device laws are held at the mean temperature of a cycle; its ripple does not act back on them."
                .into(),
            "In ramps of a parameter the circuit counts as quasi-steady.".into(),
        ];
        if self.options.every_cycle {
            all.push("Every cycle was resolved.".into());
        }
        if self.repeating {
            all.push(
                "Temperature cycles are counted as of a history that repeats (ASTM E1049-85, 5.4.5).".into(),
            );
        }
        if let Some(law) = &self.spec.damage {
            let words = law_words(law);
            all.push(format!("Damage by the user's law {words}: nothing here says that a part follows it."));
        }
        all
    }
}

const DEFINITIONS: [(&str, &str); 7] = [
    (
        "mean",
        "mean of the virtual junction temperature over a cycle of the control; least and largest: within it",
    ),
    ("switching ripple", "range of the temperature within the switching period of most power"),
    ("line ripple", "range over a line period of the means of switching periods"),
    (
        "cycles",
        "ranges counted by rainflow (ASTM E1049-85), gathered in sixteenths of the largest range; `mission`: of the course, its turning points with the ripple's; `ripple`: of every cycle of the control",
    ),
    ("damage", "sum of counts over the law's numbers (Palmgren 1924, Miner 1945)"),
    ("error of leaps", "estimated error of the temperatures by leaps; it is part of \u{b1}"),
    (
        "coupling",
        "what holding the laws of devices over each cycle may have a temperature wrong by; it is part of \u{b1}",
    ),
];
