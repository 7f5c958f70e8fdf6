//! The keys of a supply.

use super::Is::{Amount, Count, Flag, Quantity, Table, Text, Texts, Word};
use super::Unless::{Is, Needed, So};
use super::common::{ACCURACY, REPLY, SETTING};
use super::{Section, key};
use crate::units::Unit;

pub(super) static SUPPLY: Section = Section {
    title: "a supply",
    about: "Every message that concerns a channel has `{channel}` in it, unless `[select]` chooses it or there is one only.",
    like: None,
    keys: &[
        key("rated", Table(&RATED), Needed, &[5], "what a channel gives at most"),
        key("channels", Count(1, 64), Is("1"), &[1, 2, 3, 4], "how many"),
        key(
            "both",
            Text,
            So("each has its own"),
            &[8],
            "sets voltage and limit at once, with `{voltage}` and `{current}`; used in place of the two",
        ),
        key("voltage", Table(&SETTING), Needed, &[8, 9], "the voltage"),
        key("current", Table(&SETTING), Needed, &[8, 9], "the current limit; it is set before the voltage"),
        key("output", Table(&OUTPUT), Needed, &[10, 11, 12], "the output switch"),
        key(
            "mode",
            Table(&MODE),
            So("limiting is not told"),
            &[20, 21, 22, 23],
            "how it tells constant voltage from constant current",
        ),
        key("over_voltage", Table(&OVER), So("it has none"), &[14, 15, 16, 18], "over-voltage protection"),
        key("over_current", Table(&OVER), So("it has none"), &[14, 15, 16, 17], "over-current protection"),
        key(
            "coupling",
            Table(&CONDITION),
            So("asked of a person, where it has several channels"),
            &[7],
            "that its channels are not coupled",
        ),
        key("power_on", Table(&CONDITION), So("asked of a person"), &[13], "that its output stays off when its mains come back"),
        key("sense", Table(&SENSE), So("asked of a person"), &[62], "where it senses the voltage"),
        key("watchdog", Table(&WATCHDOG), So("it has none"), &[19], "its own timer, which switches off when nobody speaks to it"),
        key("measured", Table(&MEASURED), Needed, &[24, 25], "what it reads back"),
    ],
};

static RATED: Section = Section {
    title: "rated",
    about: "",
    like: None,
    keys: &[
        key("voltage", Quantity(Unit::Volt), Needed, &[5], "most volts of a channel"),
        key("current", Quantity(Unit::Ampere), Needed, &[5], "most amperes of a channel"),
        key("power", Quantity(Unit::Watt), Needed, &[5], "most watts of a channel"),
    ],
};

static OUTPUT: Section = Section {
    title: "output",
    about: "",
    like: None,
    keys: &[
        key("on", Text, Needed, &[10, 11], "switches on, whatever it is called and whichever sense it has"),
        key("off", Text, Needed, &[10, 11], "switches off"),
        key("all_off", Text, So("none"), &[10], "switches every output off at once"),
        key("ask", Text, So("the current alone tells"), &[10], "asks for its state"),
        key("reads_on", Texts, So("`[\"1\", \"ON\"]`"), &[10, 11], "answers that mean on"),
        key("reads_off", Texts, So("`[\"0\", \"OFF\"]`"), &[10, 11], "answers that mean off"),
        key("off_is", Word(&["open", "bleeder", "zero volts"]), Is("open"), &[12], "what off is, electrically"),
        key("bleeder", Quantity(Unit::Ohm), So("of a bleeder it must be given"), &[12], "the bleeder's resistance"),
        key("fall", Quantity(Unit::Second), Is("50 ms"), &[12], "how long the output takes to fall by itself"),
    ],
};

static MODE: Section = Section {
    title: "mode",
    about: "Either words (or numbers, compared by value) or bits.",
    like: None,
    keys: &[
        key("ask", Text, Needed, &[20, 23], "asks for it; where the supply has both, for the condition, not the latched event"),
        key("bits", Table(&BITS), So("words"), &[23], "bits of a register"),
        key("voltage", Texts, So("bits"), &[20, 21, 22], "answers that mean constant voltage"),
        key("current", Texts, So("bits"), &[20, 21, 22], "answers that mean constant current"),
        key("fault", Texts, So("none"), &[20, 21, 22], "answers that mean neither is held"),
    ],
};

static BITS: Section = Section {
    title: "bits",
    about: "Counted from 0, the lowest. Neither: off; both: out of regulation.",
    like: None,
    keys: &[
        key("voltage", Count(0, 31), Needed, &[23], "set in constant voltage"),
        key("current", Count(0, 31), Needed, &[23], "set in constant current"),
    ],
};

static OVER: Section = Section {
    title: "a protection",
    about: "After a trip the output is switched off and its voltage set to zero before anything is cleared, whatever \
            `clear_restores` says.",
    like: Some(&SETTING),
    keys: &[
        key("set", Text, So("the set-point itself is the level"), &[14], "sets its level; `{value}` is the number"),
        key("resolution", Amount, So("with `set` it must be given"), &[14], "smallest step of the level"),
        key("delay", Table(&DELAY), So("it cannot be set"), &[17], "how long its cause may last"),
        key("enable", Texts, So("always enabled"), &[14], "messages that enable it, after level and delay"),
        key("tripped", Table(&TRIPPED), So("it cannot be asked"), &[15], "whether it has tripped"),
        key("clear", Text, So("none"), &[16], "clears a trip"),
        key("clear_restores", Flag, Is("false"), &[16], "clearing gives the output back"),
    ],
};

static TRIPPED: Section = Section {
    title: "tripped",
    about: "",
    like: None,
    keys: &[
        key("ask", Text, Needed, &[15], "asks whether it has tripped"),
        key("yes", Texts, Is("1"), &[15], "answers that mean yes"),
    ],
};

static DELAY: Section = Section {
    title: "a delay",
    about: "In seconds.",
    like: Some(&SETTING),
    keys: &[key("longest", Quantity(Unit::Second), Needed, &[17, 19], "the longest that can be set")],
};

static CONDITION: Section = Section {
    title: "a condition",
    about: "",
    like: None,
    keys: &[
        key("ask", Text, Needed, &[7, 13], "asks how it is"),
        key("good", Texts, Needed, &[7, 13], "answers that are good"),
        key("set", Text, So("it is for a hand"), &[7, 13], "makes it so"),
    ],
};

static SENSE: Section = Section {
    title: "sense",
    about: "",
    like: None,
    keys: &[
        key("ask", Text, Needed, &[62], "asks where it senses"),
        key("local", Texts, Needed, &[62], "answers that mean: at its own terminals"),
        key("remote", Texts, Needed, &[62], "answers that mean: through leads of their own"),
    ],
};

static WATCHDOG: Section = Section {
    title: "watchdog",
    about: "In seconds. Armed while the output is on, at twice the plan's `no_reading`.",
    like: Some(&SETTING),
    keys: &[
        key("longest", Quantity(Unit::Second), Needed, &[19], "the longest that can be set"),
        key("enable", Texts, So("none"), &[19], "messages that arm it, after the time is set"),
        key("disable", Texts, Needed, &[19], "messages that disarm it"),
        key("clear", Text, So("it does not latch"), &[19], "clears it once it has gone off"),
    ],
};

static MEASURED: Section = Section {
    title: "measured",
    about: "",
    like: None,
    keys: &[
        key("voltage", Table(&READBACK), Needed, &[24], "the voltage at its terminals"),
        key("current", Table(&READBACK), Needed, &[24], "the current; where both have the same question it is asked once"),
    ],
};

static READBACK: Section = Section {
    title: "a read-back",
    about: "",
    like: None,
    keys: &[
        key("ask", Text, Needed, &[24], "asks for it"),
        key("reply", Table(&REPLY), So("a plain number"), &[31, 32, 33], "how it stands in the answer"),
        key("accuracy", Table(&ACCURACY), Needed, &[], "from the data sheet"),
        key("resolution", Amount, Needed, &[25], "smallest step"),
        key("floor", Amount, So("the larger of offset and resolution"), &[], "below it nothing can be told from zero"),
    ],
};
