//! What depends on the operating system: pseudo-terminals, signals, file
//! permissions. Another system is a module beside `unix`, not a rewrite.

mod awake;
pub use awake::{KeepAwake, Times, times};

mod usb;
pub use usb::UsbIdentity;

#[cfg(unix)]
mod unix;
#[cfg(unix)]
pub use unix::{
    Terminal, ask_to_stop, await_typing, deaf, detach, free_space, held_by_another, kill, nobody_types, nonblocking, stop_signal,
};

#[cfg(not(unix))]
mod other;
#[cfg(not(unix))]
pub use other::{
    Terminal, ask_to_stop, await_typing, deaf, detach, free_space, held_by_another, kill, nobody_types, nonblocking, stop_signal,
};

/// Why the system asks the process to stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// Ctrl-C.
    Interrupt,
    /// Asked to end.
    Terminate,
    /// The terminal was closed.
    HangUp,
}

impl Stop {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Stop::Interrupt => "Ctrl-C",
            Stop::Terminate => "the request to end (SIGTERM)",
            Stop::HangUp => "the closing of the terminal (SIGHUP)",
        }
    }
}
