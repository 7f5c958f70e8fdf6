//! `rampart` powers a unit whose fault comes and goes, under limits, and leaves
//! a record of what it drew that someone else will believe.
//!
//! The map, top layer to bottom. Imports run downwards only
//! (`tests/structure.rs` keeps it so):
//!
//! - [`cli`]: one file a verb; prints, never computes.
//! - [`view`], [`report`]: what a person sees, live and afterwards.
//! - [`runner`]: carries out a plan, one file a kind of stage.
//! - [`rehearsal`]: stand-in instruments and a unit under test.
//! - [`interlock`]: limits, the gate that every reading passes, trips, and the
//!   permit without which nothing is energised.
//! - [`plan`], [`record`]: what shall be done; what happened.
//! - [`analysis`]: pure functions from numbers to findings.
//! - [`instrument`]: profiles, sessions, supply and meter.
//! - [`link`], [`scpi`]: bytes to and from an address; what the bytes mean.
//! - [`document`], [`clock`], [`units`], [`sys`]: TOML with places, bench time,
//!   quantities, the operating system.

pub mod analysis;
pub mod cli;
pub mod clock;
pub mod document;
pub mod instrument;
pub mod interlock;
pub mod link;
pub mod plan;
pub mod record;
pub mod rehearsal;
pub mod report;
pub mod runner;
pub mod scpi;
pub mod sys;
pub mod units;
pub mod view;
