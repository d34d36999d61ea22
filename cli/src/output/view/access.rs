//! Access: for those who know the token, on this machine, and no page of another origin.

use std::io;

use super::http::{Request, Response, Version};

/// Bytes of the token.
const TOKEN: usize = 16;

/// A new token, hexadecimal.
///
/// # Errors
/// The system's error when it has no randomness.
pub(super) fn token() -> io::Result<String> {
    let mut bytes = [0; TOKEN];
    getrandom::fill(&mut bytes).map_err(io::Error::other)?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Whether a host (with or without port) is this machine. A page of elsewhere whose name has been made to point here
/// still sends its own name.
fn is_local(host: &str) -> bool {
    let (name, port) = match host.strip_prefix('[') {
        Some(rest) => rest.split_once(']').unwrap_or((rest, "?")),
        None => host.split_once(':').map_or((host, ""), |(name, _)| (name, &host[name.len()..])),
    };
    let port = port.is_empty() || port.strip_prefix(':').is_some_and(|p| p.parse::<u16>().is_ok());
    let bracketed = host.starts_with('[');
    let name = if bracketed { name == "::1" } else { matches!(name, "127.0.0.1" | "localhost") };
    name && port
}

/// Whether the texts are the same, in a time that does not tell where they differ.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b)) == 0
}

/// The path below the token and the query of a request that may be answered.
///
/// # Errors
/// The refusal.
pub(super) fn admit<'a>(request: &'a Request, token: &str) -> Result<(&'a str, &'a str), Response> {
    let refuse = |status, what: &str| Err(Response::error(status, what));
    let host = match request.one("host") {
        Ok(Some(host)) => host,
        // HTTP/1.0 knows no Host. No browser speaks it, so no page can be behind such a request.
        Ok(None) if request.version == Version::Http10 => "localhost",
        _ => return refuse(400, "expected one Host header"),
    };
    if !is_local(host) {
        return refuse(421, "this host is not served here; expected 127.0.0.1 or localhost");
    }
    if request.all("origin").any(|origin| !same(origin, &format!("http://{host}"))) {
        return refuse(403, "requests from another origin are refused");
    }
    let site = request.all("sec-fetch-site").any(|site| !matches!(site, "same-origin" | "none"));
    // Whoever follows a link with the token in it knows the token; the page itself loads nothing so.
    let link = request.all("sec-fetch-mode").any(|mode| mode == "navigate")
        && request.all("sec-fetch-dest").any(|what| what == "document");
    if site && !link {
        return refuse(403, "requests from another site are refused");
    }
    let Some(path) = request.target.strip_prefix('/') else {
        return refuse(400, "expected a path from the root");
    };
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let (given, rest) = path.split_once('/').unwrap_or((path, ""));
    if !same(given, token) {
        return refuse(403, "the token is missing or wrong: open the address that the program printed");
    }
    if !matches!(request.method.as_str(), "GET" | "HEAD") {
        let mut answer = Response::error(405, "expected GET or HEAD");
        answer.lines.push(("Allow", "GET, HEAD".into()));
        return Err(answer);
    }
    if path.len() == given.len() {
        return refuse(404, "expected an address that ends in a slash");
    }
    Ok((rest, query))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_this_machine_is_local() {
        for host in ["127.0.0.1", "127.0.0.1:8080", "localhost", "localhost:1", "[::1]:80", "[::1]"] {
            assert!(is_local(host), "{host}");
        }
        for host in [
            "",
            ":80",
            "example.com",
            "127.0.0.1.example.com",
            "localhost.example.com:80",
            "127.0.0.1:",
            "127.0.0.1:99999",
            "127.0.0.1:80:80",
            "127.0.0.1@example.com",
            "[::1",
            "[::1]x",
            "::1",
            "[127.0.0.1]:80",
            "0.0.0.0",
        ] {
            assert!(!is_local(host), "{host}");
        }
    }

    #[test]
    fn tokens_are_long_and_differ() {
        let (a, b) = (token().unwrap(), token().unwrap());
        assert_eq!((a.len(), a == b), (2 * TOKEN, false));
    }
}
