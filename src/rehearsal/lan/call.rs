//! Remote procedure calls from the called side (ONC RPC, RFC 5531; XDR, RFC 4506).

use std::io;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// The longest record that is taken, in bytes.
const LONGEST: usize = 64 * 1024;

/// A call that arrived.
#[derive(Debug)]
pub(super) struct Call {
    number: u32,
    /// Version of the protocol itself.
    protocol: u32,
    pub(super) program: u32,
    pub(super) version: u32,
    pub(super) procedure: u32,
    pub(super) parameters: Parameters,
}

/// What comes back.
#[derive(Debug)]
pub(super) enum Outcome {
    Result(Vec<u8>),
    NoProgram,
    /// This version is the one there is.
    Version(u32),
    NoProcedure,
    Garbage,
}

/// Parameters, taken from the front; once one is missing all are.
#[derive(Debug)]
pub(super) struct Parameters(Vec<u8>);

impl Parameters {
    pub(super) fn number(&mut self) -> Option<u32> {
        let number = u32::from_be_bytes(*self.0.first_chunk::<4>()?);
        self.0.drain(..4);
        Some(number)
    }

    pub(super) fn opaque(&mut self) -> Option<Vec<u8>> {
        let length = self.number()? as usize;
        let padded = length.checked_next_multiple_of(4)?;
        if padded > self.0.len() {
            return None;
        }
        let mut found: Vec<u8> = self.0.drain(..padded).collect();
        found.truncate(length);
        Some(found)
    }
}

/// A result that is being made.
#[derive(Debug, Default)]
pub(super) struct Results(Vec<u8>);

impl Results {
    pub(super) fn number(mut self, value: u32) -> Self {
        self.0.extend(value.to_be_bytes());
        self
    }

    pub(super) fn opaque(mut self, bytes: &[u8]) -> Self {
        self = self.number(bytes.len() as u32);
        self.0.extend(bytes);
        while !self.0.len().is_multiple_of(4) {
            self.0.push(0);
        }
        self
    }

    pub(super) fn done(self) -> Outcome {
        Outcome::Result(self.0)
    }
}

/// The next call; `None` when the caller has left.
pub(super) async fn next(stream: &mut TcpStream) -> io::Result<Option<Call>> {
    let mut record = Vec::new();
    loop {
        let mark = match stream.read_u32().await {
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(None),
            other => other?,
        };
        let length = (mark & 0x7fff_ffff) as usize;
        if record.len() + length > LONGEST {
            return Err(io::Error::other("a record that is too long"));
        }
        let from = record.len();
        record.resize(from + length, 0);
        stream.read_exact(record.get_mut(from..).unwrap_or_default()).await?;
        if mark >> 31 == 1 {
            break;
        }
    }
    let mut rest = Parameters(record);
    let parsed = (|| {
        let number = rest.number()?;
        let is_call = rest.number()? == 0;
        let (protocol, program, version, procedure) = (rest.number()?, rest.number()?, rest.number()?, rest.number()?);
        for _ in ["credentials", "verifier"] {
            rest.number()?;
            rest.opaque()?;
        }
        is_call.then_some((number, protocol, program, version, procedure))
    })();
    let (number, protocol, program, version, procedure) = parsed.ok_or_else(|| io::Error::other("no call"))?;
    Ok(Some(Call { number, protocol, program, version, procedure, parameters: rest }))
}

/// Answers a call.
pub(super) async fn reply(stream: &mut TcpStream, call: &Call, outcome: Outcome) -> io::Result<()> {
    let head = Results::default().number(call.number).number(1);
    let body = if call.protocol == 2 {
        // Accepted, by nobody in particular.
        let accepted = head.number(0).number(0).number(0);
        match outcome {
            Outcome::Result(result) => {
                let mut body = accepted.number(0);
                body.0.extend(result);
                body
            }
            Outcome::NoProgram => accepted.number(1),
            Outcome::Version(version) => accepted.number(2).number(version).number(version),
            Outcome::NoProcedure => accepted.number(3),
            Outcome::Garbage => accepted.number(4),
        }
    } else {
        // Denied: versions 2 to 2 of the protocol are spoken.
        head.number(1).number(0).number(2).number(2)
    };
    let mark = 0x8000_0000 | body.0.len() as u32;
    let mut record = mark.to_be_bytes().to_vec();
    record.extend(body.0);
    stream.write_all(&record).await
}
