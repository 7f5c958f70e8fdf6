//! What a supply does for safety by itself, and what is made sure of before it is
//! energised; with the reading of it from TOML.

use super::part::Part;
use super::read::setting;
use super::{Numbers, Setting};
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

pub(super) fn protection(parent: &mut Part<'_>, key: &str, of: Unit, numbers: Numbers) -> Option<Protection> {
    let mut part = parent.part_of(key, of)?;
    // A setting's other keys are read with it; without a level there is nothing to set by them.
    let level = if part.has("set") {
        Some(setting(&mut part, numbers))
    } else {
        for key in ["set", "ask", "resolution", "accuracy", "out_of_range", "send_scale", "send_digits", "reply"] {
            part.passes_over(key);
        }
        None
    };
    if part.has("set") && !part.has("resolution") {
        part.table.missing::<()>("resolution", Some(format!("write resolution = {}", of.examples())));
    }
    let delay = part.part_of("delay", Unit::Second).map(|mut part| {
        let made = delay(&mut part, numbers);
        part.finish();
        made
    });
    let enable = part.texts("enable");
    let tripped = part.part("tripped").and_then(|mut tripped| {
        let made = (tripped.text("ask"), tripped.texts("yes"));
        tripped.finish();
        Some((made.0?, made.1))
    });
    let clear = part.text("clear");
    let clear_restores = part.flag("clear_restores");
    part.finish();
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

fn delay(part: &mut Part<'_>, numbers: Numbers) -> Option<Delay> {
    let made = (setting(part, numbers), part.quantity("longest"));
    Some(Delay { setting: made.0?, longest: made.1? })
}

pub(super) fn condition(parent: &mut Part<'_>, key: &str) -> Option<Condition> {
    let mut part = parent.part(key)?;
    let (ask, good, set) = (part.text("ask"), part.some_texts("good"), part.text("set"));
    part.finish();
    Some(Condition { ask: ask?, good: good?, set })
}

pub(super) fn sense(parent: &mut Part<'_>) -> Option<Sense> {
    let mut part = parent.part("sense")?;
    let (ask, local, remote) = (part.text("ask"), part.some_texts("local"), part.some_texts("remote"));
    part.finish();
    Some(Sense { ask: ask?, local: local?, remote: remote? })
}

pub(super) fn watchdog(parent: &mut Part<'_>, numbers: Numbers) -> Option<Watchdog> {
    let mut part = parent.part_of("watchdog", Unit::Second)?;
    let delay = delay(&mut part, numbers);
    let (enable, disable, clear) = (part.texts("enable"), part.some_texts("disable"), part.text("clear"));
    part.finish();
    Some(Watchdog { delay: delay?, enable, disable: disable?, clear })
}
