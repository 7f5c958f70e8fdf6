//! What both protocols do: messages in pieces, late answers, device clear, status
//! byte, locks, interrupted questions, clients that are refused.

use crate::support::{PATIENCE, StandIns, ask, deadline, open, say};
use rampart::link::{Link, LinkError, Locked};
use std::time::Duration;
use tokio::time::Instant;

async fn is_in_step(link: &mut Box<dyn Link>) {
    assert_eq!(ask(link, "SYST:VERS?").await, "1999.0");
}

/// IEEE 488.2 6.3.2.3 by both: a new question before the answer was fetched interrupts
/// the first one. Over HiSLIP the link throws the old answer away by its number.
#[tokio::test]
async fn an_answer_that_was_not_fetched_is_never_the_next_ones() {
    let stand_ins = StandIns::start();
    for address in [&stand_ins.supply, &stand_ins.meter] {
        let mut link = open(address).await.unwrap();
        say(&mut link, "*CLS").await;
        say(&mut link, "*IDN?").await;
        is_in_step(&mut link).await;
        assert_eq!(ask(&mut link, "SYST:ERR?").await, "-410,\"Query INTERRUPTED\"", "{address}");
        // Given up half-way, and asked anew.
        say(&mut link, "*IDN?").await;
        let soon = Instant::now() + Duration::from_micros(1);
        match link.receive(soon).await {
            Ok(_) | Err(LinkError::Timeout { .. }) => {}
            Err(other) => panic!("{address}: {other}"),
        }
        link.drain(Duration::from_millis(20), deadline()).await.unwrap();
        is_in_step(&mut link).await;
    }
}

/// Both protocols by their standards: nothing to say is a time-out, and -420 in the queue.
#[tokio::test]
async fn nothing_to_say_is_a_timeout_and_the_link_goes_on() {
    let stand_ins = StandIns::start();
    for address in [&stand_ins.supply, &stand_ins.meter] {
        let mut link = open(address).await.unwrap();
        say(&mut link, "*CLS").await;
        let soon = Instant::now() + Duration::from_millis(50);
        assert!(matches!(link.receive(soon).await, Err(LinkError::Timeout { .. })), "{address}");
        is_in_step(&mut link).await;
    }
}

/// IEEE 488.2 5.8: buffers are empty afterwards, settings and errors as they were.
#[tokio::test]
async fn a_device_clear_empties_the_buffers_and_keeps_the_settings() {
    let stand_ins = StandIns::start();
    for (address, sets, asks, value) in [
        (&stand_ins.supply, "VOLT 3.5,(@1)", "VOLT? (@1)", 3.5),
        (&stand_ins.meter, "SENS:CURR:DC:NPLC 10", "SENS:CURR:DC:NPLC?", 10.0),
    ] {
        let mut link = open(address).await.unwrap();
        say(&mut link, "*CLS").await;
        say(&mut link, sets).await;
        say(&mut link, "NONSENSE").await;
        // Carried out; what is still in the input buffer goes with it.
        is_in_step(&mut link).await;
        say(&mut link, "*IDN?").await;
        assert!(link.clear(deadline()).await.unwrap());
        let found: f64 = ask(&mut link, asks).await.parse().unwrap();
        assert_eq!(found, value, "{address}");
        let error = ask(&mut link, "SYST:ERR?").await;
        assert!(error.starts_with("-113,"), "{address}: {error}");
        assert_eq!(ask(&mut link, "SYST:ERR?").await, "0,\"No error\"", "{address}");
    }
}

/// SCPI-99 and IEEE 488.2 11.2: bit 2 tells of errors, bit 5 of events that are enabled.
#[tokio::test]
async fn the_status_byte_is_read_beside_the_messages() {
    let stand_ins = StandIns::start();
    for address in [&stand_ins.supply, &stand_ins.meter] {
        let mut link = open(address).await.unwrap();
        say(&mut link, "*CLS").await;
        say(&mut link, "*ESE 32").await;
        is_in_step(&mut link).await;
        assert_eq!(link.status_byte(deadline()).await.unwrap(), Some(0), "{address}");
        say(&mut link, "NONSENSE").await;
        say(&mut link, "*OPC").await;
        // Both are carried out by the time that a question is answered.
        is_in_step(&mut link).await;
        assert_eq!(link.status_byte(deadline()).await.unwrap(), Some(4 + 32), "{address}");
    }
}

#[tokio::test]
async fn a_lock_keeps_others_out_until_it_is_given_back_or_its_holder_leaves() {
    let stand_ins = StandIns::start();
    for address in [&stand_ins.supply, &stand_ins.meter] {
        let (mut one, mut two) = (open(address).await.unwrap(), open(address).await.unwrap());
        let none = Duration::ZERO;
        assert_eq!(one.lock(none, deadline()).await.unwrap(), Locked::Yes, "{address}");
        assert_eq!(two.lock(none, deadline()).await.unwrap(), Locked::No, "{address}");
        assert!(two.unlock(deadline()).await.is_err(), "{address}: given back by who never had it");
        assert_eq!(one.unlock(deadline()).await.unwrap(), Locked::Yes, "{address}");
        assert_eq!(two.lock(none, deadline()).await.unwrap(), Locked::Yes, "{address}");
        drop(two);
        assert_eq!(one.lock(PATIENCE, deadline()).await.unwrap(), Locked::Yes, "{address}");
        is_in_step(&mut one).await;
    }
}

/// Longer than either stand-in takes at once, and an answer longer than one piece.
#[tokio::test]
async fn messages_go_in_pieces() {
    let stand_ins = StandIns::start();
    for address in [&stand_ins.supply, &stand_ins.meter] {
        let mut link = open(address).await.unwrap();
        let question = vec![":SYST:VERS?"; 200].join(";");
        let whole = ask(&mut link, &question).await;
        assert_eq!(whole, vec!["1999.0"; 200].join(";"), "{address}");
        let question = format!("{}SYST:VERS?", " ".repeat(3000));
        assert_eq!(ask(&mut link, &question).await, "1999.0", "{address}");
    }
}

#[tokio::test]
async fn who_is_refused_is_told_why() {
    let stand_ins = StandIns::start();
    let said = |error: Result<Box<dyn Link>, LinkError>| error.err().unwrap().to_string();
    let wrong = stand_ins.meter.replace("inst0", "inst7");
    let told = said(open(&wrong).await);
    assert!(told.contains("error 21: a device of that name is not there"), "{told}");
    let wrong = stand_ins.supply.replace("hislip0", "hislip7");
    let told = said(open(&wrong).await);
    assert!(told.contains("invalid initialisation sequence"), "{told}");
    // Each at the other's port.
    let told = said(open(&format!("TCPIP::127.0.0.1::hislip0,{}::INSTR", StandIns::port(&stand_ins.meter))).await);
    assert!(told.contains("cannot open"), "{told}");
}
