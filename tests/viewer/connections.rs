//! Connections that do not behave: silent ones, too many, an old version of the protocol.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::thread;
use std::time::{Duration, Instant};

use super::{Served, served};

/// Connections that the viewer takes at a time.
const LIMIT: usize = 48;

fn connect(served: &Served) -> TcpStream {
    let stream = TcpStream::connect(("127.0.0.1", served.port)).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    stream
}

/// RFC 9110, section 15.6.4: a server that is overloaded for a time answers 503.
#[test]
fn silent_connections_hold_their_place_for_a_second_only() {
    let (_folder, served) = served(8000);
    // Where a busy machine takes longer than the second to open all, they do not meet.
    let met = (0..10).any(|_| {
        let begin = Instant::now();
        let mut silent: Vec<TcpStream> = (0..LIMIT).map(|_| connect(&served)).collect();
        let refused = served.get("meta").status == 503;
        // Each is closed without a word.
        for stream in &mut silent {
            assert_eq!(stream.read(&mut [0; 16]).unwrap(), 0);
        }
        let closed = begin.elapsed();
        assert!(closed < Duration::from_secs(4), "{closed:?}");
        // Closed by the server, its place may come free a moment later.
        let again = Instant::now();
        while served.get("meta").status != 200 {
            assert!(again.elapsed() < Duration::from_secs(2), "still full");
            thread::sleep(Duration::from_millis(10));
        }
        refused
    });
    assert!(met, "the connection above the limit was never refused");
}

/// RFC 1945: HTTP/1.0 has no chunks and asks for no `Host`; a body without a length ends with the connection.
#[test]
fn http_1_0_gets_all_samples_without_chunks() {
    let (_folder, served) = served(8000);
    let what = "csv?f=0&g=w&s=0,1,2&from=0&to=7999";
    let mut stream = connect(&served);
    write!(stream, "GET {}{what} HTTP/1.0\r\nConnection: keep-alive\r\n\r\n", served.path()).unwrap();
    let mut text = String::new();
    stream.read_to_string(&mut text).unwrap();
    let (head, body) = text.split_once("\r\n\r\n").unwrap();
    assert!(head.starts_with("HTTP/1.0 200 OK\r\n"), "{head}");
    assert!(head.contains("\r\nConnection: close") && !head.contains("Transfer-Encoding"), "{head}");
    let whole = served.get(what);
    assert_eq!(whole.header("transfer-encoding"), Some("chunked"));
    assert!(body == whole.text() && body.lines().count() == 8001);
    // Without the token it gets no further than others; a host that is not this machine's is refused, too.
    for (target, host, status) in
        [("/meta", "", "403"), (served.path(), "Host: evil.example\r\n", "421"), (served.path(), "", "200")]
    {
        let mut stream = connect(&served);
        write!(stream, "GET {target} HTTP/1.0\r\n{host}\r\n").unwrap();
        let mut text = String::new();
        stream.read_to_string(&mut text).unwrap();
        assert!(text.starts_with(&format!("HTTP/1.0 {status} ")), "{target}: {text}");
    }
}
