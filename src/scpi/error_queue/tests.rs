//! CHECKS 1.5.

use super::*;

#[test]
fn the_standard_reply_is_read_and_written() {
    // SCPI-99 volume 2, 21.8; CHECKS 1.5 row 1
    let report = ErrorReport::parse(b"-222,\"Data out of range\"\n").unwrap();
    assert_eq!(report, ErrorReport { code: -222, text: "Data out of range".into() });
    assert_eq!(report, ErrorReport::standard(-222));
    assert_eq!(report.emit(), b"-222,\"Data out of range\"");
    assert!(!report.is_none());
    assert_eq!(ErrorReport::standard(0).emit(), b"0,\"No error\"");
}

#[test]
fn the_variants_that_are_met_all_mean_no_error() {
    // CHECKS 1.5 row 2 (a TRAP: +0, -000, missing quotes, another text)
    for reply in [
        "0,\"No error\"",
        "+0,\"No error\"",
        "-000,\"No error\"",
        "+000, \"No Error\"",
        "0,No error",
        "0,'no errors'",
        "0",
        "0,",
        "0,\"\"",
        "0 \"No error\"",
        "0 No error",
        "0\"No error\"",
        " 0 , \"No error\" \r\n",
    ] {
        let report = ErrorReport::parse(reply.as_bytes()).unwrap_or_else(|e| panic!("{reply}: {e}"));
        assert!(report.is_none(), "{reply}");
        assert_eq!(report.class(), None);
    }
}

#[test]
fn the_text_survives_missing_quotes_commas_and_additions() {
    let text = |reply: &str| ErrorReport::parse(reply.as_bytes()).unwrap().text;
    assert_eq!(text("-113,\"Undefined header;VOLTA 5, CURR\""), "Undefined header;VOLTA 5, CURR");
    assert_eq!(text("-113,Undefined header, near VOLTA"), "Undefined header, near VOLTA");
    assert_eq!(text("-113,\"Undefined header"), "Undefined header");
    assert_eq!(text("-113,Undefined header\""), "Undefined header");
    assert_eq!(text("-151,\"a \"\"quote\"\"\""), "a \"quote\"");
    assert_eq!(text("-113"), "");
}

#[test]
fn a_reply_without_a_code_is_no_report_and_not_no_error() {
    for reply in
        ["", "No error", "E04", "\"No error\"", "0.0,\"x\"", "0V", "1E3,\"x\"", "9.91E37", "99999999999,\"x\"", "-", "OK"]
    {
        assert!(ErrorReport::parse(reply.as_bytes()).is_err(), "{reply}");
    }
    let long = ErrorReport::parse(&[b'x'; 1000]).unwrap_err();
    assert_eq!(long.reply.len(), 80);
}

#[test]
fn classes_set_their_event_bit() {
    // CHECKS 1.5 row 5; from -500 on from memory
    let weights = [-100, -199, -200, -299, -300, 1, 32767, -400, -499, -500, -600, -700, -800]
        .map(|code| ErrorClass::of(code).unwrap().bit().0);
    assert_eq!(weights, [32, 32, 16, 16, 8, 8, 8, 4, 4, 128, 64, 2, 1]);
    for code in [0, -1, -99, -900, i32::MIN] {
        assert_eq!(ErrorClass::of(code), None, "{code}");
    }
}

#[test]
fn the_table_is_in_order_and_complete() {
    // CHECKS 1.5 rows 7 to 10
    let codes: Vec<i32> = codes::TABLE.iter().map(|(code, _)| *code).collect();
    assert!(codes.windows(2).all(|pair| pair[0] > pair[1]), "falling, each once");
    for row in [
        &[-100, -101, -102, -103, -104, -105, -108, -109, -110, -111, -112, -113, -114, -115, -120, -121, -123][..],
        &[-124, -128, -130, -131, -134, -138, -140, -141, -144, -148, -150, -151, -158, -160, -161, -168],
        &[-170, -171, -178, -200, -201, -203, -210, -211, -212, -213, -214, -220, -221, -222, -223, -224, -225],
        &[-230, -231, -240, -241, -300, -310, -311, -313, -314, -315, -330, -340, -350, -360, -361, -362, -363],
        &[-365, -400, -410, -420, -430, -440],
    ]
    .concat()
    {
        assert!(codes.contains(&row), "{row}");
    }
    let texts = [-113, -222, -350, -440, -363].map(|code| codes::text(code).unwrap());
    assert_eq!(
        texts,
        [
            "Undefined header",
            "Data out of range",
            "Queue overflow",
            "Query UNTERMINATED after indefinite response",
            "Input buffer overrun"
        ]
    );
    assert_eq!(codes::text(-999), None);
}

#[test]
fn codes_that_the_standard_lacks_get_their_class_text() {
    let texts = [-199, -232, 42, -50].map(|code| ErrorReport::standard(code).text);
    assert_eq!(texts, ["Command error", "Execution error", "Device-specific error", "Error"]);
}

#[test]
fn the_text_is_cut_at_255_characters() {
    // CHECKS 1.5 row 6 (from memory)
    let report = ErrorReport::with_detail(-222, &"x".repeat(400));
    assert_eq!(report.text.len(), 255);
    assert!(report.text.starts_with("Data out of range;xxx"));
    let long = ErrorReport { code: 7, text: "y".repeat(400) };
    assert_eq!(long.emit().len(), "7,\"\"".len() + 255);
}

#[test]
fn an_overflow_replaces_the_newest_and_keeps_the_oldest() {
    // CHECKS 1.5 rows 3 and 4 (a TRAP): depths of 10 and 30 are met
    for depth in [10, 30] {
        let mut queue = ErrorQueue::new(depth);
        for code in 1..=(depth as i32 + 5) {
            queue.push(ErrorReport::standard(code));
        }
        assert_eq!(queue.len(), depth);
        let codes: Vec<i32> = (0..depth).map(|_| queue.pop().code).collect();
        let expected: Vec<i32> = (1..depth as i32).chain([-350]).collect();
        assert_eq!(codes, expected);
        assert!(queue.is_empty() && queue.pop().is_none());
    }
    let mut queue = ErrorQueue::new(0);
    queue.push(ErrorReport::standard(-113));
    queue.push(ErrorReport::standard(-113));
    assert_eq!(queue.pop().code, -350);
    queue.push(ErrorReport::standard(-113));
    queue.clear();
    assert!(queue.is_empty());
}
