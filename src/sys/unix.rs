//! Unix: pseudo-terminals for stand-ins on serial ports, and signals.

use super::Stop;
use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{ControlModes, InputModes, OptionalActions, tcgetattr, tcsetattr};
use std::io;
use std::os::fd::OwnedFd;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use tokio::io::unix::AsyncFd;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// The device's side of a serial terminal that another program can open by its path.
pub struct Terminal {
    master: AsyncFd<OwnedFd>,
    path: String,
    /// Held open: without it the device's side sees an error between two openings.
    _spare: OwnedFd,
}

impl Terminal {
    /// A new terminal in raw mode.
    ///
    /// # Errors
    /// The system's.
    pub fn open() -> io::Result<Self> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let path = ptsname(&master, Vec::new())?.to_string_lossy().into_owned();
        let spare = rustix::fs::open(path.as_str(), OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
        let mut settings = tcgetattr(&spare)?;
        settings.make_raw();
        tcsetattr(&spare, OptionalActions::Now, &settings)?;
        let flags = rustix::fs::fcntl_getfl(&master)?;
        rustix::fs::fcntl_setfl(&master, flags | OFlags::NONBLOCK)?;
        // The successor of `new` is `unsafe`, for owners that may close the descriptor
        // early; an `OwnedFd` that nobody takes out again does not.
        #[allow(deprecated)]
        let master = AsyncFd::new(master)?;
        Ok(Self { master, path, _spare: spare })
    }

    /// The path by which another program opens it.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// What the other program has set: bits per second, stop bits, whether XON/XOFF, whether
    /// RTS/CTS. Data bits and parity cannot be told: a pseudo-terminal keeps eight and none,
    /// whatever is set.
    ///
    /// # Errors
    /// The system's.
    pub fn line(&self) -> io::Result<(u32, u8, bool, bool)> {
        let set = tcgetattr(&self._spare)?;
        let stop_bits = if set.control_modes.contains(ControlModes::CSTOPB) { 2 } else { 1 };
        let software = set.input_modes.intersects(InputModes::IXON | InputModes::IXOFF);
        Ok((set.output_speed(), stop_bits, software, set.control_modes.contains(ControlModes::CRTSCTS)))
    }
}

impl AsyncRead for Terminal {
    fn poll_read(self: Pin<&mut Self>, context: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        loop {
            let mut guard = ready!(self.master.poll_read_ready(context))?;
            let unfilled = buffer.initialize_unfilled();
            match guard.try_io(|fd| rustix::io::read(fd, unfilled).map_err(io::Error::from)) {
                Ok(Ok(count)) => {
                    buffer.advance(count);
                    return Poll::Ready(Ok(()));
                }
                Ok(Err(error)) => return Poll::Ready(Err(error)),
                Err(_would_block) => {}
            }
        }
    }
}

impl AsyncWrite for Terminal {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, data: &[u8]) -> Poll<io::Result<usize>> {
        loop {
            let mut guard = ready!(self.master.poll_write_ready(context))?;
            match guard.try_io(|fd| rustix::io::write(fd, data).map_err(io::Error::from)) {
                Ok(result) => return Poll::Ready(result),
                Err(_would_block) => {}
            }
        }
    }

    fn poll_flush(self: Pin<&mut Self>, _context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}

/// Waits for the first signal that asks to stop.
///
/// # Errors
/// The system's, where signals cannot be waited for.
pub async fn stop_signal() -> io::Result<Stop> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    Ok(tokio::select! {
        _ = interrupt.recv() => Stop::Interrupt,
        _ = terminate.recv() => Stop::Terminate,
        _ = hang_up.recv() => Stop::HangUp,
    })
}

/// Leaves the terminal's session, so that its closing and its keys do not reach here.
///
/// # Errors
/// The system's.
pub fn detach() -> io::Result<()> {
    rustix::process::setsid()?;
    Ok(())
}

/// From now on the signals that ask to stop do nothing.
///
/// # Errors
/// The system's.
pub fn deaf() -> io::Result<()> {
    use tokio::signal::unix::{SignalKind, signal};
    for kind in [SignalKind::interrupt(), SignalKind::terminate(), SignalKind::hangup(), SignalKind::quit()] {
        // Once heard for by this process, a signal no longer ends it, whoever listens.
        drop(signal(kind)?);
    }
    Ok(())
}

/// Asks another process to end.
///
/// # Errors
/// The system's.
pub fn ask_to_stop(process: u32) -> io::Result<()> {
    let pid = i32::try_from(process).ok().and_then(rustix::process::Pid::from_raw).ok_or(io::ErrorKind::InvalidInput)?;
    rustix::process::kill_process(pid, rustix::process::Signal::TERM)?;
    Ok(())
}

/// Ends another process, without asking it.
///
/// # Errors
/// The system's.
pub fn kill(process: u32) -> io::Result<()> {
    let pid = i32::try_from(process).ok().and_then(rustix::process::Pid::from_raw).ok_or(io::ErrorKind::InvalidInput)?;
    rustix::process::kill_process(pid, rustix::process::Signal::KILL)?;
    Ok(())
}

/// Makes writing to a pipe fail where it would have to wait.
///
/// # Errors
/// The system's.
pub fn nonblocking(pipe: &impl std::os::fd::AsFd) -> io::Result<()> {
    let flags = rustix::fs::fcntl_getfl(pipe)?;
    rustix::fs::fcntl_setfl(pipe, flags | OFlags::NONBLOCK)?;
    Ok(())
}

/// How many bytes may still be written where `folder` is; `None` where the system
/// does not tell.
pub fn free_space(folder: &std::path::Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(folder).ok()?;
    disk.f_bavail.checked_mul(disk.f_frsize)
}

/// Whether no answer will come from standard input: it is closed, the empty device (as
/// under `nohup`), or a terminal whose foreground this process is not in. To read
/// from that one would stop the process.
pub fn nobody_types() -> bool {
    let stdin = rustix::stdio::stdin();
    let Ok(input) = rustix::fs::fstat(stdin) else { return true };
    let empty = rustix::fs::stat("/dev/null").is_ok_and(|null| input.st_rdev == null.st_rdev && input.st_ino == null.st_ino);
    let background = rustix::termios::tcgetpgrp(stdin).is_ok_and(|foreground| foreground != rustix::process::getpgrp());
    empty || background
}

/// Waits until there is something to read on standard input, without reading: that would
/// stop a process that has been put into the background meanwhile.
///
/// # Errors
/// The system's.
pub fn await_typing() -> io::Result<()> {
    use rustix::event::{PollFd, PollFlags, poll};
    let stdin = rustix::stdio::stdin();
    loop {
        match poll(&mut [PollFd::new(&stdin, PollFlags::IN)], None) {
            Err(rustix::io::Errno::INTR) => {}
            other => return Ok(other.map(drop)?),
        }
    }
}

/// Whether another process has an SQLite database open for writing or reading: it holds a
/// lock of POSIX on the bytes that SQLite's file format (lockingv3) names for that.
///
/// Not to be asked by a process that has it open itself: closing the file would let go
/// of its own locks.
pub fn held_by_another(database: &std::path::Path) -> bool {
    use rustix::process::{Flock, FlockOffsetType, FlockType, fcntl_getlk};
    const PENDING: u64 = 0x4000_0000;
    let Ok(file) = std::fs::File::open(database) else { return false };
    let all = Flock { start: PENDING, length: 512, pid: None, typ: FlockType::WriteLock, offset_type: FlockOffsetType::Set };
    matches!(fcntl_getlk(&file, &all), Ok(Some(_)))
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_room_on_a_disk_is_told() {
        assert!(super::free_space(&std::env::temp_dir()).is_some_and(|bytes| bytes > 0));
        assert_eq!(super::free_space(std::path::Path::new("/no/such/folder")), None);
    }
}
