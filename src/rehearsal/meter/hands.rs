//! Somebody's hand at a meter: its keys, its lead, its fuse.

use super::MeterDevice;
use crate::instrument::profile::Range;
use crate::plan::{Hand, NOWHERE, Turn};
use crate::rehearsal::world::World;
use crate::units::Unit;

/// Where the lead is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Jack {
    /// Where the range in force wants it.
    Right,
    /// In this terminal, whatever the range.
    In(String),
}

impl MeterDevice {
    /// Whether the lead leads to this range.
    pub(super) fn is_plugged_for(&self, range: &Range) -> bool {
        match &self.jack {
            _ if self.quirks.wrong_jack => false,
            Jack::Right => true,
            Jack::In(terminal) => range.terminal.as_ref() == Some(terminal) || (range.terminal.is_none() && terminal != NOWHERE),
        }
    }

    /// When the next hand comes.
    pub(super) fn next_hand(&self) -> f64 {
        self.quirks.hands.get(self.hands).map_or(f64::INFINITY, |hand| hand.after.0)
    }

    /// It comes.
    pub(super) fn be_turned(&mut self, world: &mut World) {
        if let Some(Hand { turn, .. }) = self.quirks.hands.get(self.hands).cloned() {
            self.hands += 1;
            self.by_hand(&turn, world);
        }
    }

    /// Somebody's hand, now.
    pub fn by_hand(&mut self, turn: &Turn, world: &mut World) {
        let voltage = match turn {
            Turn::Fuse => return world.melt_fuse(),
            Turn::Jack(terminal) => {
                self.jack = Jack::In(terminal.clone());
                return self.wire(world);
            }
            Turn::Current => false,
            Turn::Voltage => true,
            Turn::Range(Unit::Volt, _) if !self.measures_voltage => return,
            Turn::Range(Unit::Ampere, _) if self.measures_voltage => return,
            Turn::Range(..) | Turn::Highest => self.measures_voltage,
        };
        let ranges = self.described(voltage).map_or(&[][..], |f| &f.ranges);
        let range = match turn {
            Turn::Range(_, full) => ranges.iter().find(|r| (r.full - full).abs() <= 1e-9 * full),
            _ => ranges.last(),
        }
        .cloned();
        // Whoever chooses a range has chosen; a function brings what it has at power-on.
        self.settings.auto_range &= voltage != self.measures_voltage;
        self.choose(voltage, range, world);
        self.readings.clear();
        self.begin_anew(world);
    }
}
