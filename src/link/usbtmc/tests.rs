//! The exchange against a bus that is made up: no hardware was tried.

use super::*;
use crate::link::ReceiveEnd;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex};

/// What a made-up instrument has been sent, and what it will send.
#[derive(Default)]
struct Made {
    sent: Vec<Vec<u8>>,
    requests: Vec<(Request, u16)>,
    transfers: VecDeque<Vec<u8>>,
    answers: VecDeque<Vec<u8>>,
    halts: u32,
}

#[derive(Clone, Default)]
struct Fake(Arc<Mutex<Made>>);

impl Fake {
    fn made(&self) -> std::sync::MutexGuard<'_, Made> {
        self.0.lock().unwrap()
    }
}

impl Pipes for Fake {
    fn write<'a>(&'a mut self, bytes: &'a [u8], _: Instant) -> Pending<'a, ()> {
        self.made().sent.push(bytes.to_vec());
        Box::pin(std::future::ready(Ok(())))
    }
    fn read(&mut self, _: usize, deadline: Instant) -> Pending<'_, Vec<u8>> {
        let next = self.made().transfers.pop_front();
        Box::pin(async move {
            match next {
                Some(bytes) => Ok(bytes),
                None => {
                    tokio::time::sleep_until(deadline).await;
                    Err(LinkError::Timeout { partial: Vec::new() })
                }
            }
        })
    }
    fn request(&mut self, request: Request, value: u16, _: Instant) -> Pending<'_, Vec<u8>> {
        self.made().requests.push((request, value));
        let answer = self.made().answers.pop_front().unwrap_or_default();
        Box::pin(std::future::ready(Ok(answer)))
    }
    fn clear_halt(&mut self, _: Instant) -> Pending<'_, ()> {
        self.made().halts += 1;
        Box::pin(std::future::ready(Ok(())))
    }
    fn interrupts(&self) -> bool {
        false
    }
}

fn link() -> (Usbtmc<Fake>, Fake) {
    let fake = Fake::default();
    let end = ReceiveEnd::Bytes { end: b"\n".to_vec(), scan: crate::scpi::message_end };
    (Usbtmc::new(fake.clone(), Framing { send_end: b"\n".to_vec(), receive_end: end, longest: 100 }), fake)
}

fn soon() -> Instant {
    Instant::now() + Duration::from_secs(1)
}

/// A reply to the request of this tag: a header that says `size`, and bytes.
fn reply(tag: u8, size: u32, last: u8, bytes: &[u8]) -> Vec<u8> {
    let size = size.to_le_bytes();
    [&[2, tag, !tag, 0], size.as_slice(), &[last, 0, 0, 0], bytes].concat()
}

/// USBTMC 1.0, 3.3: a reply may come in several transfers, and more than one request
/// may be needed; what it says of its size is not believed beyond what was asked for.
#[tokio::test(start_paused = true)]
async fn answers_come_in_pieces() {
    let (mut link, fake) = link();
    link.send(b"*IDN?", soon()).await.unwrap();
    assert_eq!(fake.made().sent[0][..12], [1, 1, 0xfe, 0, 6, 0, 0, 0, 1, 0, 0, 0]);
    let whole = reply(2, 4, 0, b"some");
    fake.made().transfers.extend([whole[..13].to_vec(), whole[13..].to_vec(), reply(3, 6, 1, b"thing\n\0\0")]);
    assert_eq!(link.receive(soon()).await.unwrap(), b"something");
    fake.made().transfers.push_back(reply(9, 4, 1, b"none"));
    assert!(matches!(link.receive(soon()).await, Err(LinkError::Io(_))), "another transfer's tag");
}

/// A late answer: its request stays under way, and a later call goes on with it; a new
/// message clears the device first (USBTMC 1.0, 4.2.1.6).
#[tokio::test(start_paused = true)]
async fn a_late_answer_is_waited_for_or_cleared_away() {
    let (mut link, fake) = link();
    link.send(b"READ?", soon()).await.unwrap();
    assert!(matches!(link.receive(soon()).await, Err(LinkError::Timeout { .. })));
    fake.made().transfers.push_back(reply(2, 4, 1, b"1.0\n"));
    assert_eq!(link.receive(soon()).await.unwrap(), b"1.0");
    assert_eq!(fake.made().sent.len(), 2, "the message and one request");
    link.send(b"READ?", soon()).await.unwrap();
    assert!(matches!(link.receive(soon()).await, Err(LinkError::Timeout { .. })));
    // Begun; still something to send; over.
    fake.made().answers.extend([vec![1], vec![2, 1], vec![1, 0]]);
    fake.made().transfers.push_back(b"old".to_vec());
    link.send(b"*IDN?", soon()).await.unwrap();
    let requests: Vec<Request> = fake.made().requests.iter().map(|r| r.0).collect();
    assert_eq!(requests, [Request::InitiateClear, Request::CheckClearStatus, Request::CheckClearStatus]);
    let made = fake.made();
    assert_eq!((made.halts, made.transfers.len()), (1, 0));
}

#[tokio::test(start_paused = true)]
async fn remote_control_is_taken_where_there_is_some_and_the_status_byte_is_read() {
    let (mut link, fake) = link();
    let mut capabilities = vec![1; 24];
    capabilities[14] = 0;
    fake.made().answers.push_back(capabilities.clone());
    link.take_remote(soon()).await.unwrap();
    capabilities[14] = 6;
    fake.made().answers.extend([capabilities, vec![1], vec![1, 2, 0x44]]);
    link.take_remote(soon()).await.unwrap();
    let requests = fake.made().requests.clone();
    assert_eq!(requests[1..], [(Request::GetCapabilities, 0), (Request::RemoteEnable, 1)]);
    assert_eq!(link.status_byte(soon()).await.unwrap(), Some(0x44));
}

/// Numbers of requests by USBTMC 1.0, table 15, and USB488, table 9.
#[test]
fn requests_have_the_numbers_of_the_standard() {
    let all = [
        Request::InitiateClear,
        Request::CheckClearStatus,
        Request::GetCapabilities,
        Request::ReadStatusByte,
        Request::RemoteEnable,
    ];
    assert_eq!(all.map(|r| r.number().0), [5, 6, 7, 128, 160]);
}
