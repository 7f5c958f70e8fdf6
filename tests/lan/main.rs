//! The links of the LAN's message protocols against witnesses from outside: what
//! passes is dissected by tshark, and remote procedure calls meet a client and a
//! server whose stubs rpcgen made. Stand-ins are the binary, in a process of its own.
//!
//! Where a witness is not installed, or may not listen, a test says so loudly, and
//! checks what can be checked without it.

#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a test that cannot go on stops, and says what it left out"
)]

mod capture;
mod messages;
mod rpcgen;
mod support;
