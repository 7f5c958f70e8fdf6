//! Each shipped dialect, spoken by a client that knows bytes alone. What is
//! expected is written out by hand from the profile's text; error numbers and
//! texts are SCPI-99's (volume 2, 21.8), special numbers those of 7.2.1.

use super::*;
use crate::instrument::Role;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

/// Sends each message and compares all the bytes that come back within 3 s.
/// `{9.0 0.02}` in what is expected stands for a number, and how far off it may be.
async fn talk(rig: &Rig, role: Role, ends: (&str, &str), exchange: &[(&str, &str)]) {
    let (mut near, far) = tokio::io::duplex(4096);
    let serving = rig.clone();
    rig.quirk(role, |q| q.misses_early = true);
    tokio::spawn(async move { serve(&serving, role, far).await });
    for (message, expected) in exchange {
        near.write_all(format!("{message}{}", ends.0).as_bytes()).await.unwrap();
        let mut came = Vec::new();
        // Time is virtual: this waits for the answer to be complete, not for a clock on the wall.
        while tokio::time::timeout(Duration::from_secs(3), near.read_buf(&mut came)).await.is_ok_and(|n| n.unwrap() > 0) {}
        let came = String::from_utf8(came).unwrap();
        let lines: String = expected.split('|').filter(|l| !l.is_empty()).map(|l| format!("{l}{}", ends.1)).collect();
        assert!(same(&lines, &came), "{message:?}: expected {lines:?}, came {came:?}");
    }
}

fn same(expected: &str, came: &str) -> bool {
    let Some((head, rest)) = expected.split_once('{') else { return expected == came };
    let (pattern, tail) = rest.split_once('}').unwrap();
    let (value, off) = pattern.split_once(' ').unwrap();
    let Some(came) = came.strip_prefix(head) else { return false };
    let length = came.find(|c: char| !(c.is_ascii_digit() || "+-.E".contains(c))).unwrap_or(came.len());
    let (number, after) = came.split_at(length);
    let near = number.parse::<f64>().is_ok_and(|n| (n - value.parse::<f64>().unwrap()).abs() <= off.parse().unwrap());
    near && same(tail, after)
}

/// A plain resistor of 750 ohm: 12 mA at 9 V, and a limit below that is met by less voltage.
const RESISTOR: &str = "cause = \"none\"\n[board]\ninput = \"10 uF\"\nrunning = \"1 nA\"\nasleep = \"1 nA\"\nshort = { above = \"0 V\", resistance = \"750 ohm\" }\n";

fn sound(supply: &str) -> Rig {
    rig(supply, "meter-plain", RESISTOR, 1)
}

#[tokio::test(start_paused = true)]
async fn supply_channel_list() {
    let rig = sound("supply-channel-list");
    let script = [
        ("*IDN?", "STAND-IN,supply-channel-list,S0001,1.0"),
        ("OUTP? (@1)", "0"),
        ("STAT:QUES:INST:ISUM1:COND?", "0"),
        ("VOLT 9.000,(@1)", ""),
        ("curr  0.060, (@1)", ""),
        ("VOLT? (@1)", "9.000"),
        ("CURR? (@1)", "0.060"),
        ("VOLT? (@2)", "0.000"),
        ("OUTP ON,(@1)", ""),
        ("OUTP? (@1)", "1"),
        ("OUTP? (@2)", "0"),
        ("MEAS:VOLT? (@1)", "{9.0 0.0095}"),
        ("MEAS:CURR? (@1)", "{0.012 0.001}"),
        ("STAT:QUES:INST:ISUM1:COND?", "2"),
        ("CURR 0.005,(@1)", ""),
        ("STAT:QUES:INST:ISUM1:COND?", "1"),
        ("MEAS:CURR? (@1)", "{0.005 0.001}"),
        ("CURR 0.060,(@1)", ""),
        ("VOLT 99,(@1)", ""),
        ("BOGUS", ""),
        ("VOLT? (@9)", ""),
        ("SYST:ERR?", "-222,\"Data out of range\""),
        ("SYST:ERR?", "-113,\"Undefined header\""),
        ("*CLS", ""),
        ("SYST:ERR?", "0,\"No error\""),
        ("VOLT? (@1)", "9.000"),
        // A trip of the over-voltage protection; clearing it gives power back.
        ("VOLT:PROT 5,(@1)", ""),
        ("VOLT:PROT:TRIP? (@1)", "1"),
        ("OUTP? (@1)", "0"),
        ("OUTP ON,(@1)", ""),
        ("SYST:ERR?", "-221,\"Settings conflict\""),
        ("VOLT:PROT 12,(@1)", ""),
        ("VOLT:PROT? (@1)", "12.00"),
        ("VOLT:PROT:CLE (@1)", ""),
        ("VOLT:PROT:TRIP? (@1)", "0"),
        ("OUTP? (@1)", "1"),
        ("OUTP OFF,(@1:2)", ""),
        ("OUTP? (@1)", "0"),
        ("*OPC?", "1"),
        ("*RST", ""),
        ("VOLT? (@1)", "0.000"),
    ];
    talk(&rig, Role::Supply, ("\n", "\n"), &script).await;
    let state = rig.supply_state();
    assert!(!state.on);
    assert_eq!(state.outputs, [false, false]);
    assert_eq!(state.switches.iter().map(|s| s.on).collect::<Vec<_>>(), [true, false, true, false]);
}

#[tokio::test(start_paused = true)]
async fn an_error_queue_that_is_full_ends_in_minus_350() {
    let rig = sound("supply-channel-list");
    let mut script = vec![("BOGUS", ""); 25];
    script.extend([("SYST:ERR?", "-113,\"Undefined header\""); 19]);
    script.extend([("SYST:ERR?", "-350,\"Queue overflow\""), ("SYST:ERR?", "0,\"No error\"")]);
    talk(&rig, Role::Supply, ("\n", "\n"), &script).await;
}

#[tokio::test(start_paused = true)]
async fn supply_channel_select() {
    let rig = sound("supply-channel-select");
    let script = [
        ("*IDN?", "STAND-IN,supply-channel-select,S0001,1.0"),
        ("INST:NSEL?", "1"),
        ("VOLT 9", ""),
        ("VOLT?", "9.000V"),
        ("CURR 0.06", ""),
        ("CURR?", "0.060A"),
        // Out of range is clipped in silence.
        ("INST:NSEL 2", ""),
        ("VOLT 99", ""),
        ("VOLT?", "32.000V"),
        ("SYST:ERR?", "0,\"No error\""),
        ("OUTP:DIS?", "1"),
        ("INST:NSEL 1", ""),
        // Inverted: 0 is on.
        ("OUTP:DIS 0", ""),
        ("OUTP:DIS?", "0"),
        ("OUTP:MODE?", "CV"),
        ("MEAS:VOLT?", "{9.0 0.0127}V"),
        ("MEAS:CURR?", "{0.012 0.002}A"),
        ("CURR 0.005", ""),
        ("OUTP:MODE?", "CC"),
        ("CURR 0.06", ""),
        ("VOLT:PROT 5", ""),
        ("VOLT:PROT:TRIP?", "1"),
        ("OUTP:MODE?", "UR"),
        ("VOLT:PROT 12", ""),
        ("OUTP:PROT:CLE", ""),
        ("VOLT:PROT:TRIP?", "0"),
        ("OUTP:DIS?", "1"),
        ("INST:NSEL 7", ""),
        ("SYST:ERR?", "-222,\"Data out of range\""),
        ("INST:NSEL?", "1"),
    ];
    talk(&rig, Role::Supply, ("\r\n", "\r\n"), &script).await;
    assert!(!rig.supply_state().on);
}

#[tokio::test(start_paused = true)]
async fn supply_index_in_header() {
    let rig = sound("supply-index-in-header");
    let script = [
        ("V1 9.00", ""),
        ("V1?", "V1 9.00"),
        ("I1 0.06", ""),
        ("I1?", "I1 0.060"),
        ("V2?", "V2 0.00"),
        ("OP1 1", ""),
        ("OP1?", "1"),
        ("MODE1?", "2"),
        ("V1O?", "{9.0 0.019}V"),
        ("I1O?", "{0.012 0.001}A"),
        ("I1 0.005", ""),
        ("MODE1?", "1"),
        // No error queue, no words for it: what it does not know is met with silence.
        ("V1 99", ""),
        ("V1?", "V1 9.00"),
        ("SYST:ERR?", ""),
        ("BOGUS", ""),
        ("OVP1 12", ""),
        ("OVP1?", "VP1 12.0"),
        ("OPALL 0", ""),
        ("OP1?", "0"),
    ];
    talk(&rig, Role::Supply, ("\n", "\r\n"), &script).await;
    assert!(!rig.supply_state().on);
}

#[tokio::test(start_paused = true)]
async fn supply_acknowledged() {
    let rig = sound("supply-acknowledged");
    let script = [
        ("*IDN?", "STAND-IN,supply-acknowledged,S0001,1.0|OK"),
        // Not yet under remote control: an error in place of the acknowledgement.
        ("SET 9.00,0.06", "E99"),
        ("VSET?", "0.00|OK"),
        ("SYST:REM", "OK"),
        ("SET 9.00,0.06", "OK"),
        ("VSET?", "9.00|OK"),
        ("ISET?", "0.06|OK"),
        ("OUT?", "OFF|OK"),
        ("OUT ON", "OK"),
        ("OUT?", "ON|OK"),
        ("MODE?", "1|OK"),
        ("GET?", "{9.0 0.038},{0.01 0.01}|OK"),
        ("ISET 0", "OK"),
        ("MODE?", "2|OK"),
        ("ISET 0.06", "OK"),
        ("VSET 99", "OK"),
        ("VSET?", "18.00|OK"),
        ("BOGUS", "E87"),
        ("OUT OFF", "OK"),
        ("OUT?", "OFF|OK"),
        ("SYST:LOC", "OK"),
        ("OUT ON", "E99"),
    ];
    talk(&rig, Role::Supply, ("\r", "\r\n"), &script).await;
    assert!(!rig.supply_state().on);
}

/// A rig whose output has been on at 9 V for a second.
async fn powered(meter: &str) -> Rig {
    let rig = rig("supply-channel-list", meter, UNIT, 1);
    let script = [("VOLT 9,(@1)", ""), ("CURR 0.1,(@1)", ""), ("OUTP ON,(@1)", "")];
    talk(&rig, Role::Supply, ("\n", "\n"), &script).await;
    rig
}

#[tokio::test(start_paused = true)]
async fn meter_plain() {
    let rig = powered("meter-plain").await;
    let script = [
        ("*IDN?", "STAND-IN,meter-plain,M0001,1.0"),
        ("CONF:CURR:DC 1.0E-1", ""),
        ("CURR:DC:RANG?", "1.0E-1"),
        ("CURR:DC:NPLC 1", ""),
        ("READ?", "{0.012 11e-6}"),
        // The lowest range is overstepped; SCPI-99 7.2.1.4: infinity is 9.9E37.
        ("CONF:CURR:DC 1.0E-4", ""),
        ("READ?", "+9.90000000E+37"),
        ("CONF:CURR:DC 7", ""),
        ("SYST:ERR?", "-222,\"Data out of range\""),
        ("CURR:DC:RANG?", "1.0E-4"),
        ("BOGUS?", ""),
        ("SYST:ERR?", "-113,\"Undefined header\""),
    ];
    talk(&rig, Role::Meter, ("\n", "\n"), &script).await;
}

#[tokio::test(start_paused = true)]
async fn meter_units_in_reply() {
    let rig = powered("meter-units-in-reply").await;
    let script = [
        ("FUNC ADC", ""),
        ("RANGE 0.05", ""),
        ("RATE M", ""),
        ("RANGE?", "0.05"),
        ("VAL?", "{0.012 33e-6} A DC"),
        ("RANGE 0.0005", ""),
        ("VAL?", "OL"),
        ("BOGUS", ""),
    ];
    talk(&rig, Role::Meter, ("\r\n", "\r\n"), &script).await;
}

#[tokio::test(start_paused = true)]
async fn meter_echo() {
    let rig = powered("meter-echo").await;
    let script = [
        ("ADC", "ADC|?>99|=>"),
        ("REMS", "REMS|=>"),
        ("ADC", "ADC|=>"),
        ("RANGE 1", "RANGE 1|=>"),
        ("RANGE?", "RANGE?|1|=>"),
        ("SPEED 1", "SPEED 1|=>"),
        // Nothing has been triggered yet: there is nothing fresh to be read.
        ("VAL1?", "VAL1?|?>70|=>"),
        ("*TRG", "*TRG|=>"),
        ("VAL1?", "VAL1?|+0,{0.012 9e-6}|=>"),
        ("BOGUS", "BOGUS|?>87|=>"),
    ];
    talk(&rig, Role::Meter, ("\r", "\r\n"), &script).await;
}
