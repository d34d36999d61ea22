//! Samples as comma-separated values (RFC 4180), every number with the digits that give it back bit for bit.

use std::fmt::Write;
use std::io;
use std::ops::Range;

use super::http::{Body, Response};
use super::pool::Pool;
use super::source::{Source, read_error};

/// Most rows in a file: what a spreadsheet can hold, less the line of names.
pub(super) const MOST: usize = (1 << 20) - 1;
/// Rows at a time.
const ROWS: usize = 4096;

fn head(source: &mut Source, group: &str, signals: &[usize]) -> Result<Vec<u8>, Response> {
    let (file, series) = source.series(group)?;
    let channels = series.channels(file);
    let named = signals.iter().filter_map(|&signal| channels.get(signal)).map(|channel| {
        if channel.unit.is_empty() {
            channel.name.clone()
        } else {
            format!("{} ({})", channel.name, channel.unit)
        }
    });
    let mut writer = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    let cannot = |what: String| Response::error(500, what);
    writer
        .write_record(["time (s)".to_owned()].into_iter().chain(named))
        .map_err(|e| cannot(e.to_string()))?;
    writer.into_inner().map_err(|e| cannot(e.to_string()))
}

fn rows(
    source: &mut Source,
    group: &str,
    signals: &[usize],
    range: Range<usize>,
) -> Result<Vec<u8>, Response> {
    let (file, series) = source.series(group)?;
    let time = series.time(file, range.clone()).map_err(read_error)?;
    let mut columns = Vec::new();
    for &signal in signals {
        columns.push(series.values(file, signal, range.clone()).map_err(read_error)?);
    }
    let mut text = String::new();
    for (k, t) in time.into_iter().enumerate() {
        // Writing to a string cannot fail.
        let _ = write!(text, "{t:?}");
        for column in &columns {
            let _ = write!(text, ",{:?}", column[k]);
        }
        text.push_str("\r\n");
    }
    Ok(text.into_bytes())
}

/// The samples in the range, a row each.
pub(super) fn csv(
    pool: &Pool,
    file: usize,
    group: &str,
    signals: Vec<usize>,
    range: Range<usize>,
) -> Result<Response, Response> {
    let (name, chosen) = (group.to_owned(), signals.clone());
    let mut first = Some(pool.with(file, move |source| head(source, &name, &chosen))?);
    let (pool, group) = (pool.clone(), group.to_owned());
    let mut begin = range.start;
    let next = move || -> io::Result<Option<Vec<u8>>> {
        if let Some(head) = first.take() {
            return Ok(Some(head));
        }
        let piece = begin..(begin + ROWS).min(range.end);
        if piece.is_empty() {
            return Ok(None);
        }
        begin = piece.end;
        let (name, chosen) = (group.clone(), signals.clone());
        let read = pool.with(file, move |source| rows(source, &name, &chosen, piece));
        // The head is sent: all that is left is to end the connection, so that the file is seen to be partition off.
        read.map(Some).map_err(|_| io::Error::other("the file cannot be read further"))
    };
    let saved = format!("attachment; filename=\"{}.csv\"", if file == 0 { "view" } else { "view-beside" });
    Ok(Response {
        status: 200,
        kind: "text/csv; charset=utf-8; header=present",
        lines: vec![("Content-Disposition", saved)],
        body: Body::Pieces(Box::new(next)),
    })
}
