//! Accepts connections, each in a thread of its own, up to a limit; more are refused with 503.

use std::io;
use std::net::{TcpListener, TcpStream};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{self, Receiver, SyncSender};
use std::thread;
use std::time::Duration;

use super::http::{self, Request, Response};

/// Connections at a time; a page needs six at most.
pub(super) const CONNECTIONS: usize = 48;
/// Connections that may wait for their refusal; more are closed without one.
const REFUSALS: usize = 64;
/// How often the server looks whether it shall end.
const POLL: Duration = Duration::from_millis(50);

/// A connection's share of [`CONNECTIONS`], given back when it is dropped, also by a panic.
struct Slot(Arc<AtomicUsize>);

impl Slot {
    /// A slot, if one is free.
    fn take(used: &Arc<AtomicUsize>) -> Option<Self> {
        let more = |n| (n < CONNECTIONS).then_some(n + 1);
        used.fetch_update(Ordering::AcqRel, Ordering::Acquire, more).ok()?;
        Some(Self(Arc::clone(used)))
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::AcqRel);
    }
}

/// Answers requests with `respond` until `stop` is set.
///
/// # Errors
/// When the system lets no thread start.
pub(super) fn serve(
    listener: TcpListener,
    respond: impl Fn(&Request) -> Response + Send + Sync + 'static,
    stop: &AtomicBool,
) -> io::Result<()> {
    let address = listener.local_addr()?;
    let respond = Arc::new(respond);
    let ended = Arc::new(AtomicBool::new(false));
    let end = Arc::clone(&ended);
    let (refuse, refused) = mpsc::sync_channel(REFUSALS);
    thread::Builder::new().name("view refusals".into()).spawn(move || refusals(&refused))?;
    let accepting = thread::Builder::new().name("view".into()).spawn(move || {
        let used = Arc::new(AtomicUsize::new(0));
        for stream in listener.incoming() {
            if end.load(Ordering::Relaxed) {
                return;
            }
            match stream {
                Ok(stream) => accept(stream, &respond, &used, &refuse),
                // Too many files open, for example: what is open now may be closed soon.
                Err(_) => thread::sleep(POLL),
            }
        }
    })?;
    while !stop.load(Ordering::Relaxed) && !accepting.is_finished() {
        thread::sleep(POLL);
    }
    ended.store(true, Ordering::Relaxed);
    // The thread that waits for a connection gets one; where that fails, it ends with the program.
    if TcpStream::connect_timeout(&address, POLL).is_ok() {
        let _ = accepting.join();
    }
    Ok(())
}

/// Gives a connection a slot and a thread, or refuses it.
fn accept<R>(stream: TcpStream, respond: &Arc<R>, used: &Arc<AtomicUsize>, refuse: &SyncSender<TcpStream>)
where
    R: Fn(&Request) -> Response + Send + Sync + 'static,
{
    let Some(slot) = Slot::take(used) else {
        // Where the queue is full, the connection is closed without a word.
        let _ = refuse.try_send(stream);
        return;
    };
    let respond = Arc::clone(respond);
    let body = move || {
        let _slot = slot;
        // A response that breaks off must not take its connection with it.
        let guarded = |request: &Request| {
            catch_unwind(AssertUnwindSafe(|| respond(request)))
                .unwrap_or_else(|_| Response::error(500, "the response failed"))
        };
        // However a connection ends, the next one is not concerned.
        let _ = http::converse(&stream, guarded);
    };
    // Where no thread starts, the closure is dropped, and the connection and its slot with it.
    let _ = thread::Builder::new().name("view connection".into()).spawn(body);
}

/// Refuses what is sent here until the sender is gone.
fn refusals(refused: &Receiver<TcpStream>) {
    while let Ok(stream) = refused.recv() {
        http::refuse_busy(&stream);
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Read, Write};
    use std::net::Ipv4Addr;
    use std::sync::{Condvar, Mutex};
    use std::time::Instant;

    use super::super::http::{Body, Version};
    use super::*;

    /// Holds requests until it is opened.
    #[derive(Default)]
    struct Latch(Mutex<(usize, bool)>, Condvar);

    impl Latch {
        fn wait(&self) {
            let mut state = self.0.lock().unwrap();
            state.0 += 1;
            self.1.notify_all();
            drop(self.1.wait_while(state, |(_, open)| !*open).unwrap());
        }

        fn until_waiting(&self, count: usize) {
            drop(self.1.wait_while(self.0.lock().unwrap(), |(waiting, _)| *waiting < count).unwrap());
        }

        fn open(&self) {
            self.0.lock().unwrap().1 = true;
            self.1.notify_all();
        }
    }

    /// A server with targets that wait, panic, and come in pieces.
    struct Trial {
        port: u16,
        stop: Arc<AtomicBool>,
        latch: Arc<Latch>,
        thread: Option<thread::JoinHandle<()>>,
    }

    impl Trial {
        fn new() -> Self {
            let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
            let port = listener.local_addr().unwrap().port();
            let (stop, latch) = (Arc::new(AtomicBool::new(false)), Arc::new(Latch::default()));
            let (ends, held) = (Arc::clone(&stop), Arc::clone(&latch));
            let respond = move |request: &Request| match request.target.as_str() {
                "/wait" => {
                    held.wait();
                    Response::new(200, "text/plain", b"waited".to_vec())
                }
                "/panic" => panic!("on purpose"),
                "/pieces" | "/panic-later" => {
                    let breaks = request.target == "/panic-later";
                    let mut left = vec![b"c".to_vec(), Vec::new(), b"ab".to_vec()];
                    let next = move || {
                        assert!(!breaks, "on purpose");
                        Ok(left.pop())
                    };
                    Response {
                        status: 200,
                        kind: "text/plain",
                        lines: vec![],
                        body: Body::Pieces(Box::new(next)),
                    }
                }
                _ => Response::new(200, "text/plain", format!("{:?}", request.version).into_bytes()),
            };
            let thread = thread::spawn(move || serve(listener, respond, &ends).unwrap());
            Self { port, stop, latch, thread: Some(thread) }
        }

        fn connect(&self) -> TcpStream {
            let stream = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).unwrap();
            stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
            stream
        }

        /// Sends bytes and reads to the end.
        fn exchange(&self, bytes: &str) -> String {
            let mut stream = self.connect();
            stream.write_all(bytes.as_bytes()).unwrap();
            rest(&mut stream)
        }

        /// Status of a request that takes a slot for a moment; waits while there is none.
        fn answers(&self) -> bool {
            let begin = Instant::now();
            while begin.elapsed() < Duration::from_secs(10) {
                if self.exchange("GET / HTTP/1.1\r\nConnection: close\r\n\r\n").starts_with("HTTP/1.1 200") {
                    return true;
                }
                thread::sleep(Duration::from_millis(20));
            }
            false
        }
    }

    impl Drop for Trial {
        fn drop(&mut self) {
            self.latch.open();
            self.stop.store(true, Ordering::Relaxed);
            let _ = self.thread.take().unwrap().join();
        }
    }

    fn rest(stream: &mut TcpStream) -> String {
        let mut text = String::new();
        let _ = stream.read_to_string(&mut text);
        text
    }

    /// RFC 9110, section 15.6.4: 503 for an overload that will be over after a time.
    #[test]
    fn one_connection_above_the_limit_is_told_503_and_a_slot_that_comes_free_is_used() {
        let trial = Trial::new();
        let ask = || {
            let mut stream = trial.connect();
            stream.write_all(b"GET /wait HTTP/1.1\r\nConnection: close\r\n\r\n").unwrap();
            stream
        };
        let mut held: Vec<TcpStream> = (0..CONNECTIONS).map(|_| ask()).collect();
        trial.latch.until_waiting(CONNECTIONS);
        // The request that is never read must not cost the response.
        for _ in 0..3 {
            let text = trial.exchange("GET / HTTP/1.1\r\nHost: localhost\r\n\r\n");
            assert!(text.starts_with("HTTP/1.1 503 ") && text.contains("\r\nRetry-After: 1\r\n"), "{text}");
        }
        trial.latch.open();
        for stream in &mut held {
            assert!(rest(stream).ends_with("waited"));
        }
        assert!(trial.answers());
    }

    #[test]
    fn a_panic_gives_its_slot_back() {
        let trial = Trial::new();
        for _ in 0..CONNECTIONS + 2 {
            let text = trial.exchange("GET /panic HTTP/1.1\r\nConnection: close\r\n\r\n");
            assert!(text.starts_with("HTTP/1.1 500 "), "{text}");
        }
        // This one takes the connection's thread with it.
        for _ in 0..CONNECTIONS + 2 {
            let text = trial.exchange("GET /panic-later HTTP/1.1\r\nConnection: close\r\n\r\n");
            assert!(!text.ends_with("0\r\n\r\n"), "{text}");
        }
        assert!(trial.answers());
    }

    #[test]
    fn silent_connections_are_closed_within_a_second_and_leave_room() {
        let trial = Trial::new();
        let begin = Instant::now();
        let mut silent: Vec<TcpStream> = (0..CONNECTIONS).map(|_| trial.connect()).collect();
        // One that has had its response and stays open is silent, too.
        let mut idle = silent.pop().unwrap();
        idle.write_all(b"GET / HTTP/1.1\r\n\r\n").unwrap();
        assert!(trial.answers());
        silent.push(idle);
        for stream in &mut silent {
            rest(stream);
        }
        // A second, and some for a machine that is busy.
        assert!(begin.elapsed() < Duration::from_millis(2500), "{:?}", begin.elapsed());
        // A head that never ends is refused soon after.
        let begin = Instant::now();
        let text = trial.exchange("GET / HT");
        assert!(text.starts_with("HTTP/1.1 408 "), "{text}");
        assert!(begin.elapsed() < Duration::from_secs(4), "{:?}", begin.elapsed());
    }

    /// RFC 1945: status line of its own version, no chunks, the body ends with the connection; no `Host` needed.
    #[test]
    fn http_1_0_is_answered_in_its_own_form() {
        let trial = Trial::new();
        let text = trial.exchange("GET / HTTP/1.0\r\nConnection: keep-alive\r\n\r\n");
        assert!(text.starts_with("HTTP/1.0 200 OK\r\n") && text.ends_with(&format!("{:?}", Version::Http10)));
        assert!(text.contains("\r\nConnection: close\r\n"), "{text}");
        let text = trial.exchange("GET /pieces HTTP/1.0\r\n\r\n");
        assert!(text.ends_with("\r\n\r\nabc") && !text.contains("Transfer-Encoding"), "{text}");
        let text = trial.exchange("POST / HTTP/1.0\r\nContent-Length: 3\r\n\r\nabc");
        assert!(text.starts_with("HTTP/1.0 413 "), "{text}");
        // RFC 9112, section 7.1: each chunk with its length, the last of length 0.
        let text = trial.exchange("GET /pieces HTTP/1.1\r\nConnection: close\r\n\r\n");
        assert!(text.ends_with("\r\n\r\n2\r\nab\r\n1\r\nc\r\n0\r\n\r\n"), "{text}");
    }
}
