//! The keys that supplies and meters have alike.

use super::Is::{Amount, Count, Flag, Quantity, Table, Text, Texts, Word};
use super::Unless::{Is, Needed, So};
use super::{Key, Section, key, meter, supply};
use crate::units::Unit;

pub(super) const ROOT: &[Key] = &[
    key("kind", Word(&["supply", "meter"]), Needed, &[], "what it is"),
    key("about", Text, Needed, &[], "one sentence about the dialect"),
    key("remote", Texts, So("none"), &[56], "messages that take it under remote control"),
    key("local", Texts, So("none"), &[57], "messages that give it back to its front panel"),
    key("identity", Table(&IDENTITY), So("`*IDN?`, any answer"), &[61], "who it is"),
    key("errors", Table(&ERRORS), So("no error queue"), &[58], "how it tells of errors"),
    key("lock", Table(&LOCK), So("it has none"), &[53], "a lock that is asked for"),
    key(
        "select",
        Table(&SELECT),
        So("the channel stands in each message, or there is one only"),
        &[2, 6],
        "how a channel is chosen",
    ),
    key(
        "reset",
        Table(&RESET),
        So("none is sent, which is better: a reset changes more than one thinks"),
        &[54, 60],
        "a reset on opening",
    ),
    key("numbers", Table(&NUMBERS), So("as in SCPI"), &[35], "how numbers are written in its answers"),
    key("wire", Table(&WIRE), Needed, &[], "how messages travel"),
    key("supply", Table(&supply::SUPPLY), So("of a supply it must be given"), &[], "what a supply does"),
    key("meter", Table(&meter::METER), So("of a meter it must be given"), &[], "what a meter does"),
];

static IDENTITY: Section = Section {
    title: "identity",
    about: "",
    like: None,
    keys: &[
        key("ask", Text, Is("*IDN?"), &[61], "asks who it is; `\"\"`: it cannot be asked"),
        key("match", Texts, So("any"), &[61], "patterns of which the answer must fit one, firmware included where that matters"),
        key("serial_field", Count(1, 20), Is("3"), &[61], "which comma field of the answer is the serial number"),
    ],
};

static ERRORS: Section = Section {
    title: "errors",
    about: "",
    like: None,
    keys: &[
        key(
            "ask",
            Text,
            So("no queue: writes are checked by reading back alone"),
            &[58, 59],
            "asks for the oldest entry of the error queue",
        ),
        key("depth", Count(1, 1000), Is("20"), &[58], "how many entries the queue holds"),
        key("in_band", Texts, So("none"), &[40], "patterns of error texts that come in place of an answer"),
    ],
};

static LOCK: Section = Section {
    title: "lock",
    about: "Asked for when a conversation begins, and let go of at its end.",
    like: None,
    keys: &[
        key("ask", Text, Needed, &[53], "asks for the lock"),
        key("granted", Texts, Is("1"), &[53], "answers that mean: it is yours"),
        key("release", Text, So("it goes with the connection"), &[53], "lets go of it"),
        key("required", Flag, Is("true"), &[53], "without the lock nothing is done; `false`: it is tried without"),
    ],
};

static SELECT: Section = Section {
    title: "select",
    about: "",
    like: None,
    keys: &[
        key("send", Text, Needed, &[2, 6], "chooses a channel; sent before every message that concerns one"),
        key("ask", Text, So("not verified"), &[2, 6], "asks which is chosen"),
    ],
};

static RESET: Section = Section {
    title: "reset",
    about: "",
    like: None,
    keys: &[
        key("send", Text, Needed, &[60], "the message"),
        key("settle", Quantity(Unit::Second), Needed, &[60], "how long it takes"),
    ],
};

static NUMBERS: Section = Section {
    title: "numbers",
    about: "Read strictly: a number that is written in another way is no number.",
    like: None,
    keys: &[
        key("decimal", Word(&[".", ","]), Is("."), &[35], "what stands before the decimals"),
        key(
            "group",
            Word(&["none", ",", ".", "'", " "]),
            Is("none"),
            &[35],
            "what stands between groups of three digits; it may be left out of a whole number, and never stands elsewhere",
        ),
        key("fields", Word(&[",", ";"]), Is(","), &[33, 35], "what stands between the fields of an answer"),
    ],
};

static WIRE: Section = Section {
    title: "wire",
    about: "",
    like: None,
    keys: &[
        key("send_end", Text, Needed, &[38], "ends what is sent"),
        key("receive_end", Text, Needed, &[38], "ends an answer; `\"\"`: a silence does"),
        key("silence", Quantity(Unit::Second), Is("50 ms"), &[38], "the silence that ends an answer"),
        key("gap", Quantity(Unit::Second), Is("0 s"), &[44, 54], "shortest pause between messages"),
        key("write_gap", Quantity(Unit::Second), So("as `gap`"), &[44], "shortest pause after a message that sets something"),
        key("timeout", Quantity(Unit::Second), Is("1 s"), &[42, 55], "how long an answer may take"),
        key("echo", Flag, Is("false"), &[50], "every message is echoed before its answer"),
        key("prompt", Text, So("none"), &[50], "text that ends every exchange"),
        key(
            "acknowledge",
            Text,
            So("none"),
            &[39, 41],
            "line that acknowledges what sets something, and follows the data of a query",
        ),
        key(
            "join",
            Text,
            So("every message goes alone"),
            &[45],
            "what stands between several commands in one message, as `\";:\"`; a colon at its end is left out before a command that begins with `:` or `*`",
        ),
        key(
            "queries",
            Count(1, 20),
            Is("1"),
            &[45],
            "how many questions one message may hold; the answers stand between semicolons",
        ),
        key("longest", Count(4, 65536), So("no bound"), &[45], "how many bytes a message may have, without its end"),
        key("boot", Table(&BOOT), So("it hears at once"), &[49], "an interface that starts when it is opened"),
        key("checksum", Table(&CHECKSUM), So("none"), &[51], "a checksum behind messages and answers"),
        key("line", Table(&LINE), So("as below"), &[46, 47, 48], "settings of a serial line"),
    ],
};

static BOOT: Section = Section {
    title: "boot",
    about: "What comes meanwhile is thrown away.",
    like: None,
    keys: &[
        key("wait", Quantity(Unit::Second), Needed, &[49], "how long it hears nothing after it was opened"),
        key("ready", Text, So("all of `wait` is waited for"), &[49], "pattern of a line that says that it hears from now on"),
    ],
};

static CHECKSUM: Section = Section {
    title: "checksum",
    about: "A line whose checksum is missing or wrong is garbled, and asked for again by the next question.",
    like: None,
    keys: &[
        key(
            "kind",
            Word(&["sum", "xor", "crc-16"]),
            Needed,
            &[51],
            "of all bytes before it: their sum modulo 256, or their exclusive or, as two hexadecimal digits; or CRC-16 as in Modbus, as four",
        ),
        key("before", Text, Is("*"), &[51], "what stands between the text and its checksum; it is not counted in"),
    ],
};

const LEVELS: super::Is = Word(&["high", "low", "leave"]);

pub(super) static LINE: Section = Section {
    title: "line",
    about: "",
    like: None,
    keys: &[
        key("baud", Count(300, 4_000_000), Is("9600"), &[46], "bits per second"),
        key("data_bits", Count(7, 8), Is("8"), &[46], "data bits"),
        key("parity", Word(&["none", "even", "odd"]), Is("none"), &[46], "parity"),
        key("stop_bits", Count(1, 2), Is("1"), &[46], "stop bits"),
        key("flow", Word(&["none", "software", "hardware"]), Is("none"), &[47], "handshake: XON and XOFF, or RTS and CTS"),
        key("dtr", LEVELS, Is("leave"), &[48, 49], "level of DTR from opening on"),
        key("rts", LEVELS, Is("leave"), &[48], "level of RTS from opening on"),
    ],
};

pub(super) static REPLY: Section = Section {
    title: "a reply",
    about: "How a value stands in an answer. Strict: what is not so is garbled, and garbled is no number.",
    like: None,
    keys: &[
        key(
            "field",
            Count(1, 100),
            So("the answer is one field, and a field separator in it makes it garbled"),
            &[33],
            "which field, from 1",
        ),
        key("prefix", Text, So("none"), &[33], "text that must stand before the value"),
        key(
            "unit",
            Word(&["none", "checked"]),
            Is("none"),
            &[32],
            "`\"checked\"`: a unit may follow; it must be the right one, and its prefix counts",
        ),
        key("scale", Amount, So("the value is in volts, amperes, seconds"), &[33, 34], "what one of the number is worth"),
        key("digits", Count(1, 12), So("a number as SCPI writes it"), &[34], "the value is so many digits without a point"),
        key("at", Count(1, 100), Is("1"), &[34], "with `digits`: at which character of the answer they begin"),
        key(
            "width",
            Count(1, 200),
            So("the digits end the answer"),
            &[34],
            "with `digits`: how many digits the whole answer has",
        ),
    ],
};

pub(super) static SETTING: Section = Section {
    title: "a setting",
    about: "",
    like: None,
    keys: &[
        key("set", Text, Needed, &[8, 14], "sets it; `{value}` is the number"),
        key("ask", Text, So("it cannot be verified"), &[41], "asks for what is set"),
        key("resolution", Amount, Needed, &[9], "smallest step"),
        key(
            "accuracy",
            Table(&ACCURACY),
            So("nothing is said of it, and a stand-in is exact"),
            &[],
            "how near what it really comes to is; a stand-in is off by some of it",
        ),
        key("out_of_range", Word(&["refuses", "clips"]), Is("refuses"), &[9], "what it does with a value that it cannot set"),
        key("send_scale", Amount, So("volts, amperes, seconds"), &[34, 17], "what one of `{value}` is worth"),
        key("send_digits", Count(1, 12), So("a decimal number"), &[34], "`{value}` is so many digits without a point"),
        key("reply", Table(&REPLY), So("a plain number"), &[32, 33], "how it stands in the answer"),
    ],
};

pub(super) static ACCURACY: Section = Section {
    title: "accuracy",
    about: "A share of the reading, a share of the range and an amount, added. From the data sheet.",
    like: None,
    keys: &[
        key("reading", Quantity(Unit::Percent), Is("0 %"), &[], "share of the reading"),
        key("range", Quantity(Unit::Percent), Is("0 %"), &[], "share of the range"),
        key("offset", Amount, So("nothing"), &[], "an amount"),
        key("digits", Count(0, 10_000), Is("0"), &[], "so many steps of `resolution`"),
        key(
            "stated",
            Word(&["limits", "95 %", "99 %"]),
            Is("limits"),
            &[],
            "what the maker means by it: limits that are never passed, or a share of a normal distribution",
        ),
    ],
};
