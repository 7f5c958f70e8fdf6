//! The command line as a person meets it: what is printed, with which exit code.
//! Snapshots of whole screens; where one changes on purpose, look at it and accept
//! it with `INSTA_UPDATE=always cargo test --test cli`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test that cannot go on stops")]

mod calc;
mod circuit;
mod compared;
mod mistakes;
mod profiles;
mod records;
mod screens;
mod support;
