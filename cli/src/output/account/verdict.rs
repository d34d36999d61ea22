//! Why the numbers of an account may not be relied on, and what else is of note.

use joulestep_engine::accounts::ledger::CLOSED;
use joulestep_engine::units::{people, people_digits};

use super::{Account, Facts, Found, Judgement, Peak, Waiver};
use crate::input::scenario::build::{Judged, Origin};

/// Heat from which a die counts as carrying loss, J: it warms the smallest dies that are sold (0.2 mm square, 0.1 mm
/// thick, 7 uJ/K) by less than 0.2 K.
const CARRIES_LOSS: f64 = 1e-6;

/// Power from which a die that cycles without end counts as carrying loss, W: through 100 K/W, more than the smallest
/// packages have to the air, it warms by 0.1 K.
const CARRIES_POWER: f64 = 1e-3;

/// Why the verdict cannot be "passes", whatever the numbers say.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// What it concerns: `Q1.jfet.temperature`, `node.gat`.
    pub name: String,
    /// In words.
    pub text: String,
    /// From when on numbers are not to be trusted, s; `None`: from the start.
    pub since: Option<f64>,
    /// Whether a law was used outside the range for which it is known.
    pub out_of_range: bool,
}

impl Account {
    /// What the steps could not keep at their finest length; `None` where there is nothing to tell.
    pub fn stall(&self) -> Option<String> {
        let c = &self.counters;
        (c.stalled > 0).then(|| {
            let mut text = format!(
                "at the finest step the error bound was exceeded by up to {} in {} steps",
                people_digits(c.stalled_by, "1", 3),
                c.stalled
            );
            if c.blurred > 0 {
                text += &format!("; rounding alone moves voltages by a sixty-fourth of the largest and more in {} of them: a part of the circuit hangs on the rest by too little", c.blurred);
            }
            if c.snapped > 0 {
                text += &format!("; {} times no solution followed the last one, and another was taken", c.snapped);
            }
            text
        })
    }

    /// Notes the waivers that nothing needed.
    pub(super) fn note_idle_waivers(&mut self) {
        let in_range = !self.doubts.iter().any(|d| d.out_of_range) && self.counters.stalled == 0;
        let passes = |j: &Judgement| in_range && j.kept && !j.is_unseen();
        let idle: Vec<String> = self
            .judged
            .iter()
            .filter(|j| j.limit.waived.is_some() && passes(j))
            .map(|j| format!("the waiver of `{}` was not needed: the rating is kept", j.limit.name))
            .collect();
        self.notes.extend(idle);
    }
}

/// What must be said where the ledger does not close: steps or rounding lose energy.
fn open_ledger(found: &Found<'_>) -> Option<Doubt> {
    // Written so that a residual that is not a number counts.
    let closed = found.relative <= CLOSED;
    let residual = if found.residual.is_finite() && found.relative.is_finite() {
        let share = people_digits(found.relative, "1", 2);
        format!("{}, {share} of the energy turned over or stored", people(found.residual, "J"))
    } else {
        "no number, the last state is not one of finite energies".into()
    };
    let text = format!(
        "the energy ledger does not close to {CLOSED:.0e}: residual {residual}; no number is proven. Shorter steps help, \
         but not where rounding does it: a capacitance large beside the energy turned over, at a high voltage against \
         ground"
    );
    let doubt = Doubt { name: "ledger".into(), text, since: None, out_of_range: false };
    (!closed && !found.entries.is_empty()).then_some(doubt)
}

/// Why the numbers that were found may not be relied on.
pub(super) fn doubts(found: &Found<'_>, facts: &Facts, peaks: &[Peak]) -> Vec<Doubt> {
    let mut all = Vec::new();
    for range in &facts.judging.ranges {
        let peak = &peaks[range.watch];
        let (above, below) = (peak.largest > range.range.1, peak.least < range.range.0);
        if !(above || below) || peak.least > peak.largest {
            continue;
        }
        let reached = if above { peak.largest } else { peak.least };
        let end = if above { range.range.1 } else { range.range.0 };
        let side = if above { "above" } else { "below" };
        let since = found.seen[range.watch].since;
        let from = since.map_or(String::new(), |t| format!(" from {} on", people_digits(t, "s", 5)));
        let text = format!(
            "`{}` reaches {}, {side} {} its laws are not known: no number is to be trusted{from}",
            range.name,
            people(reached, peak.unit),
            people(end, peak.unit),
        );
        all.push(Doubt { name: range.name.clone(), text, since, out_of_range: true });
    }
    all.extend(open_ledger(found).filter(|_| found.repeats.is_none()));
    for die in facts.judging.unheated.iter().filter(|u| u.waived.is_none()) {
        let of_die = die.components.iter().filter_map(|id| found.entries.get(id.0 as usize));
        let heat: f64 = of_die.map(|e| e.dissipated).sum();
        let (turns, carries) = match found.repeats {
            None => (people(heat, "J"), heat > CARRIES_LOSS),
            Some(period) => (people(heat / period, "W"), heat / period > CARRIES_POWER),
        };
        if carries && heat.is_finite() {
            let text = format!(
                "`{}` is not judged: the die turns {turns} into heat and has no heat path (rated {})",
                die.name,
                people(die.rated, "degC")
            );
            all.push(Doubt { name: die.name.clone(), text, since: None, out_of_range: false });
        }
    }
    for die in facts.judging.avalanches.iter().filter(|a| a.waived.is_none()) {
        let (watch, level) = die.watch;
        let reading = found.readings.iter().find(|r| Some(r.gauge) == die.gauge);
        let count = reading.map(|r| r.reading.count);
        let text = die.doubt(count, found.repeats.is_some()).filter(|_| peaks[watch].largest > level);
        let since = found.seen[watch].since;
        all.extend(text.map(|text| Doubt { name: die.name.clone(), text, since, out_of_range: false }));
    }
    for one in facts.judging.absorbers.iter().filter(|a| a.waived.is_none()) {
        let own = one.components.iter().filter_map(|id| found.entries.get(id.0 as usize));
        let power = found.repeats.map_or(0.0, |period| own.map(|e| e.dissipated).sum::<f64>() / period);
        if power > one.rated {
            let [power, rated] = [power, one.rated].map(|p| people(p, "W"));
            let text = format!("`{}` is exceeded: {power} in the mean, rated {rated}", one.name);
            all.push(Doubt { name: one.name.clone(), text, since: None, out_of_range: false });
        }
    }
    for note in facts.judging.notes.iter().filter(|n| n.doubt && n.waived.is_none()) {
        all.push(Doubt {
            name: note.name.clone(),
            text: note.text.clone(),
            since: None,
            out_of_range: false,
        });
    }
    all
}

/// What is of note but casts no doubt.
pub(super) fn notes(facts: &Facts, found: &Found<'_>) -> Vec<String> {
    let notes = facts.judging.notes.iter().filter(|n| !n.doubt).map(|n| n.text.clone());
    let unknown = |j: &&Judged| {
        j.limit.by_user()
            && matches!(j.origin, Origin::Gauge(k) if found.readings.iter().all(|r| r.gauge != k))
    };
    let unjudged = facts.judging.judged.iter().filter(unknown).map(|j| {
        format!("limit `{}` speaks of what happens in a run; only `joulestep run` judges it", j.limit.name)
    });
    notes.chain(unjudged).collect()
}

/// What was waived, with the reasons.
pub(super) fn waivers(facts: &Facts) -> Vec<Waiver> {
    let judging = &facts.judging;
    let ratings = judging.judged.iter().filter_map(|j| Some((j.limit.name.clone(), j.limit.waived.clone()?)));
    let dies = judging.unheated.iter().filter_map(|u| Some((u.name.clone(), u.waived.clone()?)));
    let notes = judging.notes.iter().filter_map(|n| Some((n.name.clone(), n.waived.clone()?)));
    let avalanches = judging.avalanches.iter().filter_map(|a| Some((a.name.clone(), a.waived.clone()?)));
    let absorbers = judging.absorbers.iter().filter_map(|a| Some((a.name.clone(), a.waived.clone()?)));
    let all = ratings.chain(dies).chain(avalanches).chain(absorbers).chain(notes);
    all.map(|(rating, reason)| Waiver { rating, reason }).collect()
}
