//! What is answered to what.

use serde::Serialize;

use super::between::{self, Between};
use super::http::{Answer, Request};
use super::meta::{self, Meta, Number};
use super::pool::Pool;
use super::query::Query;
use super::shown::{Shown, unread};
use super::track::on;
use super::{assets, csv, gate, window};

const JSON: &str = "application/json";
const BINARY: &str = "application/octet-stream";

fn json(told: &impl Serialize) -> Result<Answer, Answer> {
    let text = serde_json::to_vec(told).map_err(|e| Answer::wrong(500, e.to_string()))?;
    Ok(Answer::of(200, JSON, text))
}

#[derive(Serialize)]
struct All {
    files: Vec<Meta>,
    limits: Limits,
}

/// What one request may ask for.
#[derive(Serialize)]
struct Limits {
    between: usize,
    csv: usize,
    blocks: usize,
}

#[derive(Serialize)]
struct At {
    /// The last sample at or before the instant, and the first at or after it.
    samples: Option<[usize; 2]>,
    time: Option<Number>,
    /// None where there is no line: before the first sample and after the last.
    values: Vec<Option<Number>>,
}

#[derive(Serialize)]
struct Span {
    first: usize,
    count: usize,
}

/// The answer to a request.
pub(super) fn answer(request: &Request, token: &str, pool: &Pool) -> Answer {
    let found = gate::admit(request, token).and_then(|(path, query)| found(path, query, pool));
    found.unwrap_or_else(|refusal| refusal)
}

fn found(path: &str, query: &str, pool: &Pool) -> Result<Answer, Answer> {
    if let Some(asset) = assets::asset(path) {
        return Ok(asset);
    }
    let parts = Query::new(query);
    let owned = query.to_owned();
    let file = || parts.index("f", pool.files());
    match path {
        "meta" => {
            pool.refresh();
            let files = (0..pool.files()).map(|file| pool.with(file, meta::meta));
            let files = files.collect::<Result<Vec<_>, _>>()?;
            let limits = Limits { between: between::MOST, csv: csv::MOST, blocks: window::MOST };
            json(&All { files, limits })
        }
        "events" => json(&pool.with(file()?, meta::events)?),
        "window" => {
            let told = pool.with(file()?, move |shown| drawn(shown, &Query::new(&owned)))?;
            Ok(Answer::of(200, BINARY, told))
        }
        "at" => json(&pool.with(file()?, move |shown| at(shown, &Query::new(&owned)))?),
        "span" => json(&pool.with(file()?, move |shown| span(shown, &Query::new(&owned)))?),
        "between" => json(&pool.with(file()?, move |shown| integrals(shown, &Query::new(&owned)))?),
        "csv" => {
            let (range, signals) = pool.with(file()?, move |shown| {
                let query = Query::new(&owned);
                let (file, track) = shown.track(query.text("g"))?;
                let signals = query.signals(track.channels(file).len())?;
                Ok((query.range(track.length, csv::MOST)?, signals))
            })?;
            csv::csv(pool, file()?, parts.text("g"), signals, range)
        }
        _ => Err(Answer::wrong(404, "there is nothing of that name")),
    }
}

/// A window to draw: `g`, `s`, `from` and `to` (s), `n` blocks.
fn drawn(shown: &mut Shown, query: &Query<'_>) -> Result<Vec<u8>, Answer> {
    let (from, to) = (query.real("from")?, query.real("to")?);
    if from > to {
        return Err(Answer::wrong(
            400,
            format!("from {from} to {to} s: expected one that is not behind the other"),
        ));
    }
    let count = query.index("n", window::MOST + 1)?;
    let (file, track) = shown.track(query.text("g"))?;
    let signals = query.signals(track.channels(file).len())?;
    window::window(track, file, &signals, from, to, count).map_err(unread)
}

/// Where a cursor stands, and the values of the lines there: at the sample `i`; else at the sample nearest to `t` (s)
/// where that is within `reach` (s), else at `t` itself.
fn at(shown: &mut Shown, query: &Query<'_>) -> Result<At, Answer> {
    let (file, track) = shown.track(query.text("g"))?;
    if track.length == 0 {
        return Ok(At { samples: None, time: None, values: Vec::new() });
    }
    let instant = |sample| track.instant(file, sample).map_err(unread);
    let t = if query.text("i").is_empty() {
        let t = query.real("t")?;
        let near = instant(track.nearest(file, t).map_err(unread)?)?;
        if (near - t).abs() <= query.bound("reach", 0.0)? { near } else { t }
    } else {
        instant(query.index("i", track.length)?)?
    };
    let samples @ [first, last] = track.around(file, t).map_err(unread)?;
    let (from, to) = (instant(first)?, instant(last)?);
    let mut values = Vec::new();
    for signal in query.signals(track.channels(file).len())? {
        let held = track.values(file, signal, first..last + 1).map_err(unread)?;
        let ends = held.first().zip(held.last()).filter(|_| from <= t && t <= to);
        values.push(ends.map(|(a, b)| Number(on((from, *a), (to, *b), t, track.holds(file, signal)))));
    }
    Ok(At { samples: Some(samples), time: Some(Number(t)), values })
}

/// The samples between two instants `from` and `to` (s), both counted in: the first and how many.
fn span(shown: &mut Shown, query: &Query<'_>) -> Result<Span, Answer> {
    let (from, to) = (query.real("from")?, query.real("to")?);
    let (file, track) = shown.track(query.text("g"))?;
    let first = track.before(file, from).map_err(unread)?;
    // The next number after `to`: samples at `to` itself belong to the span.
    let end = track.before(file, to.next_up()).map_err(unread)?;
    Ok(Span { first, count: end.saturating_sub(first) })
}

/// Integrals of signals `s` and of products `p` between the samples `from` and `to`; where given, from the instant `a`
/// to the instant `b` (s) among them.
fn integrals(shown: &mut Shown, query: &Query<'_>) -> Result<Between, Answer> {
    let (file, track) = shown.track(query.text("g"))?;
    let range = query.range(track.length, between::MOST)?;
    let ends = [query.bound("a", f64::NEG_INFINITY)?, query.bound("b", f64::INFINITY)?];
    let end = track.channels(file).len();
    let (signals, pairs) = (query.signals(end)?, query.pairs(end)?);
    between::between(track, file, &signals, &pairs, range, ends).map_err(unread)
}
