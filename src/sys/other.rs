//! Systems that are not Unix: no pseudo-terminals; Ctrl-C alone.

use super::Stop;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// There are no pseudo-terminals here.
pub enum Terminal {}

impl Terminal {
    /// Always fails.
    ///
    /// # Errors
    /// That there are none.
    pub fn open() -> io::Result<Self> {
        Err(io::Error::new(io::ErrorKind::Unsupported, "pseudo-terminals need a Unix system"))
    }

    /// Never called.
    pub fn path(&self) -> &str {
        match *self {}
    }

    /// Never called.
    ///
    /// # Errors
    /// None.
    pub fn line(&self) -> io::Result<(u32, u8, bool, bool)> {
        match *self {}
    }
}

impl AsyncRead for Terminal {
    fn poll_read(self: Pin<&mut Self>, _: &mut Context<'_>, _: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        match *self {}
    }
}

impl AsyncWrite for Terminal {
    fn poll_write(self: Pin<&mut Self>, _: &mut Context<'_>, _: &[u8]) -> Poll<io::Result<usize>> {
        match *self {}
    }
    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        match *self {}
    }
    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        match *self {}
    }
}

/// Waits for Ctrl-C.
///
/// # Errors
/// The system's.
pub async fn stop_signal() -> io::Result<Stop> {
    tokio::signal::ctrl_c().await?;
    Ok(Stop::Interrupt)
}

/// There are no sessions to leave here.
///
/// # Errors
/// None.
pub fn detach() -> io::Result<()> {
    Ok(())
}

/// There are no signals to be deaf to here.
///
/// # Errors
/// None.
pub fn deaf() -> io::Result<()> {
    Ok(())
}

/// Always fails.
///
/// # Errors
/// That it needs a Unix system.
pub fn ask_to_stop(_: u32) -> io::Result<()> {
    Err(io::Error::new(io::ErrorKind::Unsupported, "asking another process to end needs a Unix system"))
}

/// Always fails.
///
/// # Errors
/// That it needs a Unix system.
pub fn kill(_: u32) -> io::Result<()> {
    Err(io::Error::new(io::ErrorKind::Unsupported, "ending another process needs a Unix system"))
}

/// Does nothing: writing to a pipe may wait here.
///
/// # Errors
/// None.
pub fn nonblocking<P>(_: &P) -> io::Result<()> {
    Ok(())
}

/// Not told here.
pub fn free_space(_: &std::path::Path) -> Option<u64> {
    None
}

/// Not told here: an answer that does not come ends the run when it is asked for.
pub fn nobody_types() -> bool {
    false
}

/// Reading waits by itself here.
///
/// # Errors
/// None.
pub fn await_typing() -> io::Result<()> {
    Ok(())
}

/// Nobody can be asked here.
pub fn held_by_another(_: &std::path::Path) -> bool {
    false
}
