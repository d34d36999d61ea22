//! The query of an address: few short values, each parsed with its expectation.

use std::ops::Range;

use super::http::Response;

/// Most signals in one request.
const SIGNALS: usize = 256;

/// The values of a request.
pub(super) struct Query<'a>(Vec<(&'a str, &'a str)>);

fn wrong(what: String) -> Response {
    Response::error(400, what)
}

impl<'a> Query<'a> {
    /// Takes the query apart.
    pub fn new(text: &'a str) -> Self {
        Self(text.split('&').map(|pair| pair.split_once('=').unwrap_or((pair, ""))).collect())
    }

    /// A value, empty where there is none.
    pub fn text(&self, key: &str) -> &'a str {
        self.0.iter().find(|(k, _)| *k == key).map_or("", |(_, value)| value)
    }

    /// A finite number.
    pub fn real(&self, key: &str) -> Result<f64, Response> {
        let text = self.text(key);
        let number = text.parse().ok().filter(|x: &f64| x.is_finite());
        number.ok_or_else(|| wrong(format!("{key}: found {text:?}, expected a finite number")))
    }

    /// A finite number, or what it is where none is given.
    pub fn bound(&self, key: &str, otherwise: f64) -> Result<f64, Response> {
        if self.text(key).is_empty() { Ok(otherwise) } else { self.real(key) }
    }

    /// A whole number below `end`.
    pub fn index(&self, key: &str, end: usize) -> Result<usize, Response> {
        let text = self.text(key);
        let number = text.parse().ok().filter(|&n: &usize| n < end);
        number.ok_or_else(|| wrong(format!("{key}: found {text:?}, expected a whole number below {end}")))
    }

    /// From one sample to another, both counted in, out of `length`; at most `most` of them.
    pub fn range(&self, length: usize, most: usize) -> Result<Range<usize>, Response> {
        let (from, to) = (self.index("from", length)?, self.index("to", length)?);
        if from > to {
            return Err(wrong(format!("from {from} to {to}: expected from at or before to")));
        }
        if to - from >= most {
            let count = to - from + 1;
            return Err(wrong(format!("{count} samples are asked for; expected at most {most} at a time")));
        }
        Ok(from..to + 1)
    }

    /// Numbers of signals, below `end`, separated by commas.
    pub fn signals(&self, end: usize) -> Result<Vec<usize>, Response> {
        self.list("s", ',', |part| part.parse().ok().filter(|&n| n < end))
    }

    /// Pairs of signals, "1:2,1:3".
    pub fn pairs(&self, end: usize) -> Result<Vec<(usize, usize)>, Response> {
        self.list("p", ',', |part| {
            let (a, b) = part.split_once(':')?;
            let (a, b) = (a.parse().ok()?, b.parse().ok()?);
            (a < end && b < end).then_some((a, b))
        })
    }

    fn list<T>(
        &self,
        key: &str,
        separator: char,
        read: impl Fn(&str) -> Option<T>,
    ) -> Result<Vec<T>, Response> {
        let text = self.text(key);
        if text.is_empty() {
            return Ok(Vec::new());
        }
        let parts: Vec<&str> = text.split(separator).collect();
        if parts.len() > SIGNALS {
            return Err(wrong(format!("{key}: {} signals; expected at most {SIGNALS}", parts.len())));
        }
        let one =
            |part: &&str| read(part).ok_or_else(|| wrong(format!("{key}: there is no signal {part:?}")));
        parts.iter().map(one).collect()
    }
}
