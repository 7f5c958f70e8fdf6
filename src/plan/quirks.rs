//! What a stand-in does beside its dialect: the ways in which real instruments differ
//! from their guides, each a switch that is off by default.
//!
//! Read from `standin = { … }` of a seat of the bench file; described in
//! `scripts/README.md`. A bench of real instruments has no use for it. Leaves to others:
//! doing it (`rehearsal`).

use super::front::{AtPanel, Coupling, PowerOn};
use super::metering::{AutoRange, Hand, Hum, Memory, MeterInput, Zero};
use crate::document::Table;
use crate::instrument::Role;
use crate::units::{Hertz, Ratio, Seconds, Volts};

/// Whose stand-in has a switch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// Both.
    Either,
    /// The supply's.
    Supply,
    /// The meter's.
    Meter,
}

impl Whose {
    fn is(self, role: Role) -> bool {
        match self {
            Whose::Either => true,
            Whose::Supply => role == Role::Supply,
            Whose::Meter => role == Role::Meter,
        }
    }
}

/// What a switch can be.
pub(super) trait Switch: Sized {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self>;
}

impl Switch for bool {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.flag(key)
    }
}

impl Switch for Option<u64> {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.count(key, 0, 1_000_000).map(Some)
    }
}

impl Switch for u32 {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.count(key, 0, 1_000_000).and_then(|n| u32::try_from(n).ok())
    }
}

impl Switch for Option<String> {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.text(key).map(Some)
    }
}

impl Switch for Seconds {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.quantity(key)
    }
}

impl Switch for Option<Seconds> {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.quantity(key).map(Some)
    }
}

impl Switch for Option<Volts> {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.quantity(key).map(Some)
    }
}

impl Switch for Ratio {
    fn read(table: &mut Table<'_>, key: &str) -> Option<Self> {
        table.quantity(key)
    }
}

macro_rules! quirks {
    ($($(#[doc = $doc:literal])* $name:ident: $type:ty, $whose:ident;)*) => {
        /// The switches of a stand-in. All off is the default.
        #[derive(Clone, Debug, Default, PartialEq)]
        pub struct Quirks {
            $($(#[doc = $doc])* pub $name: $type,)*
        }

        impl Quirks {
            /// Every key with whose it is.
            pub const KEYS: &[(&str, Whose)] = &[$((stringify!($name), Whose::$whose)),*];

            /// Reads `standin = { … }` of a seat; mistakes are noted in the table.
            pub fn read(seat: &mut Table<'_>, role: Role) -> Self {
                let mut made = Self::default();
                let Some(mut table) = seat.table("standin") else { return made };
                $(if Whose::$whose.is(role) && let Some(value) = <$type as Switch>::read(&mut table, stringify!($name)) {
                    made.$name = value;
                })*
                table.finish();
                made
            }
        }
    };
}

quirks! {
    /// It misses what comes before its gap has passed.
    misses_early: bool, Either;
    /// The gap that it really needs, where that is not its profile's.
    gap: Option<Seconds>, Either;
    /// It falls silent after so many messages.
    silent_after: Option<u64>, Either;
    /// It hangs up after so many messages.
    hangs_up_after: Option<u64>, Either;
    /// It takes this much longer for everything.
    slower: Seconds, Either;
    /// The answer to which message comes late, counted from 1.
    late_at: Option<u64>, Either;
    /// By how much.
    late_by: Seconds, Either;
    /// What ends its answers.
    answers_end: Option<String>, Either;
    /// How many bytes of a message it takes; what is beyond is cut off.
    takes_at_most: Option<u64>, Either;
    /// What it says when it has started.
    boot_text: Option<String>, Either;
    /// How long it takes to start, from when it is connected; until then it hears nothing.
    boot_takes: Seconds, Either;
    /// Messages and answers carry a checksum, whatever its profile says; what has none is not heard.
    checksum: bool, Either;
    /// In every so many answers one bit is another.
    corrupts_every: Option<u64>, Either;
    /// Of several commands in a message it carries out the first alone.
    one_command: bool, Either;
    /// It hears nothing but garbage when speed, stop bits or handshake of its serial terminal
    /// are not those of its profile.
    minds_line: bool, Either;
    /// Every so many messages that set something one is lost, without a word.
    loses_every: Option<u64>, Either;
    /// It hangs when a message comes before the last is answered.
    hangs_when_hurried: bool, Either;
    /// It hangs when it is reset.
    hangs_on_reset: bool, Either;
    /// How long a reset takes; it says nothing meanwhile.
    reset_takes: Seconds, Either;
    /// A new message before the answer to the last throws that answer away.
    interrupts: bool, Either;
    /// It refuses a second client.
    one_client: bool, Either;
    /// It obeys nothing until it is told to be under remote control.
    needs_remote: bool, Either;
    /// It goes back to its front panel after this time, and obeys nothing then.
    falls_to_local_after: Option<Seconds>, Either;
    /// Somebody else holds its lock: what sets something is refused.
    locked: bool, Either;
    /// So many errors of somebody else wait in its queue.
    errors_before: u32, Either;
    /// Who it says it is.
    identity: Option<String>, Either;
    /// Its numbers have a decimal comma.
    decimal_comma: bool, Either;
    /// A text behind every number.
    unit_in_answers: Option<String>, Either;
    /// It sends its last answer again and again, this often, asked or not.
    repeats_itself: Option<Seconds>, Either;
    /// Its selected channel goes back to 1 after every message that sets something.
    forgets_channel: bool, Supply;
    /// How its first two channels are coupled.
    coupling: Coupling, Supply;
    /// Settings end up smaller than what was sent by this share, without a word.
    sets_less: Ratio, Supply;
    /// The step in which it really sets the voltage.
    voltage_step: Option<Volts>, Supply;
    /// On is off and off is on, in commands and answers.
    inverted: bool, Supply;
    /// How many times "off" is not obeyed.
    ignores_off: u32, Supply;
    /// What it does when its mains come back.
    power_on: PowerOn, Supply;
    /// Its mains dip after this time: it restarts.
    mains_dip_after: Option<Seconds>, Supply;
    /// Its protection never trips.
    never_trips: bool, Supply;
    /// Its protection trips once, when the output has been on for this long.
    trips_after: Option<Seconds>, Supply;
    /// Clearing a trip gives the output back.
    clearing_restores: bool, Supply;
    /// A protection level below the set voltage is refused, and a voltage above the level.
    trip_above_set: bool, Supply;
    /// When its timer has gone off, nothing goes on again until that is cleared.
    timer_latches: bool, Supply;
    /// Constant voltage and constant current have changed places in its answers.
    mode_swapped: bool, Supply;
    /// It never says that it limits.
    hides_limiting: bool, Supply;
    /// Time of one conversion; voltage and current have one after the other.
    conversion: Option<Seconds>, Supply;
    /// How often its read-backs are new; in between they are repeated.
    updates_every: Option<Seconds>, Supply;
    /// Its read-backs stay what they were.
    stuck: bool, Supply;
    /// Its read-backs have no point.
    packed_digits: bool, Supply;
    /// Hands at its front panel, in the order of their times.
    panel: Vec<AtPanel>, Supply;
    /// It senses through leads of their own.
    remote_sense: bool, Supply;
    /// One of its sense leads is open: its output is higher by this share.
    sense_lead_open: Ratio, Supply;
    /// How old what it sends unasked is, where that is not what its profile says.
    stream_lag: Option<Seconds>, Meter;
    /// It shows overload, whatever it measures.
    overloaded: bool, Meter;
    /// Its answers are those of the measurement before.
    answers_old: bool, Meter;
    /// Its lead is in a jack that leads nowhere.
    wrong_jack: bool, Meter;
    /// What the mains put on top of what it measures.
    hum: Option<Hum>, Meter;
    /// What it takes the mains for; its line cycles are theirs.
    line: Option<Hertz>, Meter;
    /// It chooses its range by itself.
    auto_range: Option<AutoRange>, Meter;
    /// Its zero.
    zero: Zero, Meter;
    /// Its input.
    input: MeterInput, Meter;
    /// Its noise (rms) over an integration of 20 ms, as a share of the range.
    noise: Ratio, Meter;
    /// It shows a digit less for each tenth of a line cycle.
    fewer_digits: bool, Meter;
    /// It measures all the time: an answer is what was measured last.
    free_running: bool, Meter;
    /// How many readings it keeps; full, it stops.
    memory: Memory, Meter;
    /// Hands at its keys and leads.
    hands: Vec<Hand>, Meter;
}
