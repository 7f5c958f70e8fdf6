//! The exchange of messages: queries that are interrupted or not ended, and buffers
//! that are full (IEEE 488.2 chapter 6).

use crate::client::StandIns;

/// IEEE 488.2 6.3.2.3 (from memory): a new message before the response to the last was read.
#[test]
fn an_interrupted_query_loses_its_answer() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    client.tell("*CLS");
    client.send(b"*ESE?\n*OPC?\n");
    assert_eq!(client.line(), "1");
    assert_eq!(client.ask("SYST:ERR?"), "-410,\"Query INTERRUPTED\"");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
    assert_eq!(client.ask("*ESR?"), "4");
    // Three in a row: two are lost.
    client.send(b"*ESE?\n*SRE?\n*OPC?\n");
    assert_eq!(client.line(), "1");
    assert_eq!(client.ask("SYST:ERR:COUN?"), "2");
    // A command interrupts as well, and is carried out.
    client.tell("*CLS");
    client.send(b"*ESE?\nVOLT 5,(@1)\n");
    assert_eq!(client.ask("VOLT? (@1)"), "5.000");
    assert_eq!(client.ask("SYST:ERR?"), "-410,\"Query INTERRUPTED\"");
}

#[test]
fn commands_may_be_sent_one_after_the_other() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    client.send(b"*CLS\nVOLT 5,(@1)\nCURR 0.5,(@1)\nOUTP ON,(@1)\nOUTP? (@1)\n");
    assert_eq!(client.line(), "1");
    assert_eq!(client.ask("VOLT? (@1);:CURR? (@1);:SYST:ERR?"), "5.000;0.500;0,\"No error\"");
}

#[test]
fn a_measurement_is_interrupted_too() {
    let standins = StandIns::start();
    let mut client = standins.meter();
    client.tell("*CLS;:CURR:DC:NPLC 10");
    client.send(b"READ?\n");
    client.send(b"*OPC?\n");
    assert_eq!(client.line(), "1");
    assert_eq!(client.ask("SYST:ERR?"), "-410,\"Query INTERRUPTED\"");
}

/// IEEE 488.2 6.3.2.2 (from memory): an answer is wanted, and no whole query came. On a stream that is
/// seen only when who asks says that nothing more will come.
#[test]
fn a_query_that_is_not_ended_answers_nothing() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    assert_eq!(client.ask("*CLS;*OPC?"), "1");
    client.send(b"*ESE?");
    assert_eq!(client.end(), "");
    let mut client = standins.supply();
    assert_eq!(client.ask("SYST:ERR?"), "-420,\"Query UNTERMINATED\"");
    assert_eq!(client.ask("*ESR?"), "4");
    // Whole ones are answered all the same.
    client.send(b"*OPC?\n");
    assert_eq!(client.end(), "1\n");
    // A command that is not ended is not carried out, and no error.
    let mut client = standins.supply();
    client.send(b"VOLT 9,(@1)");
    assert_eq!(client.end(), "");
    let mut client = standins.supply();
    assert_eq!(client.ask("VOLT? (@1);:SYST:ERR?"), "0.000;0,\"No error\"");
}

/// A message comes in pieces as it likes.
#[test]
fn a_message_in_pieces_is_one_message() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    for byte in b"VOLT 5,(@1);VOLT? (@1)\n" {
        client.send(&[*byte]);
    }
    assert_eq!(client.line(), "5.000");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
}

/// IEEE 488.2 10.14 (from memory) with 8.7.11: the identity ends only with its message, so nothing can
/// be asked after it (SCPI-99 21.8.12 (from memory): -440).
#[test]
fn nothing_is_asked_after_an_indefinite_response() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    client.tell("*CLS");
    assert_eq!(client.ask("*IDN?;*OPC?"), "STAND-IN,supply-channel-list,B0417,1.0");
    assert_eq!(client.ask("SYST:ERR?"), "-440,\"Query UNTERMINATED after indefinite response\"");
    assert_eq!(client.ask("*ESR?"), "4");
    // Before it, and commands after it, are well.
    assert_eq!(client.ask("*OPC?;*IDN?;*ESE 1"), "1;STAND-IN,supply-channel-list,B0417,1.0");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
}

/// SCPI-99 21.8.11 (from memory): -363. The room is 4096 bytes.
#[test]
fn more_than_there_is_room_for_is_lost_up_to_its_end() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    client.tell("*CLS");
    client.send(&[b'A'; 10_000]);
    client.send(b";*OPC?\n");
    assert_eq!(client.ask("SYST:ERR?"), "-363,\"Input buffer overrun\"");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
    assert_eq!(client.ask("*ESR?"), "8");
}

/// IEEE 488.2 6.3.1.7 (from memory): there is room neither in nor out; the response is given up. The room
/// for a response is 8 KiB.
#[test]
fn a_response_beyond_its_room_is_a_deadlock() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    client.tell("*CLS");
    let channels = vec!["1"; 1000].join(",");
    assert_eq!(client.ask(&format!("VOLT? (@{channels})")).len(), 5999);
    client.tell(&format!("VOLT? (@{channels});VOLT? (@{channels})"));
    assert_eq!(client.ask("SYST:ERR?"), "-430,\"Query DEADLOCKED\"");
    assert_eq!(client.ask("*ESR?"), "4");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
}

/// Bytes that are no text at all.
#[test]
fn garbage_is_an_error_and_nothing_more() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    client.tell("*CLS");
    for garbage in [&b"\xff\xfe\x80\n"[..], b"VOLT \xb5\n", b"\0\0\0\n", b"#\n", b"?\n", b"*\n", b":\n", b"VOLT 5,(@1;*OPC?\n"] {
        client.send(garbage);
    }
    assert_eq!(client.ask("*OPC?"), "1");
    assert_eq!(client.ask("*ESR?"), "32");
    let first = client.ask("SYST:ERR?");
    assert!(first.starts_with("-101,"), "{first}");
}
