//! Framing, deadlines, closing, faults, traces; over memory with the paused
//! clock, over TCP and pseudo-terminals for real. No sleep, no fixed port.

use super::fault::{Faulty, Kind, Schedule};
use super::trace::{Direction, Escaped, Traced, TrafficSink};
use super::*;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

fn framing(end: &str) -> Framing {
    Framing {
        send_end: end.as_bytes().to_vec(),
        receive_end: ReceiveEnd::Bytes { end: end.as_bytes().to_vec(), scan: crate::scpi::message_end },
        longest: 1000,
    }
}

fn soon() -> Instant {
    Instant::now() + Duration::from_secs(5)
}

#[test]
fn addresses_are_read_and_printed() {
    let tcp = |host: &str, port| Address::Tcp { host: host.into(), port };
    for (text, address) in [
        ("TCPIP::192.0.2.20::5025::SOCKET", tcp("192.0.2.20", 5025)),
        ("tcpip0::bench-supply::9221::socket", tcp("bench-supply", 9221)),
        ("TCPIP::[2001:db8::1]::5025::SOCKET", tcp("2001:db8::1", 5025)),
        ("ASRL/dev/ttyUSB0::INSTR", Address::Serial { path: "/dev/ttyUSB0".into() }),
        // VPP-4.3: a LAN device without a name is inst0.
        ("TCPIP0::h::INSTR", Address::Vxi11 { host: "h".into(), device: "inst0".into(), port: None }),
        ("TCPIP::h::inst3,1024::INSTR", Address::Vxi11 { host: "h".into(), device: "inst3".into(), port: Some(1024) }),
        ("TCPIP::[fe80::1]::hislip0::INSTR", Address::Hislip { host: "fe80::1".into(), device: "hislip0".into(), port: None }),
        ("TCPIP::h::HiSLIP1,5000::INSTR", Address::Hislip { host: "h".into(), device: "HiSLIP1".into(), port: Some(5000) }),
        (
            "USB0::0x1234::1230::A-7::INSTR",
            Address::Usb(Usb { vendor: 0x1234, product: 1230, serial: "A-7".into(), interface: None }),
        ),
        ("USB::1::2::3::4::INSTR", Address::Usb(Usb { vendor: 1, product: 2, serial: "3".into(), interface: Some(4) })),
        ("ASRLCOM3::INSTR", Address::Serial { path: "COM3".into() }),
    ] {
        assert_eq!(text.parse::<Address>().unwrap(), address, "{text}");
        assert_eq!(address.to_string().parse::<Address>().unwrap(), address);
    }
    for (text, says) in [
        ("", "known here"),
        ("192.0.2.20:5025", "known here"),
        ("TCPIP::h::0::SOCKET", "not a port"),
        ("TCPIP::h::70000::SOCKET", "not a port"),
        ("TCPIP::h::inst0,0::INSTR", "not a port"),
        ("TCPIP::h::,1::INSTR", "no name of a device"),
        ("TCPIP::h::1::2::INSTR", "a host, and"),
        ("USB::1::2::INSTR", "vendor and product"),
        ("USB::0x12345::2::3::INSTR", "vendor and product"),
        ("GPIB::1::INSTR", "GPIB is not spoken"),
        ("ASRL::INSTR", "the port's path"),
    ] {
        let error = text.parse::<Address>().unwrap_err().to_string();
        assert!(error.contains(says), "{text}: {error}");
    }
}

#[tokio::test(start_paused = true)]
async fn messages_are_told_apart_however_they_arrive() {
    for end in ["\n", "\r\n", "\r"] {
        let (mut link, mut far) = memory::pair(framing(end));
        link.send(b"*IDN?", soon()).await.unwrap();
        let mut got = vec![0; 5 + end.len()];
        far.read_exact(&mut got).await.unwrap();
        assert_eq!(got, format!("*IDN?{end}").into_bytes());
        // Two in one packet, then one byte by byte.
        far.write_all(format!("one{end}two{end}thr").as_bytes()).await.unwrap();
        assert_eq!(link.receive(soon()).await.unwrap(), b"one");
        assert_eq!(link.receive(soon()).await.unwrap(), b"two");
        let rest = format!("ee{end}");
        let slow = async {
            for byte in rest.as_bytes() {
                far.write_all(&[*byte]).await.unwrap();
                tokio::time::sleep(Duration::from_millis(10)).await;
            }
        };
        let (message, ()) = tokio::join!(link.receive(soon()), slow);
        assert_eq!(message.unwrap(), b"three");
    }
}

#[tokio::test(start_paused = true)]
async fn silence_ends_a_message_where_there_is_no_terminator() {
    let silence = Framing { send_end: Vec::new(), receive_end: ReceiveEnd::Silence(Duration::from_millis(50)), longest: 100 };
    let (mut link, mut far) = memory::pair(silence);
    far.write_all(b"12.0").await.unwrap();
    let before = Instant::now();
    assert_eq!(link.receive(soon()).await.unwrap(), b"12.0");
    assert_eq!(before.elapsed(), Duration::from_millis(50));
}

#[tokio::test(start_paused = true)]
async fn a_deadline_keeps_what_has_arrived_for_the_next_call() {
    let (mut link, mut far) = memory::pair(framing("\n"));
    far.write_all(b"hal").await.unwrap();
    let before = Instant::now();
    match link.receive(before + Duration::from_millis(100)).await {
        Err(LinkError::Timeout { partial }) => assert_eq!(partial, b"hal"),
        other => panic!("{other:?}"),
    }
    assert_eq!(before.elapsed(), Duration::from_millis(100));
    far.write_all(b"f\n").await.unwrap();
    assert_eq!(link.receive(soon()).await.unwrap(), b"half");
}

#[tokio::test(start_paused = true)]
async fn a_closed_connection_says_so_and_what_was_lost() {
    let (mut link, mut far) = memory::pair(framing("\n"));
    far.write_all(b"hal").await.unwrap();
    drop(far);
    let error = link.receive(soon()).await.unwrap_err();
    assert!(matches!(&error, LinkError::Closed { partial } if partial == b"hal"), "{error:?}");
    assert!(error.to_string().contains("closed by the far end"), "{error}");
    assert!(matches!(link.send(b"x", soon()).await, Err(LinkError::Closed { .. })));
}

#[tokio::test(start_paused = true)]
async fn a_message_without_end_is_bounded() {
    let (mut link, mut far) = memory::pair(framing("\n"));
    far.write_all(&[b'x'; 3000]).await.unwrap();
    assert!(matches!(link.receive(soon()).await, Err(LinkError::TooLong { limit: 1000 })));
}

#[tokio::test(start_paused = true)]
async fn what_is_thrown_away_is_returned() {
    let (mut link, mut far) = memory::pair(framing("\n"));
    far.write_all(b"old\nolder").await.unwrap();
    assert_eq!(link.drain(Duration::from_millis(20), soon()).await.unwrap(), b"old\nolder");
    assert_eq!(link.drain(Duration::from_millis(20), soon()).await.unwrap(), b"");
}

/// Sends five numbered replies through a link with one fault; returns what came.
async fn with_fault(number: u64, kind: Kind) -> (Vec<Result<Vec<u8>, String>>, Vec<Kind>) {
    let (link, mut far) = memory::pair(framing("\n"));
    let (mut link, fired) = Faulty::new(link, Schedule::from([(number, kind)]));
    far.write_all(b"1.25\n2.25\n3.25\n").await.unwrap();
    let mut got = Vec::new();
    for _ in 0..3 {
        let deadline = Instant::now() + Duration::from_millis(100);
        got.push(link.receive(deadline).await.map_err(|e| e.to_string()));
    }
    (got, fired.all())
}

#[tokio::test(start_paused = true)]
async fn every_kind_of_fault_fires_and_is_counted() {
    let ok = |text: &str| Ok(text.as_bytes().to_vec());
    let late = Kind::Late(Duration::from_millis(150));
    for (kind, second) in [
        (Kind::ByteDropped, ok("2.5")),
        (Kind::ByteChanged, ok("2.35")),
        (Kind::ByteDoubled, ok("2.225")),
        (Kind::Lost, ok("3.25")),
        (Kind::Joined, ok("2.253.25")),
        (Kind::Garbled, Ok(b"\x7f?!\xff".to_vec())),
        (late, Err("no answer in time (0 bytes had arrived)".to_owned())),
        (Kind::Closed, Err("the connection was closed by the far end".to_owned())),
    ] {
        let (got, fired) = with_fault(2, kind).await;
        assert_eq!(got[0], ok("1.25"), "{kind:?}");
        assert_eq!(got[1], second, "{kind:?}");
        assert_eq!(fired, [kind]);
        if kind == late {
            assert_eq!(got[2], ok("2.25"), "a late reply comes in place of the next");
        }
    }
    let (link, mut far) = memory::pair(framing("\n"));
    let (mut link, fired) = Faulty::new(link, Schedule::from([(1, Kind::Unsent)]));
    link.send(b"lost", soon()).await.unwrap();
    link.send(b"kept", soon()).await.unwrap();
    let mut got = [0; 5];
    far.read_exact(&mut got).await.unwrap();
    assert_eq!(&got, b"kept\n");
    assert_eq!(fired.all(), [Kind::Unsent]);
}

#[derive(Default)]
struct Heard(Mutex<Vec<(Direction, String)>>);

impl TrafficSink for Heard {
    fn message(&self, direction: Direction, bytes: &[u8]) {
        self.0.lock().unwrap().push((direction, Escaped(bytes).to_string()));
    }
}

#[tokio::test(start_paused = true)]
async fn a_trace_hears_everything() {
    let heard = Arc::new(Heard::default());
    let (link, mut far) = memory::pair(framing("\n"));
    let mut link = Traced::new(link, heard.clone());
    link.send(b"*IDN?", soon()).await.unwrap();
    far.write_all(b"a\\b\nstray\x07").await.unwrap();
    link.receive(soon()).await.unwrap();
    link.drain(Duration::from_millis(10), soon()).await.unwrap();
    drop(far);
    assert!(link.receive(soon()).await.is_err());
    let heard = heard.0.lock().unwrap();
    let directions: Vec<Direction> = heard.iter().map(|(d, _)| *d).collect();
    assert_eq!(directions, [Direction::Sent, Direction::Received, Direction::ThrownAway, Direction::Failed]);
    assert_eq!(heard[1].1, "a\\\\b");
    assert_eq!(heard[2].1, "stray\\x07");
}

#[tokio::test]
async fn tcp_carries_messages_and_says_when_it_is_refused() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let address: Address = format!("TCPIP::127.0.0.1::{port}::SOCKET").parse().unwrap();
    let line = serial::Line::default();
    let (link, accepted) = tokio::join!(open(&address, &line, framing("\n"), soon()), listener.accept());
    let (mut link, mut far) = (link.unwrap(), accepted.unwrap().0);
    link.send(b"*IDN?", soon()).await.unwrap();
    let mut got = [0; 6];
    far.read_exact(&mut got).await.unwrap();
    far.write_all(b"here\n").await.unwrap();
    assert_eq!(link.receive(soon()).await.unwrap(), b"here");
    drop((far, listener));
    assert!(matches!(link.receive(soon()).await, Err(LinkError::Closed { .. })));
    let error = open(&address, &line, framing("\n"), soon()).await.err().unwrap().to_string();
    assert!(error.contains("cannot open TCPIP::127.0.0.1"), "{error}");
}

#[cfg(unix)]
#[tokio::test]
async fn a_serial_port_carries_every_byte_and_the_speed_that_was_set() {
    let mut far = crate::sys::Terminal::open().unwrap();
    let address: Address = format!("ASRL{}::INSTR", far.path()).parse().unwrap();
    // The levels are refused by a pseudo-terminal ("not a typewriter"); it opens all the same.
    let line = serial::Line {
        baud: 19200,
        stop_bits: serial::StopBits::Two,
        dtr: serial::Level::High,
        rts: serial::Level::Low,
        ..Default::default()
    };
    let mut link = open(&address, &line, framing("\n"), soon()).await.unwrap();
    assert_eq!(far.line().unwrap().0, 19200);
    let every: Vec<u8> = (0..=255).filter(|b| *b != b'\n').collect();
    link.send(&every, soon()).await.unwrap();
    let mut got = vec![0; 256];
    far.read_exact(&mut got).await.unwrap();
    assert_eq!(&got[..255], every);
    far.write_all(&every).await.unwrap();
    far.write_all(b"\n").await.unwrap();
    assert_eq!(link.receive(soon()).await.unwrap(), every);
    drop(far);
    assert!(matches!(link.receive(soon()).await, Err(LinkError::Closed { .. })), "the cable is out");
}

proptest::proptest! {
    #[test]
    fn no_address_panics(text in "\\PC{0,60}") {
        if let Ok(address) = text.parse::<Address>() {
            proptest::prop_assert_eq!(address.to_string().parse::<Address>().unwrap(), address);
        }
    }
}
