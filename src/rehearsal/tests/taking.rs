//! How a meter takes its readings: by itself on which range, with which zero and noise,
//! how old they are, and how many at once. Closed forms, IEEE 488.2 and SCPI-99.

use super::desk::Desk;

/// So much that a shunt changes little.
const SOURCE: f64 = 100.0;

/// What flows through a shunt where so much flows without it.
fn through(shunt: f64, amperes: f64) -> f64 {
    SOURCE / (SOURCE / amperes + shunt)
}

/// A unit that draws so much.
fn drawing(amperes: f64, standin: &str) -> Desk {
    let mut desk = Desk::new("in series", standin, SOURCE / amperes);
    desk.on(SOURCE);
    desk.pass(0.01);
    desk
}

#[test]
fn a_range_is_left_upwards_above_120_and_downwards_below_10_percent() {
    // Common practice, and the thresholds of handbooks.
    for (amperes, from, to, changes) in [
        (11.9e-3, "0.01", "10E-3", 0),
        (12.1e-3, "0.01", "100E-3", 1),
        (10.1e-3, "0.1", "100E-3", 0),
        (9.8e-3, "0.1", "10E-3", 1),
        (0.5e-3, "1", "1E-3", 3),
        // No lower one, and no higher.
        (5e-6, "1", "100E-6", 4),
        (0.7, "0.0001", "1E0", 4),
    ] {
        let mut desk = drawing(amperes, "auto_range = { gap = \"30 ms\" }");
        desk.ask(&format!("CONF:CURR:DC {from}"));
        desk.ask("CURR:NPLC 1");
        desk.ask("CURR:RANG:AUTO ON");
        let (read, took) = desk.read();
        assert_eq!(desk.ask("CURR:RANG?"), to, "{amperes} A from {from}");
        // No reading comes in the gap of a change, and each change has one and a measurement of its own.
        let time = 0.02 + f64::from(changes) * (0.02 + 0.03);
        assert!((took - time).abs() < 1e-9, "{amperes} A from {from}: {took} s for {changes}");
        // What flows with the shunt of the range that it ended on.
        let shunt = if to.ends_with("E-6") || to == "1E-3" {
            100.0
        } else if to == "1E0" {
            0.5
        } else {
            2.0
        };
        let truth = through(shunt, amperes);
        assert!((read - truth).abs() < 1e-4 * truth, "{amperes} A from {from}: {read} {truth}");
    }
}

#[test]
fn a_fixed_range_stays_and_says_overload() {
    let mut desk = drawing(12.5e-3, "auto_range = {}");
    assert_eq!(desk.ask("CURR:RANG:AUTO?"), "1");
    desk.ask("CONF:CURR:DC 0.01");
    assert_eq!(desk.ask("CURR:RANG:AUTO?"), "0");
    assert_eq!(desk.ask("READ?"), "+9.90000000E+37");
    assert_eq!(desk.ask("CURR:RANG?"), "10E-3");
    // One that goes its own way takes what it is told for a beginning.
    let mut desk = drawing(12.5e-3, "auto_range = { holds = \"always\" }");
    desk.ask("CONF:CURR:DC 0.01");
    assert_eq!(desk.ask("CURR:RANG?"), "10E-3");
    assert!((desk.read().0 - 12.5e-3).abs() < 1e-4);
    assert_eq!(desk.ask("CURR:RANG?"), "100E-3");
}

#[test]
fn a_change_of_the_range_disturbs_what_is_measured() {
    let mut desk = drawing(0.8e-3, "auto_range = {}");
    desk.ask("CONF:CURR:DC 0.01");
    desk.pass(0.1);
    let before = desk.world.see().unit;
    desk.ask("CURR:RANG:AUTO ON");
    desk.read();
    let after = desk.world.see().unit;
    // From 2 ohm to 100 ohm.
    let burden = |shunt: f64| SOURCE - (shunt + super::desk::INSIDE) * through(shunt, 0.8e-3);
    assert!((before - burden(2.0)).abs() < 1e-5 && (after - burden(100.0)).abs() < 1e-5, "{before} {after}");
}

#[test]
fn a_zero_drifts_and_a_look_at_it_takes_it_out_in_twice_the_time() {
    let spread = |standin: &str| {
        let mut desk = drawing(5e-3, standin);
        desk.ask("CONF:CURR:DC 0.01");
        desk.ask("CURR:NPLC 1");
        let truth = through(2.0, 5e-3);
        let mut most = 0.0_f64;
        let mut last: Option<f64> = None;
        for _ in 0..400 {
            desk.pass(60.0);
            let (read, took) = desk.read();
            assert!((took - if standin.contains("auto") { 0.04 } else { 0.02 }).abs() < 1e-9, "{took}");
            // Slow: in a minute a small part of all.
            assert!(last.is_none_or(|last| (last - read).abs() < 0.7 * 10e-6), "{last:?} {read}");
            last = Some(read);
            most = most.max((read - truth).abs());
        }
        most
    };
    let drifting = spread("zero = { drift = \"0.1 %\" }");
    // 0.1 % of 10 mA at most, and not much less in seven hours.
    assert!((5e-6..=10.01e-6).contains(&drifting), "{drifting}");
    let looked_at = spread("zero = { drift = \"0.1 %\", auto = true }");
    assert!(looked_at < 0.001 * drifting, "{looked_at} {drifting}");
}

#[test]
fn a_zero_that_is_looked_at_once_is_kept() {
    let mut desk = drawing(5e-3, "zero = { drift = \"0.1 %\" }");
    desk.ask("CONF:CURR:DC 0.01");
    desk.pass(500.0);
    let truth = through(2.0, 5e-3);
    let off = (desk.read().0 - truth).abs();
    desk.ask("CAL:ZERO:AUTO ONCE");
    desk.read();
    let (read, took) = desk.read();
    assert!((took - 0.4e-3).abs() < 1e-9 && (read - truth).abs() < 0.001 * off, "{read} {off}");
    desk.ask("CAL:ZERO:AUTO ON");
    assert_eq!(desk.ask("CAL:ZERO:AUTO?"), "1");
}

#[test]
fn noise_falls_with_the_root_of_the_integration_time() {
    let rms = |cycles: &str| {
        let mut desk = drawing(5e-3, "noise = \"0.01 %\"");
        desk.ask("CONF:CURR:DC 0.01");
        desk.ask(&format!("CURR:NPLC {cycles}"));
        let readings: Vec<f64> = (0..2000).map(|_| desk.read().0).collect();
        let mean = readings.iter().sum::<f64>() / 2000.0;
        (readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / 1999.0).sqrt()
    };
    // 0.01 % of 10 mA over 20 ms; 2000 readings tell it to 5 % (three standard errors).
    for (cycles, share) in [("0.02", 50_f64.sqrt()), ("0.2", 5_f64.sqrt()), ("1", 1.0), ("10", 0.1_f64.sqrt()), ("100", 0.1)] {
        let found = rms(cycles);
        assert!((found / (1e-6 * share) - 1.0).abs() < 0.05, "{cycles}: {found}");
    }
}

#[test]
fn a_shorter_integration_shows_fewer_digits() {
    for (cycles, step) in [("0.02", 1e-9), ("0.2", 1e-10), ("1", 1e-11), ("10", 1e-11)] {
        let mut desk = drawing(5.123_456_789_012e-3, "fewer_digits = true, noise = \"0.001 %\"");
        desk.ask("CONF:CURR:DC 0.01");
        desk.ask(&format!("CURR:NPLC {cycles}"));
        for _ in 0..20 {
            let steps = desk.read().0 / step;
            assert!((steps - steps.round()).abs() < 1e-2, "{cycles}: {steps}");
        }
    }
}

#[test]
fn who_measures_all_the_time_answers_with_what_is_over() {
    let mut desk = drawing(5e-3, "free_running = true");
    desk.ask("CONF:CURR:DC 0.01");
    desk.ask("CURR:NPLC 10");
    desk.pass(2.0);
    let (before, took) = desk.read();
    assert!(took == 0.0 && (before - 5e-3).abs() < 1e-5, "{before} after {took}");
    // A moment after the change the answer is older than it; after two measurements it is not.
    desk.on(0.5 * SOURCE);
    desk.pass(0.005);
    assert_eq!(desk.read(), (before, 0.0));
    desk.pass(0.402);
    assert!((desk.read().0 - 0.5 * before).abs() < 1e-7, "{}", desk.read().0);
    // Another range: nothing is shown until it has been measured on it.
    desk.ask("CURR:RANG 0.1");
    let (read, took) = desk.read();
    assert!((read - 0.5 * before).abs() < 1e-7 && took > 0.199, "{read} after {took}");
}

#[test]
fn an_hour_of_measuring_while_nobody_looks_costs_next_to_nothing() {
    let mut desk = drawing(5e-3, "free_running = true, auto_range = { holds = \"always\" }, hum = { current = \"1 mA\" }");
    desk.ask("CURR:NPLC 0.02");
    desk.pass(1.0);
    let before = (desk.world.steps(), desk.meter.carried_out());
    desk.pass(3600.0);
    // Of two and a half million.
    let carried_out = desk.meter.carried_out() - before.1;
    assert!((60..70).contains(&carried_out), "{carried_out}");
    assert!(desk.world.steps() - before.0 < 60, "{}", desk.world.steps() - before.0);
    assert!((desk.read().0 - 5e-3).abs() < 1.1e-3);
}

#[test]
fn a_trigger_brings_a_list_of_readings_at_the_meters_pace() {
    let mut desk = drawing(5e-3, "");
    desk.ask("CONF:CURR:DC 0.01");
    desk.ask("CURR:NPLC 1;:SAMP:COUN 5;:TRIG:DEL 0.1");
    let (answer, took) = desk.bytes("READ?");
    // 100 ms, then every 21 ms, the last of 20 ms.
    assert!((took - (0.1 + 4.0 * 0.021 + 0.02)).abs() < 1e-9, "{took}");
    let text = String::from_utf8(answer).unwrap();
    let readings: Vec<f64> = text.split(',').map(|r| r.parse().unwrap()).collect();
    assert!(readings.len() == 5 && readings.iter().all(|r| (r - 5e-3).abs() < 1e-5), "{text}");
    // Fetched again they are the same, and old.
    desk.on(0.1 * SOURCE);
    desk.pass(1.0);
    assert_eq!(desk.ask("FETC?"), text);
    // INITiate returns at once; *OPC? waits.
    desk.ask("INIT");
    assert_eq!(desk.ask("STAT:OPER:COND?"), "16");
    desk.ask("INIT");
    assert!(desk.ask("SYST:ERR?").starts_with("-213"));
    let (done, took) = desk.bytes("*OPC?");
    assert!(done == b"1" && (took - 0.204).abs() < 1e-9, "{took}");
    assert_eq!(desk.ask("STAT:OPER:COND?"), "0");
    assert_eq!(desk.ask("FETC?").split(',').count(), 5);
    // What was measured belongs to neither when it is set anew.
    desk.ask("CURR:RANG 0.1");
    desk.ask("FETC?");
    assert!(desk.ask("SYST:ERR?").starts_with("-230"));
    assert_eq!(desk.ask("SAMP:COUN?;:TRIG:DEL?"), "5;+1.00000000E-01");
    desk.ask("SAMP:COUN 0");
    assert!(desk.ask("SYST:ERR?").starts_with("-222"));
}

/// IEEE 488.2 8.7.9: `#`, the number of digits, the number of bytes, the bytes.
fn block(bytes: &[u8]) -> Vec<f64> {
    assert_eq!(bytes[0], b'#');
    let digits = usize::from(bytes[1] - b'0');
    let length: usize = std::str::from_utf8(&bytes[2..2 + digits]).unwrap().parse().unwrap();
    let data = &bytes[2 + digits..];
    assert_eq!(data.len(), length);
    data.chunks(8).map(|chunk| f64::from_be_bytes(chunk.try_into().unwrap())).collect()
}

#[test]
fn readings_are_fetched_as_text_or_as_a_block_and_are_the_same() {
    let mut desk = drawing(5e-3, "noise = \"0.01 %\"");
    desk.ask("CONF:CURR:DC 0.01");
    desk.ask("SAMP:COUN 7");
    let text = desk.ask("READ?");
    assert_eq!(desk.ask("FORM?"), "ASC,0");
    desk.ask("FORM:DATA REAL,64");
    assert_eq!(desk.ask("FORM?"), "REAL,64");
    let numbers = block(&desk.bytes("FETC?").0);
    assert_eq!(numbers.len(), 7);
    for (number, text) in numbers.iter().zip(text.split(',')) {
        // Nine digits of text.
        assert!((number - text.parse::<f64>().unwrap()).abs() < 1e-11, "{number} {text}");
    }
    assert_eq!(block(&desk.bytes("READ?").0).len(), 7);
    // Overload is 9.9E37 in a block as well (SCPI-99 7.2.1.4).
    desk.ask("CONF:CURR:DC 0.001");
    assert!(block(&desk.bytes("READ?").0).iter().all(|value| *value == 9.9e37));
    desk.ask("FORM REAL,32");
    assert!(desk.ask("SYST:ERR?").starts_with("-224"));
    desk.ask("FORM ASC;:SAMP:COUN 1");
    assert_eq!(desk.ask("READ?"), "+9.90000000E+37");
}

#[test]
fn a_memory_that_is_full_stops_the_meter() {
    let mut desk = drawing(5e-3, "memory = 20");
    desk.ask("CONF:CURR:DC 0.01");
    desk.ask("CURR:NPLC 1;:SAMP:COUN 100");
    desk.ask("INIT");
    // 19 times 21 ms and one of 20 ms.
    desk.pass(0.418);
    assert_eq!(desk.ask("STAT:OPER:COND?"), "16");
    desk.pass(0.002);
    assert_eq!(desk.ask("STAT:OPER:COND?"), "0");
    assert!(desk.ask("SYST:ERR?").starts_with("-225"));
    desk.pass(100.0);
    assert_eq!(desk.ask("FETC?").split(',').count(), 20);
    // A new trigger empties it.
    desk.ask("SAMP:COUN 2");
    assert_eq!(desk.ask("READ?").split(',').count(), 2);
    assert!(desk.ask("SYST:ERR?").starts_with('0'));
}

#[test]
fn when_somebody_looks_does_not_change_what_is_read() {
    let standin = "hum = { current = \"100 uA\" }, auto_range = {}, zero = { drift = \"0.1 %\", auto = true }, input = { delay = \"3 ms\" }, \
                   hands = [{ after = \"300 ms\", range = \"100 mA\" }]";
    let readings = |looks: u32| {
        let mut desk = drawing(5e-3, standin);
        desk.ask("CURR:NPLC 0.2;:CURR:RANG:AUTO ON;:SAMP:COUN 40");
        desk.ask("INIT");
        for _ in 0..looks {
            desk.pass(1.0 / f64::from(looks));
        }
        desk.ask("FETC?")
    };
    let once = readings(1);
    assert!(once.split(',').count() > 10, "{once}");
    for looks in [7, 64, 1024] {
        assert_eq!(readings(looks), once, "{looks} looks");
    }
}
