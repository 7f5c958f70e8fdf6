//! SCPI-99 volume 1, 6.2; CHECKS 1.2 row 18.

use super::*;

fn pattern(text: &str) -> Pattern {
    Pattern::new(text).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn only_the_exact_long_and_the_exact_short_form_match() {
    // CHECKS 1.2 row 18: :SYSTe:PRESe is an error
    let preset = pattern(":SYSTem:PRESet");
    for header in [":SYSTem:PRESet", "SYST:PRES", "syst:preset", ":System:Pres"] {
        assert_eq!(preset.matches(header), Some(vec![]), "{header}");
    }
    for header in [":SYSTe:PRESe", "SYS:PRES", "SYSTEMS:PRES", "SYST:PRES?", "SYST", "SYST:PRES:X", "", ":", "SYST::PRES"] {
        assert_eq!(preset.matches(header), None, "{header}");
    }
}

#[test]
fn nodes_in_brackets_may_be_left_out() {
    let volts = pattern("[:SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]");
    for header in ["VOLT", "SOUR:VOLT", "VOLT:LEV", "VOLT:IMM:AMPL", "VOLT:AMPL", ":SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE"] {
        assert_eq!(volts.matches(header), Some(vec![]), "{header}");
    }
    for header in ["SOUR", "VOLT:SOUR", "VOLT:AMPL:LEV", "VOLT:PROT", "SOUR:SOUR:VOLT"] {
        assert_eq!(volts.matches(header), None, "{header}");
    }
    assert_eq!(volts.short(&[]), "VOLT");
    assert_eq!(volts.long(&[]), "SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE");
    // as CHECKS 1.6 row 2 prints it
    assert_eq!(pattern("[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]"), volts);
}

#[test]
fn a_question_mark_makes_the_query() {
    let query = pattern("MEASure[:SCALar]:VOLTage[:DC]?");
    assert!(query.is_query());
    assert_eq!(query.matches("MEAS:VOLT:DC?"), Some(vec![]));
    assert_eq!(query.matches("MEAS:VOLT"), None);
    assert_eq!(query.short(&[]), "MEAS:VOLT?");
    assert_eq!(query.matches_path("MEAS:VOLT"), Some(vec![]));
}

#[test]
fn numeric_suffixes_are_extracted_and_one_where_left_out() {
    // SCPI-99 6.2.5.2 (from memory): a suffix left out is 1
    let output = pattern("OUTPut#[:STATe]");
    let found = ["OUTP", "OUTP2", "OUTPUT12:STAT", "OUTP0", "OUTP007"].map(|header| output.matches(header).unwrap());
    assert_eq!(found, [[1], [2], [12], [0], [7]]);
    for header in ["OUTPU2", "OUT2", "OUTP2A", "OUTP-1", "OUTP1234567890", "OUTP:STAT2"] {
        assert_eq!(output.matches(header), None, "{header}");
    }
    assert_eq!(pattern("OUTPut<n>[:STATe]"), output);
    assert_eq!((output.short(&[3]), output.short(&[]), output.short(&[1])), ("OUTP3".into(), "OUTP".into(), "OUTP".into()));
    assert_eq!(output.long(&[3]), "OUTPUT3:STATE");
    // not where the pattern has none
    assert_eq!(pattern("OUTPut").matches("OUTP1"), None);
}

#[test]
fn an_optional_node_is_written_when_its_suffix_says_something() {
    let volts = pattern("[:SOURce#]:VOLTage#");
    assert_eq!((volts.short(&[1, 2]), volts.short(&[2])), ("VOLT2".into(), "SOUR2:VOLT".into()));
    assert_eq!(volts.matches("VOLT2"), Some(vec![1, 2]));
    assert_eq!(volts.matches("SOUR2:VOLT"), Some(vec![2, 1]));
}

#[test]
fn mnemonics_may_end_in_digits_of_their_own() {
    // QUIRKS 4 and 5: named outputs
    assert_eq!(pattern("P6V").matches("p6v"), Some(vec![]));
    assert_eq!(pattern("CH1#").matches("CH12"), Some(vec![2]));
    assert_eq!(pattern("CH1#").matches("CH1"), Some(vec![1]));
}

#[test]
fn common_commands_are_patterns_too() {
    let identity = pattern("*IDN?");
    assert_eq!(identity.matches("*idn?"), Some(vec![]));
    for header in ["*IDN", "IDN?", ":*IDN?", "*ID?", "*IDNS?"] {
        assert_eq!(identity.matches(header), None, "{header}");
    }
    assert_eq!((identity.short(&[]), identity.long(&[])), ("*IDN?".into(), "*IDN?".into()));
    assert_eq!(pattern("IDN?").matches("*IDN?"), None);
}

#[test]
fn a_pattern_matches_everything_that_it_emits() {
    for text in ["[:SOURce#]:VOLTage[:LEVel]", "OUTPut#:PROTection:CLEar", "*ESR?", "[:A#][:B#]:C[:D#]?"] {
        let pattern = pattern(text);
        for suffixes in [&[][..], &[1], &[2], &[1, 3], &[4, 1], &[4, 5, 6]] {
            let (short, long) = (pattern.short(suffixes), pattern.long(suffixes));
            assert_eq!(pattern.matches(&short), pattern.matches(&long), "{short} {long}");
            assert!(pattern.matches(&short).is_some(), "{short}");
        }
    }
}

#[test]
fn what_is_no_pattern_says_why() {
    for (text, word) in [
        ("", "outside brackets"),
        ("[:SOURce]", "outside brackets"),
        ("[:SOURce:VOLTage", "not closed"),
        ("VOLTage[:LEVel:IMMediate]", "one node"),
        ("VOLTage[LEVel]", "colon is missing"),
        ("VOLTage::LEVel", "missing between two colons"),
        ("voltage", "capital letter"),
        ("VOLTagE", "capitals (the short form)"),
        ("VOLTAGEPROTECTION", "12 characters"),
        ("A:B:C:D:E:F:G:H:I:J:K", "more than 10"),
        ("VOLT-X", "capitals"),
        ("VOLTage ", ""),
        ("*", "missing"),
    ] {
        match Pattern::new(text) {
            Err(error) => assert!(error.to_string().contains(word), "{text}: {error}"),
            Ok(_) => assert!(word.is_empty(), "{text}"),
        }
    }
}

#[test]
fn many_optional_nodes_do_not_make_matching_slow() {
    let pattern = pattern("[:A][:A][:A][:A][:A][:A][:A][:A][:A]:B");
    for _ in 0..200 {
        assert_eq!(pattern.matches("A:A:A:A:A:A:A:A:C"), None);
    }
    assert_eq!(pattern.matches(&"A:".repeat(100_000)), None);
}
