//! The keys of a meter.

use super::Is::{Amount, Quantity, Table, Tables, Text, Texts};
use super::Unless::{Is, Needed, So};
use super::common::{ACCURACY, REPLY};
use super::{Key, Section, key};
use crate::units::Unit;

pub(super) static METER: Section = Section {
    title: "a meter",
    about: "One function, one fixed range and one rate at a time. Never auto-range: a range that changes disturbs the node.",
    like: None,
    keys: &[
        key("rate", Texts, So("none"), &[26], "messages that set the rate, after the function"),
        key("rates", Tables(&RATE), Needed, &[26], "the rates"),
        key(
            "overload",
            Texts,
            So("the special numbers of SCPI alone"),
            &[31],
            "answers that mean overload, beside the special numbers of SCPI",
        ),
        key(
            "stream",
            Table(&STREAM),
            So("it speaks when it is asked"),
            &[30],
            "it sends its readings unasked, and is asked nothing",
        ),
        key("current", Table(&CURRENT), So("it measures none"), &[36], "current"),
        key("voltage", Table(&VOLTAGE), So("it measures none"), &[36], "voltage"),
    ],
};

static STREAM: Section = Section {
    title: "stream",
    about: "A reading is then the first whole line that begins to be measured after it is wanted; what came before is thrown away. \
            Such a profile has `[identity] ask = \"\"` and no `read`.",
    like: None,
    keys: &[key("flush", Quantity(Unit::Second), Is("0 s"), &[30], "how old what it sends may be, beside its integration time")],
};

static RATE: Section = Section {
    title: "a rate",
    about: "",
    like: None,
    keys: &[
        key("integration", Quantity(Unit::Second), Needed, &[26], "time over which it integrates"),
        key("period", Quantity(Unit::Second), So("as `integration`"), &[26, 25], "shortest time from one reading to the next"),
        key("send", Text, So("nothing"), &[26], "what `{rate}` becomes"),
    ],
};

static CURRENT: Section =
    Section { title: "a function: current", about: FUNCTION, like: None, keys: &of(Tables(&CURRENT_RANGE)) };

static VOLTAGE: Section =
    Section { title: "a function: voltage", about: FUNCTION, like: None, keys: &of(Tables(&VOLTAGE_RANGE)) };

const FUNCTION: &str = "`read` must be a question that keeps the settings. One that measures anew with defaults (`MEAS…?` on many \
                        meters) throws range and rate away: there `{range}` may stand in `read`, too.";

const fn of(ranges: super::Is) -> [Key; 7] {
    [
        key("function", Text, So("nothing"), &[26], "what `{function}` becomes in `rate`"),
        key("configure", Texts, So("none: it is for a hand"), &[27, 36], "messages that choose function and range"),
        key("range_ask", Text, So("it cannot be verified"), &[27, 36], "asks for the range"),
        key("trigger", Text, So("none"), &[28], "a message before `read` that starts a measurement"),
        key(
            "read",
            Text,
            So("of a meter that does not stream it must be given"),
            &[27, 28, 29],
            "asks for a fresh reading with the settings kept",
        ),
        key("reply", Table(&REPLY), So("a plain number"), &[31, 32, 33], "how it stands in the answer"),
        key("ranges", ranges, Needed, &[36], "its ranges"),
    ]
}

const fn ranges(inside: Key) -> [Key; 8] {
    [
        key("full", Amount, Needed, &[36], "largest value"),
        key("send", Text, So("`full` as a number"), &[36], "what `{range}` becomes"),
        inside,
        key("fuse", Quantity(Unit::Ampere), So("none"), &[36, 37], "rating of the fuse in its path"),
        key(
            "terminal",
            Text,
            So("any"),
            &[37],
            "the terminal that the lead must be in; a plan that needs another than the bench file names is refused",
        ),
        key("accuracy", Table(&ACCURACY), Needed, &[], "from the data sheet"),
        key("resolution", Amount, Needed, &[26], "smallest step"),
        key(
            "floor",
            Amount,
            So("the larger of the accuracy at zero and resolution"),
            &[],
            "below it nothing can be told from zero",
        ),
    ]
}

static CURRENT_RANGE: Section = Section {
    title: "a range of current",
    about: "",
    like: None,
    keys: &ranges(key("shunt", Quantity(Unit::Ohm), Needed, &[36], "resistance between the terminals")),
};

static VOLTAGE_RANGE: Section = Section {
    title: "a range of voltage",
    about: "",
    like: None,
    keys: &ranges(key("input", Quantity(Unit::Ohm), Needed, &[36], "input resistance")),
};
