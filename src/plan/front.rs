//! What hands can set at the front panel of a stand-in supply, as a bench file says it.

use super::quirks::Switch;
use crate::document::Table;
use crate::units::{Amperes, Seconds, Volts};

/// How the first two channels are coupled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Coupling {
    /// Each by itself.
    #[default]
    None,
    /// What sets one sets both.
    Tracking,
    /// The same, and both in series feed the terminals of each.
    Series,
    /// The same, and both in parallel feed the terminals of each.
    Parallel,
}

/// What a supply does when its mains come back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PowerOn {
    /// Everything is as after a reset, and off.
    #[default]
    Off,
    /// Settings and outputs are as they were.
    Last,
    /// Settings are as they were, and the outputs are on.
    On,
}

/// The output key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// Pressed to on.
    On,
    /// Pressed to off.
    Off,
}

/// A hand at the front panel, once.
#[derive(Clone, Debug, PartialEq)]
pub struct AtPanel {
    /// When, from the start of the bench.
    pub after: Seconds,
    /// Turns the voltage knob of the channel that feeds the unit to this.
    pub voltage: Option<Volts>,
    /// Turns its limit knob to this.
    pub limit: Option<Amperes>,
    /// Presses its output key.
    pub output: Option<Key>,
    /// Couples the channels so.
    pub coupling: Option<Coupling>,
}

const COUPLINGS: [(&str, Coupling); 4] =
    [("none", Coupling::None), ("tracking", Coupling::Tracking), ("series", Coupling::Series), ("parallel", Coupling::Parallel)];

impl Switch for Coupling {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.choice(key, &COUPLINGS)
    }
}

impl Switch for PowerOn {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.choice(key, &[("off", PowerOn::Off), ("last", PowerOn::Last), ("on", PowerOn::On)])
    }
}

impl Switch for Vec<AtPanel> {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        let mut hands = Vec::new();
        for mut hand in table.tables(key) {
            let made = AtPanel {
                after: hand.need("after").unwrap_or_default(),
                voltage: hand.quantity("voltage"),
                limit: hand.quantity("limit"),
                output: hand.choice("output", &[("on", Key::On), ("off", Key::Off)]),
                coupling: hand.choice("coupling", &COUPLINGS),
            };
            if !["voltage", "limit", "output", "coupling"].iter().any(|k| hand.has(k)) {
                hand.problem("after", "a hand that turns nothing and presses nothing", "does nothing", Some(DOES.into()));
            }
            hand.finish();
            hands.push(made);
        }
        hands.sort_by(|a, b| a.after.0.total_cmp(&b.after.0));
        Some(hands)
    }
}

const DOES: &str = "write { after = \"3 s\", voltage = \"4 V\" }; also limit, output = \"off\", coupling = \"tracking\"";
