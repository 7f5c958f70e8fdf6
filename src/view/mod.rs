//! What a person sees while a run goes on.
#![allow(clippy::print_stderr)] // one of the two places that speak to the person

mod terminal;

pub use terminal::Terminal;
