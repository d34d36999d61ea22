//! A plain HTTP/1.1 client for the tests: one request, one connection. It sends what it is given, right or wrong.

use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// An answer.
#[derive(Debug)]
pub struct Answer {
    /// Status code.
    pub status: u16,
    /// Names in lower case, with their values.
    pub headers: Vec<(String, String)>,
    /// The body, out of its chunks.
    pub body: Vec<u8>,
}

impl Answer {
    /// A header's value.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
    }

    /// The body as text.
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The body as JSON.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }
}

/// Sends a request (`headers` as whole lines, `Host` included by the caller) and reads the answer.
///
/// # Errors
/// What the system says, or an answer that is none.
pub fn request(port: u16, method: &str, target: &str, headers: &[&str], body: &[u8]) -> io::Result<Answer> {
    let mut head = format!("{method} {target} HTTP/1.1\r\nConnection: close\r\n");
    for line in headers {
        head.push_str(line);
        head.push_str("\r\n");
    }
    if !body.is_empty() || method == "POST" {
        head.push_str(&format!("Content-Length: {}\r\n", body.len()));
    }
    head.push_str("\r\n");
    let mut stream = TcpStream::connect(("127.0.0.1", port))?;
    stream.set_read_timeout(Some(Duration::from_secs(60)))?;
    stream.write_all(head.as_bytes())?;
    stream.write_all(body)?;
    read(&mut stream, method == "HEAD")
}

fn broken(what: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, what.to_owned())
}

/// Reads one answer; `bare` says that it has no body.
fn read(stream: &mut TcpStream, bare: bool) -> io::Result<Answer> {
    let mut bytes = Vec::new();
    let end = loop {
        if let Some(at) = find(&bytes, b"\r\n\r\n") {
            break at;
        }
        more(stream, &mut bytes)?;
    };
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let mut lines = head.split("\r\n");
    let first = lines.next().unwrap_or_default();
    let status = first.split(' ').nth(1).and_then(|s| s.parse().ok()).ok_or_else(|| broken(first))?;
    let named = lines.filter_map(|line| line.split_once(':'));
    let headers: Vec<_> = named.map(|(n, v)| (n.to_lowercase(), v.trim().to_owned())).collect();
    let mut answer = Answer { status, headers, body: bytes.split_off(end + 4) };
    if bare {
        return Ok(answer);
    }
    if answer.header("transfer-encoding").is_some_and(|v| v.contains("chunked")) {
        answer.body = unchunk(stream, std::mem::take(&mut answer.body))?;
    } else if let Some(length) = answer.header("content-length") {
        let length: usize = length.parse().map_err(|_| broken("content-length"))?;
        while answer.body.len() < length {
            more(stream, &mut answer.body)?;
        }
        answer.body.truncate(length);
    } else {
        stream.read_to_end(&mut answer.body)?;
    }
    Ok(answer)
}

fn find(bytes: &[u8], what: &[u8]) -> Option<usize> {
    bytes.windows(what.len()).position(|window| window == what)
}

fn more(stream: &mut TcpStream, bytes: &mut Vec<u8>) -> io::Result<()> {
    let mut piece = [0; 1 << 16];
    match stream.read(&mut piece)? {
        0 => Err(broken("the answer ends early")),
        count => {
            bytes.extend_from_slice(&piece[..count]);
            Ok(())
        }
    }
}

/// The body out of its chunks, read to the last one.
fn unchunk(stream: &mut TcpStream, mut bytes: Vec<u8>) -> io::Result<Vec<u8>> {
    let mut body = Vec::new();
    let mut at = 0;
    loop {
        let line = loop {
            if let Some(length) = find(&bytes[at..], b"\r\n") {
                break at + length;
            }
            more(stream, &mut bytes)?;
        };
        let size = String::from_utf8_lossy(&bytes[at..line]).into_owned();
        let size = usize::from_str_radix(size.trim(), 16).map_err(|_| broken("size of a chunk"))?;
        while bytes.len() < line + 2 + size + 2 {
            more(stream, &mut bytes)?;
        }
        if size == 0 {
            return Ok(body);
        }
        body.extend_from_slice(&bytes[line + 2..line + 2 + size]);
        at = line + 2 + size + 2;
    }
}
