//! A connection that carries remote procedure calls (ONC RPC, RFC 5531): records over
//! TCP, one call at a time. The messages are the `onc-rpc` crate's; parameters and
//! results are XDR (RFC 4506), of which whole numbers and opaque bytes are used.
//!
//! Holds always: a call that is given up half-way is remembered, and its reply is
//! passed over when it comes.

use crate::link::LinkError;
use crate::link::stream::is_gone;
use onc_rpc::auth::AuthFlavor;
use onc_rpc::{AcceptedStatus, CallBody, MessageType, ReplyBody, RpcMessage};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout_at};

/// The bit of a record mark that says that this is the record's last fragment.
const LAST: u32 = 1 << 31;

/// A program with its version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Program {
    /// Its number.
    pub number: u32,
    /// Its version.
    pub version: u32,
}

/// A connection to one program.
pub struct Caller {
    stream: TcpStream,
    program: Program,
    next: u32,
    arrived: Vec<u8>,
    unsent: Vec<u8>,
    longest: usize,
}

impl Caller {
    /// Over an open connection; replies up to `longest` bytes are taken.
    pub fn new(stream: TcpStream, program: Program, longest: usize) -> Self {
        Self { stream, program, next: 1, arrived: Vec::new(), unsent: Vec::new(), longest }
    }

    /// Calls a procedure; the result's bytes.
    ///
    /// # Errors
    /// [`LinkError::Timeout`], [`LinkError::Closed`], or in words what the server refused.
    pub async fn call(&mut self, procedure: u32, parameters: &[u8], deadline: Instant) -> Result<Vec<u8>, LinkError> {
        let number = self.send(procedure, parameters, deadline).await?;
        self.reply(number, deadline).await
    }

    /// Sends a call and returns its number.
    pub async fn send(&mut self, procedure: u32, parameters: &[u8], deadline: Instant) -> Result<u32, LinkError> {
        let number = self.queue(procedure, parameters)?;
        while !self.unsent.is_empty() {
            match timeout_at(deadline, self.stream.write(&self.unsent)).await {
                Err(_) => return Err(LinkError::Timeout { partial: Vec::new() }),
                Ok(Ok(0)) => return Err(LinkError::Closed { partial: Vec::new() }),
                Ok(Ok(sent)) => drop(self.unsent.drain(..sent)),
                Ok(Err(error)) if is_gone(&error) => return Err(LinkError::Closed { partial: Vec::new() }),
                Ok(Err(error)) => return Err(error.into()),
            }
        }
        Ok(number)
    }

    /// Sends a call as far as that goes without waiting; nobody waits for its reply.
    pub fn post(&mut self, procedure: u32, parameters: &[u8]) -> std::io::Result<usize> {
        self.queue(procedure, parameters)?;
        self.stream.try_write(&self.unsent)
    }

    fn queue(&mut self, procedure: u32, parameters: &[u8]) -> std::io::Result<u32> {
        let number = self.next;
        self.next = self.next.wrapping_add(1);
        let nobody = || AuthFlavor::<&[u8]>::AuthNone(None);
        let body = CallBody::new(self.program.number, self.program.version, procedure, nobody(), nobody(), parameters);
        self.unsent.extend(RpcMessage::new(number, MessageType::Call(body)).serialise()?);
        Ok(number)
    }

    /// Waits for the reply to a call; replies to calls before it are passed over.
    pub async fn reply(&mut self, number: u32, deadline: Instant) -> Result<Vec<u8>, LinkError> {
        loop {
            while let Some(record) = self.take()? {
                if let Some(result) = result(&record, number)? {
                    return Ok(result);
                }
            }
            match timeout_at(deadline, self.stream.read_buf(&mut self.arrived)).await {
                Err(_) => return Err(LinkError::Timeout { partial: Vec::new() }),
                Ok(Ok(0)) => return Err(LinkError::Closed { partial: Vec::new() }),
                Ok(Ok(_)) => {}
                Ok(Err(error)) if is_gone(&error) => return Err(LinkError::Closed { partial: Vec::new() }),
                Ok(Err(error)) => return Err(error.into()),
            }
        }
    }

    /// The first whole record of what has arrived, its fragments joined into one.
    fn take(&mut self) -> Result<Option<Vec<u8>>, LinkError> {
        let mut record = vec![0; 4];
        let mut rest = self.arrived.as_slice();
        loop {
            let Some((mark, after)) = rest.split_first_chunk::<4>() else { return Ok(None) };
            let mark = u32::from_be_bytes(*mark);
            let length = (mark & !LAST) as usize;
            if record.len() + length > self.longest.saturating_add(4) {
                return Err(LinkError::TooLong { limit: self.longest });
            }
            let Some((fragment, after)) = after.split_at_checked(length) else { return Ok(None) };
            record.extend_from_slice(fragment);
            rest = after;
            if mark & LAST != 0 {
                break;
            }
        }
        let taken = self.arrived.len() - rest.len();
        self.arrived.drain(..taken);
        let length = u32::try_from(record.len() - 4).unwrap_or(0) | LAST;
        if let Some(mark) = record.first_chunk_mut::<4>() {
            *mark = length.to_be_bytes();
        }
        Ok(Some(record))
    }
}

/// The result of the call of this number, where the record is its reply.
fn result(record: &[u8], number: u32) -> Result<Option<Vec<u8>>, LinkError> {
    let said = |what: &str| LinkError::Io(std::io::Error::other(what.to_owned()));
    let message = RpcMessage::<&[u8], &[u8]>::try_from(record)
        .map_err(|error| said(&format!("what arrived is no reply to a remote procedure call: {error}")))?;
    if message.xid() != number {
        return Ok(None);
    }
    match message.reply_body() {
        Some(ReplyBody::Accepted(reply)) => match reply.status() {
            AcceptedStatus::Success(result) => Ok(Some(result.to_vec())),
            AcceptedStatus::ProgramUnavailable => Err(said("it does not have this program")),
            AcceptedStatus::ProgramMismatch { low, high } => {
                Err(said(&format!("it has this program in versions {low} to {high} only")))
            }
            AcceptedStatus::ProcedureUnavailable => Err(said("it does not have this procedure")),
            AcceptedStatus::GarbageArgs => Err(said("it did not understand the parameters")),
            AcceptedStatus::SystemError => Err(said("it reports an error of its own")),
        },
        Some(ReplyBody::Denied(_)) => Err(said("it refused the call")),
        None => Err(said("a call arrived in place of a reply")),
    }
}

/// XDR: a whole number.
pub fn number(value: u32, into: &mut Vec<u8>) {
    into.extend_from_slice(&value.to_be_bytes());
}

/// XDR: bytes with their count, filled up to a multiple of four.
pub fn bytes(value: &[u8], into: &mut Vec<u8>) {
    number(u32::try_from(value.len()).unwrap_or(u32::MAX), into);
    into.extend_from_slice(value);
    into.resize(into.len().next_multiple_of(4), 0);
}

/// XDR: takes a whole number from the front of `from`.
pub fn take_number(from: &mut &[u8]) -> Result<u32, LinkError> {
    let (number, rest) = from.split_first_chunk::<4>().ok_or_else(short)?;
    *from = rest;
    Ok(u32::from_be_bytes(*number))
}

/// XDR: takes bytes with their count from the front of `from`.
pub fn take_bytes(from: &mut &[u8]) -> Result<Vec<u8>, LinkError> {
    let length = take_number(from)? as usize;
    let (found, rest) = from.split_at_checked(length).ok_or_else(short)?;
    // What fills up may be missing at the very end.
    *from = rest.get(length.next_multiple_of(4) - length..).unwrap_or_default();
    Ok(found.to_vec())
}

fn short() -> LinkError {
    LinkError::Io(std::io::Error::other("the result of a remote procedure call is shorter than it should be"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 5531 and RFC 1833: the record that asks a portmapper for VXI-11's core
    /// channel, computed from the standards by hand.
    #[tokio::test]
    async fn a_call_has_the_bytes_of_the_standard() {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let stream = TcpStream::connect(listener.local_addr().unwrap()).await.unwrap();
        let (mut far, _) = listener.accept().await.unwrap();
        let mut caller = Caller::new(stream, Program { number: 100_000, version: 2 }, 1000);
        let mut parameters = Vec::new();
        for value in [0x0607AF, 1, 6, 0] {
            number(value, &mut parameters);
        }
        let deadline = Instant::now() + std::time::Duration::from_secs(10);
        caller.send(3, &parameters, deadline).await.unwrap();
        let mut seen = [0; 60];
        far.read_exact(&mut seen).await.unwrap();
        let words: Vec<u32> = seen.chunks(4).map(|w| u32::from_be_bytes(w.try_into().unwrap())).collect();
        assert_eq!(words, [0x8000_0038, 1, 0, 2, 0x186a0, 2, 3, 0, 0, 0, 0, 0x607af, 1, 6, 0]);
        // A reply in two fragments, after one to a call that was given up.
        let reply = |xid: u32, port: u32| [xid, 1, 0, 0, 0, 0, port].map(u32::to_be_bytes).concat();
        let (first, second) = (reply(77, 1), reply(1, 1024));
        let (a, b) = second.split_at(9);
        for (mark, part) in [(28 | LAST, first.as_slice()), (9, a), (19 | LAST, b)] {
            far.write_all(&mark.to_be_bytes()).await.unwrap();
            far.write_all(part).await.unwrap();
        }
        let result = caller.reply(1, deadline).await.unwrap();
        assert_eq!(take_number(&mut result.as_slice()).unwrap(), 1024);
    }

    #[test]
    fn bytes_are_filled_up_to_four() {
        let mut made = Vec::new();
        bytes(b"inst0", &mut made);
        assert_eq!(made, b"\0\0\0\x05inst0\0\0\0");
        assert_eq!(take_bytes(&mut made.as_slice()).unwrap(), b"inst0");
        assert!(take_bytes(&mut b"\0\0\0\x05ins".as_slice()).is_err());
        assert!(take_bytes(&mut b"\xff\xff\xff\xffins".as_slice()).is_err());
    }
}
