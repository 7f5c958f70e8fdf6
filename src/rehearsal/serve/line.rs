//! A serial terminal whose device minds how the line is set: at another speed, with other
//! stop bits or another handshake both ends hear garbage.
//!
//! What a pseudo-terminal cannot show is not shown: data bits and parity, which it does not
//! keep, and DTR and RTS, which it does not have.

use crate::link::serial::{Flow, Line, StopBits};
use crate::sys::Terminal;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// A terminal behind a line.
pub struct Minding {
    terminal: Terminal,
    wanted: (u32, u8, bool, bool),
}

impl Minding {
    /// The device wants its line like this.
    pub fn new(terminal: Terminal, line: &Line) -> Self {
        let stop_bits = if line.stop_bits == StopBits::Two { 2 } else { 1 };
        Self { terminal, wanted: (line.baud, stop_bits, line.flow == Flow::Software, line.flow == Flow::Hardware) }
    }

    fn is_as_wanted(&self) -> bool {
        self.terminal.line().is_ok_and(|line| line == self.wanted)
    }
}

/// What a byte of another speed looks like: never a letter, never an end of line.
fn garbled(byte: u8) -> u8 {
    byte.rotate_left(3) | 0x80
}

impl AsyncRead for Minding {
    fn poll_read(mut self: Pin<&mut Self>, context: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        ready!(Pin::new(&mut self.terminal).poll_read(context, buffer))?;
        if !self.is_as_wanted() {
            buffer.filled_mut().iter_mut().skip(before).for_each(|byte| *byte = garbled(*byte));
        }
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Minding {
    fn poll_write(mut self: Pin<&mut Self>, context: &mut Context<'_>, data: &[u8]) -> Poll<io::Result<usize>> {
        if self.is_as_wanted() {
            return Pin::new(&mut self.terminal).poll_write(context, data);
        }
        let spoilt: Vec<u8> = data.iter().map(|byte| garbled(*byte)).collect();
        Pin::new(&mut self.terminal).poll_write(context, &spoilt)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.terminal).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.terminal).poll_shutdown(context)
    }
}
