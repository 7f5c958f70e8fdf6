//! What a supply does for safety by itself, and what is made sure of before it is
//! energised; with the reading of it from TOML.

use super::Setting;
use super::read::setting;
use crate::document::Table;
use crate::units::{Seconds, Unit};

/// A protection of the supply.
#[derive(Clone, Debug)]
pub struct Protection {
    /// The level; `None` where the set-point itself is the level.
    pub level: Option<Setting>,
    /// How long its cause may last; `None` where that cannot be set.
    pub delay: Option<Delay>,
    /// Messages that enable it.
    pub enable: Vec<String>,
    /// Asks whether it has tripped, with the answers that mean yes.
    pub tripped: Option<(String, Vec<String>)>,
    /// Clears the trip.
    pub clear: Option<String>,
    /// Whether clearing restores the output to what it was.
    pub clear_restores: bool,
}

/// How long the cause of a protection may last.
#[derive(Clone, Debug)]
pub struct Delay {
    /// Sets it, in seconds.
    pub setting: Setting,
    /// The longest that can be set.
    pub longest: Seconds,
}

/// Something that must be so before the output is switched on.
#[derive(Clone, Debug)]
pub struct Condition {
    /// Asks how it is.
    pub ask: String,
    /// Answers that are good.
    pub good: Vec<String>,
    /// Makes it so; `None` where that is for a hand.
    pub set: Option<String>,
}

/// Where the supply senses the voltage.
#[derive(Clone, Debug)]
pub struct Sense {
    /// Asks where.
    pub ask: String,
    /// Answers that mean: at its own terminals.
    pub local: Vec<String>,
    /// Answers that mean: through leads of their own.
    pub remote: Vec<String>,
}

/// The supply's own timer, which switches off when no message has come for a while.
#[derive(Clone, Debug)]
pub struct Watchdog {
    /// How long.
    pub delay: Delay,
    /// Messages that arm it, after the time is set.
    pub enable: Vec<String>,
    /// Messages that disarm it.
    pub disable: Vec<String>,
    /// Clears it once it has gone off, where it latches.
    pub clear: Option<String>,
}

pub(super) fn protection(parent: &mut Table<'_>, key: &str, of: Unit) -> Option<Protection> {
    let mut table = parent.table(key)?;
    let level = if table.has("set") { Some(setting(&mut table, of)) } else { None };
    let delay = table.table("delay").map(|mut table| {
        let made = delay(&mut table);
        table.finish();
        made
    });
    let enable = table.texts("enable").unwrap_or_default();
    let tripped = table.table("tripped").and_then(|mut tripped| {
        let made = (tripped.need_text("ask"), tripped.texts("yes").unwrap_or_else(|| vec!["1".into()]));
        tripped.finish();
        Some((made.0?, made.1))
    });
    let clear = table.text("clear");
    let clear_restores = table.flag("clear_restores").unwrap_or(false);
    table.finish();
    let level = match level {
        Some(read) => Some(read?),
        None => None,
    };
    let delay = match delay {
        Some(read) => Some(read?),
        None => None,
    };
    Some(Protection { level, delay, enable, tripped, clear, clear_restores })
}

fn delay(table: &mut Table<'_>) -> Option<Delay> {
    let made = (setting(table, Unit::Second), table.need::<Seconds>("longest"));
    Some(Delay { setting: made.0?, longest: made.1? })
}

fn some_texts(table: &mut Table<'_>, key: &str) -> Option<Vec<String>> {
    match table.texts(key) {
        Some(texts) if !texts.is_empty() => Some(texts),
        _ => table.missing(key, Some(format!("write {key} = [\"1\"], every answer that means it"))),
    }
}

pub(super) fn condition(parent: &mut Table<'_>, key: &str) -> Option<Condition> {
    let mut table = parent.table(key)?;
    let (ask, good, set) = (table.need_text("ask"), some_texts(&mut table, "good"), table.text("set"));
    table.finish();
    Some(Condition { ask: ask?, good: good?, set })
}

pub(super) fn sense(parent: &mut Table<'_>) -> Option<Sense> {
    let mut table = parent.table("sense")?;
    let (ask, local, remote) = (table.need_text("ask"), some_texts(&mut table, "local"), some_texts(&mut table, "remote"));
    table.finish();
    Some(Sense { ask: ask?, local: local?, remote: remote? })
}

pub(super) fn watchdog(parent: &mut Table<'_>) -> Option<Watchdog> {
    let mut table = parent.table("watchdog")?;
    let delay = delay(&mut table);
    let enable = table.texts("enable").unwrap_or_default();
    let disable = some_texts(&mut table, "disable");
    let clear = table.text("clear");
    table.finish();
    Some(Watchdog { delay: delay?, enable, disable: disable?, clear })
}
