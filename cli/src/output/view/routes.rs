//! The response to each path.

use serde::Serialize;

use super::http::{Request, Response};
use super::integrals::{self, Integrals};
use super::meta::{self, Meta, Number};
use super::pool::Pool;
use super::query::Query;
use super::series::interpolate;
use super::source::{Source, read_error};
use super::{access, assets, csv, window};

const JSON: &str = "application/json";
const BINARY: &str = "application/octet-stream";

fn json(content: &impl Serialize) -> Result<Response, Response> {
    let text = serde_json::to_vec(content).map_err(|e| Response::error(500, e.to_string()))?;
    Ok(Response::new(200, JSON, text))
}

#[derive(Serialize)]
struct All {
    files: Vec<Meta>,
    limits: Limits,
}

/// The most that one request may ask for.
#[derive(Serialize)]
struct Limits {
    integrals: usize,
    csv: usize,
    blocks: usize,
}

#[derive(Serialize)]
struct Cursor {
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

/// The response to a request.
pub(super) fn respond(request: &Request, token: &str, pool: &Pool) -> Response {
    let response = access::admit(request, token).and_then(|(path, query)| route(path, query, pool));
    response.unwrap_or_else(|refusal| refusal)
}

fn route(path: &str, query: &str, pool: &Pool) -> Result<Response, Response> {
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
            let limits = Limits { integrals: integrals::MOST, csv: csv::MOST, blocks: window::MOST };
            json(&All { files, limits })
        }
        "events" => json(&pool.with(file()?, meta::events)?),
        "window" => {
            let bytes = pool.with(file()?, move |source| window_bytes(source, &Query::new(&owned)))?;
            Ok(Response::new(200, BINARY, bytes))
        }
        "at" => json(&pool.with(file()?, move |source| cursor(source, &Query::new(&owned)))?),
        "span" => json(&pool.with(file()?, move |source| span(source, &Query::new(&owned)))?),
        "integrals" => json(&pool.with(file()?, move |source| integrals(source, &Query::new(&owned)))?),
        "csv" => {
            let (range, signals) = pool.with(file()?, move |source| {
                let query = Query::new(&owned);
                let (file, series) = source.series(query.text("g"))?;
                let signals = query.signals(series.channels(file).len())?;
                Ok((query.range(series.length, csv::MOST)?, signals))
            })?;
            csv::csv(pool, file()?, parts.text("g"), signals, range)
        }
        _ => Err(Response::error(404, "there is no such path")),
    }
}

/// A window to draw: `g`, `s`, `from` and `to` (s), `n` blocks.
fn window_bytes(source: &mut Source, query: &Query<'_>) -> Result<Vec<u8>, Response> {
    let (from, to) = (query.real("from")?, query.real("to")?);
    if from > to {
        return Err(Response::error(400, format!("from {from} to {to} s: expected from at or before to")));
    }
    let count = query.index("n", window::MOST + 1)?;
    let (file, series) = source.series(query.text("g"))?;
    let signals = query.signals(series.channels(file).len())?;
    window::window(series, file, &signals, from, to, count).map_err(read_error)
}

/// Where a cursor stands, and the values of the lines there: at the sample `i`; else at the sample nearest to `t` (s)
/// where that is within `reach` (s), else at `t` itself.
fn cursor(source: &mut Source, query: &Query<'_>) -> Result<Cursor, Response> {
    let (file, series) = source.series(query.text("g"))?;
    if series.length == 0 {
        return Ok(Cursor { samples: None, time: None, values: Vec::new() });
    }
    let instant = |sample| series.instant(file, sample).map_err(read_error);
    let t = if query.text("i").is_empty() {
        let t = query.real("t")?;
        let near = instant(series.nearest(file, t).map_err(read_error)?)?;
        if (near - t).abs() <= query.bound("reach", 0.0)? { near } else { t }
    } else {
        instant(query.index("i", series.length)?)?
    };
    let samples @ [first, last] = series.bracket(file, t).map_err(read_error)?;
    let (from, to) = (instant(first)?, instant(last)?);
    let mut values = Vec::new();
    for signal in query.signals(series.channels(file).len())? {
        let held = series.values(file, signal, first..last + 1).map_err(read_error)?;
        let ends = held.first().zip(held.last()).filter(|_| from <= t && t <= to);
        values.push(
            ends.map(|(a, b)| Number(interpolate((from, *a), (to, *b), t, series.holds(file, signal)))),
        );
    }
    Ok(Cursor { samples: Some(samples), time: Some(Number(t)), values })
}

/// The samples between two instants `from` and `to` (s), both counted in: the first and how many.
fn span(source: &mut Source, query: &Query<'_>) -> Result<Span, Response> {
    let (from, to) = (query.real("from")?, query.real("to")?);
    let (file, series) = source.series(query.text("g"))?;
    let first = series.count_before(file, from).map_err(read_error)?;
    // The next number after `to`: samples at `to` itself belong to the span.
    let end = series.count_before(file, to.next_up()).map_err(read_error)?;
    Ok(Span { first, count: end.saturating_sub(first) })
}

/// Integrals of signals `s` and of products `p` between the samples `from` and `to`; where given, from the instant `a`
/// to the instant `b` (s) among them.
fn integrals(source: &mut Source, query: &Query<'_>) -> Result<Integrals, Response> {
    let (file, series) = source.series(query.text("g"))?;
    let range = query.range(series.length, integrals::MOST)?;
    let ends = [query.bound("a", f64::NEG_INFINITY)?, query.bound("b", f64::INFINITY)?];
    let end = series.channels(file).len();
    let (signals, pairs) = (query.signals(end)?, query.pairs(end)?);
    integrals::integrate(series, file, &signals, &pairs, range, ends).map_err(read_error)
}
