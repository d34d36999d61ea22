//! HTTP/1.1 and 1.0 on one connection: requests are read within bounds of size and time, responses written.
//!
//! Requests with a body are refused unread, whatever length they claim. A connection that sends nothing is closed
//! within [`SILENCE`], so that silent ones do not keep others out; browsers open another when they need one.

use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::{Duration, Instant};

/// Longest head of a request, bytes.
const HEAD_BYTES: usize = 16 << 10;
/// Most header lines.
const HEADER_LINES: usize = 64;
/// Time that a connection may send nothing between requests.
const SILENCE: Duration = Duration::from_secs(1);
/// Time that the head of a request may take from its first byte on.
const HEAD_TIME: Duration = Duration::from_secs(2);
/// Time that the other side may take to accept a piece of a response.
const WRITE_TIME: Duration = Duration::from_secs(30);
/// Time that the other side may take to close a connection after its last response, and bytes it may still send.
const LINGER: (Duration, usize) = (Duration::from_millis(250), 1 << 20);

/// Versions that are spoken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Version {
    /// Has no chunks; every connection ends with its response.
    Http10,
    #[default]
    Http11,
}

/// The head of a request.
#[derive(Debug, Default)]
pub(super) struct Request {
    pub method: String,
    /// As it was sent.
    pub target: String,
    pub version: Version,
    /// Names in lower case.
    headers: Vec<(String, String)>,
    /// Whether the connection stays open after the response.
    keep_alive: bool,
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

/// What comes after the head of a response.
pub(super) enum Body {
    /// Everything.
    Whole(Vec<u8>),
    /// Piece by piece, until there is none.
    Pieces(Box<dyn FnMut() -> io::Result<Option<Vec<u8>>> + Send>),
}

/// A response.
pub(super) struct Response {
    pub status: u16,
    /// Content type.
    pub kind: &'static str,
    /// More header lines.
    pub lines: Vec<(&'static str, String)>,
    pub body: Body,
}

impl Response {
    /// A text that says what is wrong.
    pub fn error(status: u16, what: impl Into<String>) -> Self {
        let mut text: String = what.into();
        text.push('\n');
        Self::new(status, "text/plain; charset=utf-8", text.into_bytes())
    }

    /// A whole body.
    pub fn new(status: u16, kind: &'static str, body: Vec<u8>) -> Self {
        Self { status, kind, lines: Vec::new(), body: Body::Whole(body) }
    }
}

/// Sent with every response: nothing may be loaded from elsewhere, framed, guessed, kept or referred to.
const POLICY: &str = "Content-Security-Policy: default-src 'none'; script-src 'self'; style-src 'self'; \
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

/// Outcome of reading a head.
enum Head {
    Request(Request),
    /// Refused; the connection ends after the response.
    Refused(Response, Version),
    /// The other side is gone, or silent.
    Gone,
}

/// How a response is written.
#[derive(Clone, Copy)]
struct Form {
    version: Version,
    /// Without its body, as for `HEAD`.
    bare: bool,
    keep_alive: bool,
}

impl Form {
    /// The last response of a connection.
    fn last(version: Version) -> Self {
        Self { version, bare: false, keep_alive: false }
    }
}

/// Refuses a connection beyond the limit and closes it.
pub(super) fn refuse_busy(stream: &TcpStream) {
    let mut response = Response::error(503, "too many connections; try again in a second");
    response.lines.push(("Retry-After", "1".into()));
    if stream.set_write_timeout(Some(LINGER.0)).is_ok()
        && write(stream, &mut response, Form::last(Version::Http11)).is_ok()
    {
        close(stream);
    }
}

/// Answers the requests of a connection until it ends, then closes it.
pub(super) fn converse(stream: &TcpStream, respond: impl FnMut(&Request) -> Response) -> io::Result<()> {
    requests(stream, respond)?;
    close(stream);
    Ok(())
}

fn requests(stream: &TcpStream, mut respond: impl FnMut(&Request) -> Response) -> io::Result<()> {
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(WRITE_TIME))?;
    let mut received = Vec::new();
    loop {
        match read(stream, &mut received)? {
            Head::Request(request) => {
                let mut response = respond(&request);
                let Request { version, keep_alive, .. } = request;
                write(stream, &mut response, Form { version, bare: request.method == "HEAD", keep_alive })?;
                if !keep_alive {
                    return Ok(());
                }
            }
            Head::Refused(mut response, version) => {
                return write(stream, &mut response, Form::last(version));
            }
            Head::Gone => return Ok(()),
        }
    }
}

/// Closes a connection in stages (RFC 9112, section 9.6): closed at once while bytes wait unread, it would be reset, and
/// the other side could lose the response.
fn close(mut stream: &TcpStream) {
    let (time, mut bytes) = LINGER;
    let begin = Instant::now();
    let mut buffer = [0; 4096];
    if stream.shutdown(Shutdown::Write).is_err() {
        return;
    }
    loop {
        let left = time.saturating_sub(begin.elapsed());
        if left.is_zero() || bytes == 0 || stream.set_read_timeout(Some(left)).is_err() {
            return;
        }
        match stream.read(&mut buffer) {
            Ok(0) | Err(_) => return,
            Ok(count) => bytes = bytes.saturating_sub(count),
        }
    }
}

/// Reads the head of the next request; what came after it stays in `received`.
fn read(mut stream: &TcpStream, received: &mut Vec<u8>) -> io::Result<Head> {
    let mut begin: Option<Instant> = None;
    loop {
        if !received.is_empty() {
            if let Some(head) = parse(received) {
                return Ok(head);
            }
            begin.get_or_insert_with(Instant::now);
        }
        let left = match begin {
            None => SILENCE,
            Some(begin) => HEAD_TIME.saturating_sub(begin.elapsed()),
        };
        if left.is_zero() {
            let slow = Response::error(408, "the head of the request took too long");
            return Ok(Head::Refused(slow, Version::Http11));
        }
        stream.set_read_timeout(Some(left))?;
        let mut buffer = [0; 4096];
        match stream.read(&mut buffer) {
            Ok(0) => return Ok(Head::Gone),
            Ok(count) => received.extend_from_slice(&buffer[..count]),
            Err(e) if matches!(e.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {
                if begin.is_none() {
                    return Ok(Head::Gone);
                }
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
}

/// Takes a whole head off the front; `None` while there is none yet.
fn parse(received: &mut Vec<u8>) -> Option<Head> {
    let mut lines = [httparse::EMPTY_HEADER; HEADER_LINES];
    let mut head = httparse::Request::new(&mut lines);
    let outcome = head.parse(received);
    let version = if head.version == Some(0) { Version::Http10 } else { Version::Http11 };
    let refused = |status, what: &str| Some(Head::Refused(Response::error(status, what), version));
    match outcome {
        Ok(httparse::Status::Complete(length)) if length <= HEAD_BYTES => {
            let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
            let headers = head.headers.iter().map(|h| (h.name.to_ascii_lowercase(), text(h.value)));
            let mut request = Request {
                method: head.method.unwrap_or_default().to_owned(),
                target: head.path.unwrap_or_default().to_owned(),
                version,
                headers: headers.collect(),
                keep_alive: version == Version::Http11,
            };
            if request.all("connection").any(|value| value.to_ascii_lowercase().contains("close")) {
                request.keep_alive = false;
            }
            let has_body = request.all("content-length").any(|length| length.trim() != "0");
            if has_body || request.all("transfer-encoding").next().is_some() {
                return refused(413, "this request has a body; expected one without");
            }
            received.drain(..length);
            Some(Head::Request(request))
        }
        Ok(_) if received.len() > HEAD_BYTES => {
            let line = received.iter().position(|&b| b == b'\n').is_none_or(|at| at > HEAD_BYTES / 2);
            let (status, what) = if line {
                (414, "the address is too long; expected at most 16 KiB")
            } else {
                (431, "the headers are too long; expected at most 16 KiB")
            };
            refused(status, what)
        }
        Ok(_) => None,
        Err(httparse::Error::TooManyHeaders) => {
            refused(431, "the headers are too long; expected at most 16 KiB")
        }
        Err(_) => refused(400, "expected an HTTP/1.1 or HTTP/1.0 request"),
    }
}

fn write(mut stream: &TcpStream, response: &mut Response, form: Form) -> io::Result<()> {
    let version = match form.version {
        Version::Http10 => "HTTP/1.0",
        Version::Http11 => "HTTP/1.1",
    };
    let mut head = format!("{version} {} {}\r\n", response.status, reason(response.status));
    head.push_str(POLICY);
    head.push_str(&format!("Content-Type: {}\r\n", response.kind));
    for (name, value) in &response.lines {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    if !form.keep_alive {
        head.push_str("Connection: close\r\n");
    }
    match &mut response.body {
        Body::Whole(body) => {
            head.push_str(&format!("Content-Length: {}\r\n\r\n", body.len()));
            let mut bytes = head.into_bytes();
            if !form.bare {
                bytes.append(body);
            }
            stream.write_all(&bytes)
        }
        Body::Pieces(next) => {
            // HTTP/1.0 has no chunks: its body ends with the connection.
            let chunked = form.version == Version::Http11;
            head.push_str(if chunked { "Transfer-Encoding: chunked\r\n\r\n" } else { "\r\n" });
            stream.write_all(head.as_bytes())?;
            if form.bare {
                return Ok(());
            }
            while let Some(mut piece) = next()? {
                if chunked && !piece.is_empty() {
                    let size = format!("{:x}\r\n", piece.len()).into_bytes();
                    piece.splice(0..0, size);
                    piece.extend_from_slice(b"\r\n");
                }
                stream.write_all(&piece)?;
            }
            if chunked { stream.write_all(b"0\r\n\r\n") } else { Ok(()) }
        }
    }
}
