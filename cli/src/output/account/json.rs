//! The account for programs.

use std::path::Path;

use joulestep_engine::accounts::counters::Counters;
use serde::{Serialize, Serializer};

use super::event_lines::Line;
use super::{Account, Cost, Doubt, Judgement, Outcome, Waiver};
use crate::judge::Verdict;

/// The account and the file of the run as JSON: SI units, temperatures in °C, null for what is not finite.
pub fn json(account: &Account, file: &Path) -> impl Serialize {
    let (verdict, input) = (account.verdict(), account.input());
    Document { account, verdict, input, file: file.display().to_string() }
}

#[derive(Serialize)]
struct Document<'a> {
    #[serde(flatten)]
    account: &'a Account,
    verdict: Verdict,
    /// What of the input the verdict holds for.
    input: String,
    file: String,
}

/// What a study reports of its limits and ratings, under the keys that a run's account has.
pub fn judged(account: &Account) -> JudgedDocument<'_> {
    let Account { judged, doubts, notes, waivers, estimate, .. } = account;
    JudgedDocument {
        verdict: account.verdict(),
        limits: judged,
        doubts,
        notes,
        waivers,
        error_estimate: estimate,
    }
}

/// See [`judged`].
#[derive(Serialize)]
pub struct JudgedDocument<'a> {
    verdict: Verdict,
    limits: &'a [Judgement],
    doubts: &'a [Doubt],
    notes: &'a [String],
    waivers: &'a [Waiver],
    error_estimate: &'a Option<Cost>,
}

/// What is reported of the counters.
#[derive(Serialize)]
#[serde(remote = "Counters")]
pub(super) struct Work {
    steps: u64,
    iterations: u64,
    windows: u64,
    stalled: u64,
    stalled_by: f64,
    couplings: u64,
}

#[derive(Serialize)]
struct Ended<'a> {
    outcome: &'a str,
    why: Option<&'a str>,
}

/// `outcome` and, of a failure, `why`.
pub(super) fn ended<S: Serializer>(outcome: &Outcome, to: S) -> Result<S::Ok, S::Error> {
    let (outcome, why) = match outcome {
        Outcome::Done => ("done", None),
        Outcome::Interrupted => ("interrupted", None),
        Outcome::Failed(why) => ("failed", Some(why.as_str())),
    };
    Ended { outcome, why }.serialize(to)
}

#[derive(Serialize)]
struct EventLine<'a> {
    time: f64,
    kind: &'a str,
    action: &'a str,
    subject: &'a str,
    note: &'a str,
    count: usize,
    last_time: f64,
    value: Option<f64>,
    unit: &'a str,
    level: Option<f64>,
    since: Option<f64>,
    peak: Option<f64>,
}

impl Serialize for Line {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let (count, e, last_time, one) = match self {
            Self::One(e) => (1, e, e.time, true),
            Self::Many(count, first, last) => (*count, first, last.time, false),
        };
        let of_one = |x: f64| Some(x).filter(|_| one);
        EventLine {
            time: e.time,
            kind: e.kind.word(),
            action: if one { e.action.word() } else { "" },
            subject: &e.subject,
            note: if one { &e.note } else { "" },
            count,
            last_time,
            value: of_one(e.value),
            unit: e.unit,
            level: of_one(e.level),
            since: of_one(e.since),
            peak: of_one(e.peak),
        }
        .serialize(to)
    }
}
