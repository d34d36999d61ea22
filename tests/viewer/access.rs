//! Who is let in: RFC 9110 for the status codes, the Fetch standard for the headers that browsers add.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

use super::{Served, served};
use crate::common::http::{self, Answer};
use crate::common::program::joulestep;

fn ask(served: &Served, method: &str, target: &str, lines: &[&str], body: &[u8]) -> Answer {
    http::request(served.port, method, target, lines, body).unwrap()
}

#[test]
fn only_those_who_know_the_token_are_let_in() {
    let (_folder, served) = served(8000);
    let host = format!("Host: 127.0.0.1:{}", served.port);
    let token = served.path().trim_matches('/');
    assert!(token.len() == 32 && token.bytes().all(|b| b.is_ascii_hexdigit()), "{token}");
    let wrong =
        if token.starts_with('0') { token.replacen('0', "1", 1) } else { format!("0{}", &token[1..]) };
    for target in [
        "/".into(),
        "/meta".into(),
        format!("/{wrong}/"),
        format!("/{wrong}/meta"),
        "//".into(),
        format!("/{}/", &token[1..]),
    ] {
        let answer = ask(&served, "GET", &target, &[&host], b"");
        assert_eq!(answer.status, 403, "{target}");
        assert!(!answer.text().contains(token), "{target} tells the token");
    }
    let answer = served.get("");
    assert_eq!(answer.status, 200);
    assert!(answer.text().contains("<title>Joulestep</title>"));
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cache-control", "no-store"),
        ("cross-origin-resource-policy", "same-origin"),
    ] {
        assert_eq!(answer.header(name), Some(value));
    }
    let policy = answer.header("content-security-policy").unwrap();
    assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe") && !policy.contains('*'));
    // Two viewers have two tokens.
    let (_other_folder, other) = super::served(8000);
    assert_ne!(other.path(), served.path());
    assert_eq!(
        ask(&other, "GET", served.path(), &[&format!("Host: localhost:{}", other.port)], b"").status,
        403
    );
}

#[test]
fn other_hosts_origins_and_sites_are_refused() {
    let (_folder, served) = served(8000);
    let (path, port) = (served.path(), served.port);
    let own = format!("Host: 127.0.0.1:{port}");
    let with = |lines: &[&str]| ask(&served, "GET", path, lines, b"").status;
    // Another name that has been made to point here; a tunnel may end at another port.
    for (host, status) in [
        ("evil.example", 421),
        ("evil.example:80", 421),
        ("127.0.0.1.evil.example", 421),
        ("0.0.0.0", 421),
        ("localhost", 200),
        ("localhost:8750", 200),
        ("[::1]:9000", 200),
    ] {
        assert_eq!(with(&[&format!("Host: {host}")]), status, "{host}");
    }
    assert_eq!(with(&[]), 400);
    assert_eq!(with(&[&own, "Host: evil.example"]), 400);
    assert_eq!(with(&[&own, &format!("Origin: http://127.0.0.1:{port}")]), 200);
    for origin in ["http://evil.example", "null", "http://127.0.0.1:1", &format!("https://127.0.0.1:{port}")]
    {
        assert_eq!(with(&[&own, &format!("Origin: {origin}")]), 403, "{origin}");
    }
    for site in ["cross-site", "same-site"] {
        let site = format!("Sec-Fetch-Site: {site}");
        assert_eq!(with(&[&own, &site]), 403);
        assert_eq!(with(&[&own, &site, "Sec-Fetch-Mode: no-cors", "Sec-Fetch-Dest: script"]), 403);
        assert_eq!(with(&[&own, &site, "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: iframe"]), 403);
        // A link that holds the token, in a chat for example, may be followed.
        assert_eq!(with(&[&own, &site, "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"]), 200);
    }
    assert_eq!(with(&[&own, "Sec-Fetch-Site: same-origin"]), 200);
    assert_eq!(with(&[&own, "Sec-Fetch-Site: none"]), 200);
}

#[test]
fn methods_paths_and_bodies_that_have_no_place_are_refused() {
    let (_folder, served) = served(8000);
    let host = format!("Host: 127.0.0.1:{}", served.port);
    let (path, lines) = (served.path(), [host.as_str()]);
    for method in ["POST", "PUT", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PATCH", "NONSENSE"] {
        let answer = ask(&served, method, path, &lines, b"");
        assert_eq!(answer.status, 405, "{method}");
        assert_eq!(answer.header("allow"), Some("GET, HEAD"));
    }
    let head = ask(&served, "HEAD", &format!("{path}meta"), &lines, b"");
    assert_eq!((head.status, head.body.len()), (200, 0));
    assert!(head.header("content-length").unwrap().parse::<usize>().unwrap() > 100);
    for below in [
        "../../etc/passwd",
        "..%2f..%2fetc%2fpasswd",
        "%2e%2e/",
        "./",
        "/etc/passwd",
        "page/main.js",
        "main.js/",
        "main.js%00",
        "meta/../meta",
        "\\..\\a.h5",
        "a.h5",
        "nothing",
    ] {
        assert_eq!(ask(&served, "GET", &format!("{path}{below}"), &lines, b"").status, 404, "{below}");
    }
    assert_eq!(ask(&served, "GET", path.trim_end_matches('/'), &lines, b"").status, 404);
    assert_eq!(ask(&served, "GET", &format!("http://evil.example{path}"), &lines, b"").status, 400);
    assert_eq!(ask(&served, "GET", path, &lines, b"a body").status, 413);
    // A length that is only claimed costs nothing.
    for claim in ["Content-Length: 18446744073709551615", "Content-Length: -1", "Transfer-Encoding: chunked"]
    {
        assert_eq!(ask(&served, "GET", path, &[&host, claim], b"").status, 413, "{claim}");
    }
    let long = "x".repeat(100_000);
    let plain = |bytes: &[u8]| {
        let mut stream = TcpStream::connect(("127.0.0.1", served.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        // The rest may meet a closed connection.
        let _ = stream.write_all(bytes);
        let mut text = Vec::new();
        let _ = stream.read_to_end(&mut text);
        String::from_utf8_lossy(&text).chars().take(12).collect::<String>()
    };
    assert_eq!(plain(b"no request at all\r\n\r\n"), "HTTP/1.1 400");
    assert_eq!(plain(&[0x16, 3, 1, 2, 0, 1, 0, 1, 0xfc]), "HTTP/1.1 400");
    assert_eq!(plain(format!("GET /{}", &long[..17_000]).as_bytes()), "HTTP/1.1 414");
    let many = "X: y\r\n".repeat(100);
    assert_eq!(plain(format!("GET {path} HTTP/1.1\r\n{host}\r\n{many}\r\n").as_bytes()), "HTTP/1.1 431");
    let (front, rest) = long.split_at(16_800);
    assert_eq!(
        plain(format!("GET {path} HTTP/1.1\r\nX: {front}").as_bytes()),
        "HTTP/1.1 431",
        "{}",
        rest.len()
    );
    // And it still answers.
    assert_eq!(served.get("meta").status, 200);
}

#[test]
fn absurd_ranges_are_refused() {
    let (_folder, served) = served(8000);
    for what in [
        "window",
        "window?f=0&g=w&s=0&from=1&to=0&n=100",
        "window?f=0&g=w&s=0&from=NaN&to=1&n=100",
        "window?f=0&g=w&s=0&from=-inf&to=1&n=100",
        "window?f=0&g=w&s=0&from=0&to=1&n=1000000000",
        "window?f=0&g=w&s=0&from=0&to=1&n=-1",
        "window?f=0&g=w&s=99&from=0&to=1&n=100",
        "window?f=0&g=x&s=0&from=0&to=1&n=100",
        "window?f=7&g=w&s=0&from=0&to=1&n=100",
        "window?f=0&g=w&s=0,,1&from=0&to=1&n=100",
        "at?f=0&g=w&s=0&i=8000",
        "at?f=0&g=w&s=0&t=tomorrow",
        "integrals?f=0&g=w&s=0&from=10&to=9",
        "integrals?f=0&g=w&s=0&from=0&to=8000",
        "integrals?f=0&g=w&s=0&from=0&to=18446744073709551616",
        "integrals?f=0&g=w&p=0:9&from=0&to=10",
        "csv?f=0&g=w&s=0&from=0&to=8000",
        "csv?f=0&g=w&s=5&from=0&to=1",
        "span?f=0&g=w&from=0",
        "events",
    ] {
        let answer = served.get(what);
        assert_eq!(answer.status, 400, "{what}: {}", answer.text());
        assert!(answer.header("content-type").unwrap().starts_with("text/plain"));
    }
    let all = vec!["0"; 300].join(",");
    assert_eq!(served.get(&format!("at?f=0&g=w&t=0&s={all}")).status, 400);
    // Widest possible, but a range.
    assert_eq!(served.get("window?f=0&g=w&s=0&from=-1e300&to=1e300&n=16384").status, 200);
}

#[test]
fn it_is_not_there_for_other_machines_and_ends_with_ctrl_c() {
    let (_folder, mut served) = served(8000);
    // Every address of 127.0.0.0/8 is this machine, but only 127.0.0.1 is listened on.
    assert!(TcpStream::connect(("127.0.0.2", served.port)).is_err());
    if cfg!(unix) {
        let sent = Command::new("kill").args(["-INT", &served.program.id().to_string()]).status().unwrap();
        assert!(sent.success());
        let start = Instant::now();
        let code = loop {
            if let Some(status) = served.program.try_wait().unwrap() {
                break status.code();
            }
            assert!(start.elapsed() < Duration::from_secs(10), "it goes on");
            std::thread::sleep(Duration::from_millis(10));
        };
        assert_eq!(code, Some(0));
    }
}

#[test]
fn files_that_cannot_be_shown_get_their_reason() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    std::fs::write(path("plan.toml"), "format = 2\n").unwrap();
    joulestep::output::result::write_table(
        &path("table.h5"),
        &joulestep::output::result::BatchTable {
            title: "t",
            inputs: &joulestep::diagnostic::Sources::default(),
            digest: "",
            variants: vec![0],
            columns: vec![],
            status: vec!["done"],
            verdict: vec!["passes"],
            error: vec![""],
            doubts: vec![""],
            estimate: "",
            flags: vec![],
            waveforms: None,
            statistics: vec![],
        },
    )
    .unwrap();
    for (name, code, part) in [
        ("plan.toml", 2, "not HDF5"),
        ("table.h5", 2, "`joulestep report` shows tables"),
        ("missing.h5", 4, "cannot open"),
    ] {
        let done = joulestep(&["view", "--no-open", path(name).to_str().unwrap()]);
        assert_eq!(done.code, code, "{name}: {}", done.err);
        assert!(done.err.contains(part) && done.out.is_empty(), "{name}: {}", done.err);
    }
}
