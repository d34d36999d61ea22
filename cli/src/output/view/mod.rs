//! The waveform viewer: a page on loopback that shows results of any length.
//!
//! The program reads the file, the page draws. The page asks for windows of the time axis; each comes as minima and
//! maxima of as many blocks as its pixels can show, taken from the overview levels of the file or from the samples
//! themselves, so that nothing ever holds a whole record. Values at the cursors and everything between them are
//! computed here from the samples.
//!
//! Requests name no files: they pick one of those given at the start by its number, and everything else that is sent
//! is built in. Whoever asks must know the token in the address and must not come from a page of another origin.

mod access;
mod assets;
mod csv;
mod http;
mod integrals;
mod meta;
mod pool;
mod query;
mod routes;
mod series;
mod server;
mod source;
mod window;

use std::io;
use std::net::{Ipv4Addr, SocketAddrV4, TcpListener};
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

pub use source::SourceError;

use pool::Pool;

/// A viewer that listens.
pub struct Viewer {
    listener: TcpListener,
    token: String,
    pool: Pool,
}

/// Why there is no viewer.
#[derive(Debug, thiserror::Error)]
pub enum ViewerError {
    /// A file that cannot be shown.
    #[error(transparent)]
    Source(#[from] SourceError),
    /// The port cannot be had.
    #[error("cannot listen on 127.0.0.1, port {port}: {source}")]
    Listen {
        /// 0: any.
        port: u16,
        /// The system's error.
        source: io::Error,
    },
    /// Something else that the system refused.
    #[error("cannot {doing}: {source}")]
    System {
        /// The action, as in "start a thread".
        doing: &'static str,
        /// The system's error.
        source: io::Error,
    },
}

impl Viewer {
    /// Opens the files and listens on the port of loopback, 0 for any that is free.
    ///
    /// # Errors
    /// [`ViewerError`].
    pub fn new(files: &[PathBuf], port: u16) -> Result<Self, ViewerError> {
        for file in files {
            source::check(file)?;
        }
        let system = |doing| move |source| ViewerError::System { doing, source };
        let token = access::token().map_err(system("draw a random token"))?;
        let listener = TcpListener::bind(SocketAddrV4::new(Ipv4Addr::LOCALHOST, port))
            .map_err(|source| ViewerError::Listen { port, source })?;
        let pool = Pool::new(files.to_vec()).map_err(system("start a thread"))?;
        Ok(Self { listener, token, pool })
    }

    /// The port it listens on.
    ///
    /// # Errors
    /// The system's error.
    pub fn port(&self) -> io::Result<u16> {
        Ok(self.listener.local_addr()?.port())
    }

    /// The address of the page.
    ///
    /// # Errors
    /// The system's error.
    pub fn address(&self) -> io::Result<String> {
        Ok(format!("http://127.0.0.1:{}/{}/", self.port()?, self.token))
    }

    /// Answers until `stop` is set.
    ///
    /// # Errors
    /// When the system lets no thread start.
    pub fn serve(self, stop: &AtomicBool) -> io::Result<()> {
        let Self { listener, token, pool } = self;
        server::serve(listener, move |request| routes::respond(request, &token, &pool), stop)
    }
}
