//! One connection: requests are read within bounds of size and time, answers written.
//!
//! Requests with a body are refused unread, whatever length they claim: the small server library that was looked at
//! makes a buffer of that length.

use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Longest head of a request, bytes.
const HEAD: usize = 16 << 10;
/// Most header lines.
const LINES: usize = 64;
/// Time that a connection may be silent.
const SILENT: Duration = Duration::from_secs(60);
/// Time that the head of a request may take once it has begun.
const SLOW: Duration = Duration::from_secs(10);

/// The head of a request.
#[derive(Debug, Default)]
pub(super) struct Request {
    pub method: String,
    /// As it was sent.
    pub target: String,
    /// Names in lower case.
    headers: Vec<(String, String)>,
    /// Whether the connection stays.
    stays: bool,
}

impl Request {
    /// All values of a header.
    pub fn all(&self, name: &str) -> impl Iterator<Item = &str> {
        self.headers.iter().filter(move |(n, _)| n == name).map(|(_, value)| value.as_str())
    }

    /// The value of a header that must not be there twice.
    pub fn one(&self, name: &str) -> Result<Option<&str>, ()> {
        let mut values = self.all(name);
        let first = values.next();
        if values.next().is_some() { Err(()) } else { Ok(first) }
    }
}

/// What comes after the head of an answer.
pub(super) enum Body {
    /// Everything.
    Whole(Vec<u8>),
    /// Piece by piece, until there is none.
    Pieces(Box<dyn FnMut() -> io::Result<Option<Vec<u8>>> + Send>),
}

/// An answer.
pub(super) struct Answer {
    pub status: u16,
    pub kind: &'static str,
    /// More header lines.
    pub lines: Vec<(&'static str, String)>,
    pub body: Body,
}

impl Answer {
    /// A text that tells what is wrong.
    pub fn wrong(status: u16, what: impl Into<String>) -> Self {
        let mut text: String = what.into();
        text.push('\n');
        Self::of(status, "text/plain; charset=utf-8", text.into_bytes())
    }

    /// A whole body.
    pub fn of(status: u16, kind: &'static str, body: Vec<u8>) -> Self {
        Self { status, kind, lines: Vec::new(), body: Body::Whole(body) }
    }
}

/// Sent with every answer: nothing may be loaded from elsewhere, framed, guessed, kept or referred to.
const GUARDS: &str = "Content-Security-Policy: default-src 'none'; script-src 'self'; style-src 'self'; \
img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'\r\n\
X-Content-Type-Options: nosniff\r\n\
X-Frame-Options: DENY\r\n\
Referrer-Policy: no-referrer\r\n\
Cross-Origin-Opener-Policy: same-origin\r\n\
Cross-Origin-Resource-Policy: same-origin\r\n\
Cache-Control: no-store\r\n";

fn reason(status: u16) -> &'static str {
    match status {
        200 => "OK",
        400 => "Bad Request",
        403 => "Forbidden",
        404 => "Not Found",
        405 => "Method Not Allowed",
        408 => "Request Timeout",
        413 => "Content Too Large",
        414 => "URI Too Long",
        421 => "Misdirected Request",
        431 => "Request Header Fields Too Large",
        503 => "Service Unavailable",
        _ => "Internal Server Error",
    }
}

/// What reading a head came to.
enum Came {
    Request(Request),
    /// Refused; the connection ends after the answer.
    Refused(Answer),
    /// The other side is gone.
    Gone,
}

/// Tells a connection too many that it is.
pub(super) fn busy(stream: TcpStream) {
    let _ = write(&stream, &mut Answer::wrong(503, "too many connections at a time"), false, false);
}

/// Answers the requests of a connection until it ends.
pub(super) fn converse(stream: &TcpStream, mut answer: impl FnMut(&Request) -> Answer) -> io::Result<()> {
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(SILENT))?;
    let mut waiting = Vec::new();
    loop {
        match read(stream, &mut waiting)? {
            Came::Request(request) => {
                let mut told = answer(&request);
                write(stream, &mut told, request.method == "HEAD", request.stays)?;
                if !request.stays {
                    return Ok(());
                }
            }
            Came::Refused(mut told) => return write(stream, &mut told, false, false),
            Came::Gone => return Ok(()),
        }
    }
}

/// Reads the head of the next request; what came after it stays in `waiting`.
fn read(mut stream: &TcpStream, waiting: &mut Vec<u8>) -> io::Result<Came> {
    let mut begun: Option<Instant> = None;
    loop {
        if !waiting.is_empty() {
            if let Some(read) = parse(waiting) {
                return Ok(read);
            }
            begun.get_or_insert_with(Instant::now);
        }
        let left = match begun {
            None => SILENT,
            Some(begun) => SLOW.saturating_sub(begun.elapsed()),
        };
        if left.is_zero() {
            return Ok(Came::Refused(Answer::wrong(408, "the request took too long to come")));
        }
        stream.set_read_timeout(Some(left))?;
        let mut piece = [0; 4096];
        match stream.read(&mut piece) {
            Ok(0) => return Ok(Came::Gone),
            Ok(count) => waiting.extend_from_slice(&piece[..count]),
            Err(e) if matches!(e.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {
                if begun.is_none() {
                    return Ok(Came::Gone);
                }
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
}

/// Takes a whole head off the front; `None` while there is none yet.
fn parse(waiting: &mut Vec<u8>) -> Option<Came> {
    let refused = |status, what: &str| Some(Came::Refused(Answer::wrong(status, what)));
    let mut lines = [httparse::EMPTY_HEADER; LINES];
    let mut head = httparse::Request::new(&mut lines);
    match head.parse(waiting) {
        Ok(httparse::Status::Complete(length)) if length <= HEAD => {
            let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
            let headers = head.headers.iter().map(|h| (h.name.to_ascii_lowercase(), text(h.value)));
            let mut request = Request {
                method: head.method.unwrap_or_default().to_owned(),
                target: head.path.unwrap_or_default().to_owned(),
                headers: headers.collect(),
                stays: head.version == Some(1),
            };
            let says = |value: &str, word: &str| value.to_ascii_lowercase().contains(word);
            if request.all("connection").any(|value| says(value, "close")) {
                request.stays = false;
            }
            let bodies = request.all("content-length").any(|length| length.trim() != "0");
            if bodies || request.all("transfer-encoding").next().is_some() {
                return refused(413, "this request has a body; expected one without");
            }
            waiting.drain(..length);
            Some(Came::Request(request))
        }
        Ok(_) if waiting.len() > HEAD => {
            let line = waiting.iter().position(|&b| b == b'\n').is_none_or(|at| at > HEAD / 2);
            let (status, what) =
                if line { (414, "the address is too long") } else { (431, "too many headers") };
            refused(status, what)
        }
        Ok(_) => None,
        Err(httparse::Error::TooManyHeaders) => refused(431, "too many headers"),
        Err(_) => refused(400, "this is no HTTP/1.1 request"),
    }
}

fn write(mut stream: &TcpStream, answer: &mut Answer, bare: bool, stays: bool) -> io::Result<()> {
    let mut head = format!("HTTP/1.1 {} {}\r\n", answer.status, reason(answer.status));
    head.push_str(GUARDS);
    head.push_str(&format!("Content-Type: {}\r\n", answer.kind));
    for (name, value) in &answer.lines {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    if !stays {
        head.push_str("Connection: close\r\n");
    }
    match &mut answer.body {
        Body::Whole(body) => {
            head.push_str(&format!("Content-Length: {}\r\n\r\n", body.len()));
            let mut bytes = head.into_bytes();
            if !bare {
                bytes.append(body);
            }
            stream.write_all(&bytes)
        }
        Body::Pieces(next) => {
            head.push_str("Transfer-Encoding: chunked\r\n\r\n");
            stream.write_all(head.as_bytes())?;
            if bare {
                return Ok(());
            }
            while let Some(piece) = next()? {
                if !piece.is_empty() {
                    let mut bytes = format!("{:x}\r\n", piece.len()).into_bytes();
                    bytes.extend_from_slice(&piece);
                    bytes.extend_from_slice(b"\r\n");
                    stream.write_all(&bytes)?;
                }
            }
            stream.write_all(b"0\r\n\r\n")
        }
    }
}
