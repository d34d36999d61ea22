//! The waveform viewer: a page on loopback that shows results of any length.
//!
//! The program reads the file, the page draws. The page asks for windows of the time axis; each comes as minima and
//! maxima of as many blocks as its pixels can show, taken from the overview levels of the file or from the samples
//! themselves, so that nothing ever holds a whole record. Values at the cursors and everything between them are
//! computed here from the samples.
//!
//! Requests name no files: they pick one of those given at the start by its number, and everything else that is sent
//! is built in. Whoever asks must know the token in the address and must not come from a page of another origin.

mod answer;
mod assets;
mod between;
mod csv;
mod gate;
mod http;
mod meta;
mod pool;
mod query;
mod shown;
mod track;
mod window;

use std::io;
use std::net::{Ipv4Addr, SocketAddrV4, TcpListener, TcpStream};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;
use std::time::Duration;

pub use shown::Unshown;

use pool::Pool;

/// Connections at a time; a page needs six at most.
const CONNECTIONS: usize = 48;

/// How often a viewer looks whether it shall end.
const LOOK: Duration = Duration::from_millis(50);

/// A viewer that listens.
pub struct Viewer {
    listener: TcpListener,
    shared: Arc<Shared>,
}

/// What all connections share.
struct Shared {
    token: String,
    pool: Pool,
}

/// Why there is no viewer.
#[derive(Debug, thiserror::Error)]
pub enum ViewError {
    /// A file that cannot be shown.
    #[error(transparent)]
    Unshown(#[from] Unshown),
    /// The port cannot be had.
    #[error("cannot listen on 127.0.0.1, port {port}: {source}")]
    Listen {
        /// 0: any.
        port: u16,
        /// What the system said.
        source: io::Error,
    },
    /// Something else that the system refused.
    #[error("cannot {doing}: {source}")]
    System {
        /// What was tried.
        doing: &'static str,
        /// What the system said.
        source: io::Error,
    },
}

impl Viewer {
    /// Opens the files and listens on the port of loopback, 0 for any that is free.
    ///
    /// # Errors
    /// [`ViewError`].
    pub fn new(files: &[PathBuf], port: u16) -> Result<Self, ViewError> {
        for file in files {
            shown::look(file)?;
        }
        let system = |doing| move |source| ViewError::System { doing, source };
        let token = gate::token().map_err(system("draw a random token"))?;
        let place = SocketAddrV4::new(Ipv4Addr::LOCALHOST, port);
        let listener = TcpListener::bind(place).map_err(|source| ViewError::Listen { port, source })?;
        let pool = Pool::new(files.to_vec()).map_err(system("start a thread"))?;
        Ok(Self { listener, shared: Arc::new(Shared { token, pool }) })
    }

    /// The port it listens on.
    ///
    /// # Errors
    /// What the system says.
    pub fn port(&self) -> io::Result<u16> {
        Ok(self.listener.local_addr()?.port())
    }

    /// The address of the page.
    ///
    /// # Errors
    /// What the system says.
    pub fn address(&self) -> io::Result<String> {
        Ok(format!("http://127.0.0.1:{}/{}/", self.port()?, self.shared.token))
    }

    /// Answers until `stop` is set.
    ///
    /// # Errors
    /// When the system lets no thread start.
    pub fn serve(self, stop: &AtomicBool) -> io::Result<()> {
        let place = self.listener.local_addr()?;
        let ended = Arc::new(AtomicBool::new(false));
        let (listener, shared, end) = (self.listener, self.shared, Arc::clone(&ended));
        let taking = thread::Builder::new().name("view".into()).spawn(move || {
            let open = Arc::new(AtomicUsize::new(0));
            for stream in listener.incoming() {
                if end.load(Ordering::Relaxed) {
                    return;
                }
                match stream {
                    Ok(stream) => take(stream, &shared, &open),
                    // Too many files open, for example: what is open now may be closed soon.
                    Err(_) => thread::sleep(LOOK),
                }
            }
        })?;
        while !stop.load(Ordering::Relaxed) && !taking.is_finished() {
            thread::sleep(LOOK);
        }
        ended.store(true, Ordering::Relaxed);
        // The thread that waits for a connection gets one; where that fails, it ends with the program.
        if TcpStream::connect_timeout(&place, LOOK).is_ok() {
            let _ = taking.join();
        }
        Ok(())
    }
}

/// Gives a connection a thread of its own.
fn take(stream: TcpStream, shared: &Arc<Shared>, open: &Arc<AtomicUsize>) {
    if open.fetch_add(1, Ordering::Relaxed) >= CONNECTIONS {
        open.fetch_sub(1, Ordering::Relaxed);
        http::busy(stream);
        return;
    }
    let (shared, count) = (Arc::clone(shared), Arc::clone(open));
    let body = move || {
        // Whatever ends a connection, the next one begins anew.
        let _ = http::converse(&stream, |request| answer::answer(request, &shared.token, &shared.pool));
        count.fetch_sub(1, Ordering::Relaxed);
    };
    if thread::Builder::new().name("view connection".into()).spawn(body).is_err() {
        open.fetch_sub(1, Ordering::Relaxed);
    }
}
