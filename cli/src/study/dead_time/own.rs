//! A leg in a circuit of the user's own.

use joulestep_models::arrangement::builder::Place;
use joulestep_models::arrangement::cycle::{Cycle, Search, solve};
use joulestep_models::arrangement::dead_time::DeadTimeError;
use joulestep_models::capacitances::output_charge;
use joulestep_models::model::bad;

use super::Asked;
use crate::diagnostic::{Diagnostic, Refusal};
use crate::input::scenario::build::build_with;
use crate::input::scenario::resolved::{Scenario, Task};
use crate::study::{Context, Question, StudyError};

/// The leg, and what holds its dead time.
pub(super) struct Own<'a> {
    scenario: &'a Scenario,
    /// Lower and upper switch.
    pub places: [Place; 2],
    /// The node between them.
    pub midpoint: String,
    /// What holds its dead time, and those of further legs, by their midpoints.
    set: Vec<(String, DeadTimeOf)>,
    /// Capacitance over lower and upper switch, F.
    pub snubber: [f64; 2],
    /// Hz.
    pub frequency: f64,
}

/// What holds the dead time of a leg: a drive with two gates, or a controller with a complement; by its number in the
/// scenario.
#[derive(Clone, Copy)]
enum DeadTimeOf {
    Drive(usize),
    Controller(usize),
}

impl<'a> Own<'a> {
    /// Of a scenario without an arrangement.
    pub fn of(
        q: &Question,
        asked: &Asked,
        context: &Context<'_>,
        scenario: &'a Scenario,
    ) -> Result<Self, StudyError> {
        let Some(cycle) = &scenario.cycle else {
            let expected = "an arrangement with the places `upper` and `lower`, or a circuit with a [cycle]";
            return Err(q.wrong(Asked::scenario, "neither an [arrangement] nor a [cycle]", expected));
        };
        let parts = [Asked::part, Asked::upper, Asked::lower].into_iter().filter(|k| !q.parts(*k).is_empty());
        let named = asked.named().into_iter().filter_map(|(key, _, value)| value.map(|_| key));
        let leg = asked.leg.is_some().then_some(Asked::leg);
        if let Some(key) = parts.chain(named).chain(leg).next() {
            let found = format!("`{}` beside a circuit of its own", key.name);
            return Err(q.wrong(key, found, "its value in the scenario"));
        }
        let ready = build_with(scenario, &context.reductions())?;
        let (circuit, places) = (&ready.setup.circuit, &ready.layout.places);
        let find = |name: &str| places.iter().find(|p| p.name == name);
        let legs = places.iter().filter_map(|upper| {
            let lower = find(upper.partner.as_deref()?)?;
            let mutual = lower.partner.as_ref() == Some(&upper.name) && upper.nodes[1] == lower.nodes[0];
            let driven = upper.line.is_some() && lower.line.is_some();
            (mutual && driven).then(|| (circuit.nodes[upper.nodes[1].0 as usize].clone(), [lower, upper]))
        });
        let legs: Vec<(String, [&Place; 2])> = legs.collect();
        let all = || legs.iter().map(|l| format!("`{}`", l.0)).collect::<Vec<_>>().join(", ");
        let chosen: Vec<&(String, [&Place; 2])> = match (legs.as_slice(), asked.midpoint.as_slice()) {
            ([], _) => {
                let expected = "a leg: two switches with drives and a node between them";
                return Err(q.wrong(Asked::scenario, "no leg in its circuit", expected));
            }
            ([one], []) => vec![one],
            (_, []) => {
                let found = format!("legs at {}", all());
                return Err(q.wrong(Asked::scenario, found, "the node of one of them under `midpoint`"));
            }
            (several, nodes) => {
                let mut found = Vec::new();
                for node in nodes {
                    let none = || format!("no leg has its midpoint at `{}`", node.name);
                    let leg = several.iter().find(|l| l.0 == node.name);
                    found.push(leg.ok_or_else(|| q.wrong(Asked::midpoint, none(), all()))?);
                }
                found
            }
        };
        let mut set = Vec::new();
        for (midpoint, [lower, upper]) in chosen.iter().copied() {
            let one = dead_time_of(scenario, lower, upper).ok_or_else(|| {
                let lines = [upper, lower].map(|p| p.line.clone().unwrap_or_default());
                let found = format!("drives `{}` and `{}` that nothing complements", lines[0], lines[1]);
                let expected = "a drive with `complement-gate`, or a controller with `complement`";
                q.wrong(Asked::scenario, found, expected)
            })?;
            set.push((midpoint.clone(), one));
        }
        let (midpoint, [lower, upper]) = (chosen[0].0.clone(), chosen[0].1);
        let snubber = [lower, upper].map(|p| p.snubber_capacitance(circuit));
        let places = [lower.clone(), upper.clone()];
        Ok(Self { scenario, places, midpoint, set, snubber, frequency: cycle.frequency })
    }

    /// What the study varies, in words.
    pub fn varied(&self) -> String {
        let nodes: Vec<String> = self.set.iter().map(|s| format!("`{}`", s.0)).collect();
        match nodes.as_slice() {
            [_] => "only their dead time varies".into(),
            all => format!("the dead times of the legs at {} vary together", all.join(", ")),
        }
    }

    /// Its circuit's periodic steady state at a dead time, s.
    pub fn solved(
        &self,
        seconds: f64,
        search: &Search<'_>,
        context: &Context<'_>,
    ) -> Result<Cycle, DeadTimeError> {
        let mut scenario = self.scenario.clone();
        for (_, held) in &self.set {
            match *held {
                DeadTimeOf::Drive(k) => scenario.drives[k].dead_time = seconds,
                DeadTimeOf::Controller(k) => match &mut scenario.controllers[k].kind {
                    Task::Pwm(pwm) => pwm.dead_time = seconds,
                    Task::SinePwm(sine) => sine.dead_time = seconds,
                    Task::Pi(pi) => pi.dead_time = seconds,
                    Task::Hysteretic(_) | Task::Switch(_) => {}
                },
            }
        }
        let refused = |refusal: Refusal| {
            let lines: Vec<String> = refusal.diagnostics.iter().map(Diagnostic::line).collect();
            bad("dead-time", lines.join("; "))
        };
        let ready = build_with(&scenario, &context.reductions()).map_err(refused)?;
        let mut setup = ready.setup;
        context.level.apply(&mut setup);
        setup.gauges.clear();
        Ok(solve(&ready.layout, setup, search)?)
    }

    /// Output charges of the lower and the upper switch up to a voltage, C; `None` where they are not devices of dies.
    pub fn charges(&self, volts: f64) -> Result<Option<(f64, f64)>, DeadTimeError> {
        let of = |place: &Place| {
            let spec = self.scenario.components.iter().find(|c| c.name.name == place.name);
            let Some(spec) = spec.filter(|_| volts > 0.0) else { return Ok(None) };
            let celsius = spec.values.maybe("junction-temperature").unwrap_or(25.0);
            let found = output_charge(spec.entry, &spec.values, &[volts], celsius)?;
            Ok::<_, DeadTimeError>(found.first().map(|o| o.charge))
        };
        Ok(of(&self.places[0])?.zip(of(&self.places[1])?))
    }
}

/// What holds the dead time between the gates of two places.
fn dead_time_of(scenario: &Scenario, lower: &Place, upper: &Place) -> Option<DeadTimeOf> {
    let [lower, upper] = [lower, upper].map(|p| p.line.as_deref().unwrap_or_default());
    let complements = |one: &str, other: &str| other.strip_suffix(".complement") == Some(one);
    let (first, both) =
        if complements(upper, lower) { (upper, true) } else { (lower, complements(lower, upper)) };
    let drive = |name: &str| scenario.drives.iter().position(|d| d.name.name == name);
    if both {
        return drive(first).map(DeadTimeOf::Drive);
    }
    let command = |name: &str| Some(scenario.drives[drive(name)?].command.name.as_str());
    let (lower, upper) = (command(lower)?, command(upper)?);
    let switches = scenario.controllers.iter().position(|c| {
        let complement = match &c.kind {
            Task::Pwm(pwm) => &pwm.complement,
            Task::SinePwm(sine) => &sine.complement,
            Task::Pi(pi) => &pi.complement,
            Task::Hysteretic(_) | Task::Switch(_) => &None,
        };
        let pair =
            c.output.as_ref().zip(complement.as_ref()).map(|(o, c)| [o.name.as_str(), c.name.as_str()]);
        pair == Some([upper, lower]) || pair == Some([lower, upper])
    });
    switches.map(DeadTimeOf::Controller)
}
