//! Serving a stand-in over a byte stream: memory, TCP or a pseudo-terminal.
//! Terminators, echo, acknowledgement, prompt and the gap are here; what the
//! messages mean is the device's.

use super::rig::Rig;
use super::supply::Does;
use crate::clock::Clock;
use crate::instrument::Role;
use crate::instrument::profile::Wire;
use crate::units::Seconds;
use std::io;
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, BufReader, ReadHalf, WriteHalf};
use tokio::net::TcpListener;
use tokio::sync::mpsc;

/// Time that a stand-in takes for a message.
const REPLY: Seconds = Seconds(0.002);
/// The longest message that it takes.
const LONGEST: usize = 4096;
/// How many chunks may wait while it is busy.
const HEARD: usize = 64;

/// What a stand-in does beside its dialect: for tests.
#[derive(Clone, Copy, Debug, Default)]
pub struct Quirks {
    /// Ignores messages that come before the profile's gap has passed.
    pub strict_gap: bool,
    /// Falls silent after so many messages.
    pub silent_after: Option<u64>,
    /// Hangs up after so many messages.
    pub hang_up_after: Option<u64>,
    /// Takes this much longer for everything that it answers.
    pub slower: Seconds,
}

/// Serves one stand-in until the other end leaves.
///
/// # Errors
/// Those of the stream.
pub async fn serve<S: AsyncRead + AsyncWrite + Unpin>(rig: &Rig, role: Role, stream: S, quirks: Quirks) -> io::Result<()> {
    let Some(wire) = rig.wire(role).cloned() else { return Ok(()) };
    let (reader, writer) = tokio::io::split(stream);
    let (heard, chunks) = mpsc::channel(HEARD);
    tokio::select! {
        // In this order, so that one seed gives one outcome.
        biased;
        never = listen(reader, rig.clock(), heard) => match never {},
        done = obey(rig, role, &wire, quirks, chunks, writer) => done,
    }
}

/// What arrived, and when.
type Heard = io::Result<(Seconds, Vec<u8>)>;

/// Notes when bytes arrive, also while the device is busy; goes on until it is dropped.
async fn listen<S: AsyncRead>(mut reader: ReadHalf<S>, clock: Clock, heard: mpsc::Sender<Heard>) -> std::convert::Infallible {
    let mut chunk = [0; 1024];
    loop {
        let what = match reader.read(&mut chunk).await {
            Ok(0) => break,
            Ok(n) => Ok((clock.now(), chunk.get(..n).unwrap_or(&[]).to_vec())),
            Err(error) => Err(error),
        };
        let broken = what.is_err();
        if heard.send(what).await.is_err() || broken {
            break;
        }
    }
    drop(heard);
    std::future::pending().await
}

/// Takes one message after the other, and answers.
async fn obey<S: AsyncWrite>(
    rig: &Rig,
    role: Role,
    wire: &Wire,
    quirks: Quirks,
    mut chunks: mpsc::Receiver<Heard>,
    mut writer: WriteHalf<S>,
) -> io::Result<()> {
    let clock = rig.clock();
    let mut arrived = Vec::new();
    let mut free_at = Seconds(0.0);
    let mut count = 0;
    while let Some(heard) = chunks.recv().await {
        let (came, bytes) = heard?;
        arrived.extend_from_slice(&bytes);
        while let Some(message) = take(&mut arrived, wire.send_end.as_bytes()) {
            count += 1;
            if quirks.hang_up_after.is_some_and(|n| count > n) {
                return Ok(());
            }
            if quirks.silent_after.is_some_and(|n| count > n) || rig.is_unplugged(role) {
                continue;
            }
            // A real one misses what comes too early; half a millisecond is a timer's grain.
            if quirks.strict_gap && came.0 < free_at.0 - 5e-4 {
                continue;
            }
            let text = String::from_utf8_lossy(&message).trim().to_owned();
            clock.sleep(REPLY + quirks.slower).await;
            let does = rig.handle(role, &text);
            let sets = matches!(does, Does::Sets);
            let mut lines = Vec::new();
            let mut rest = Seconds(0.0);
            if wire.echo {
                lines.push(text);
            }
            match does {
                Does::Sets => lines.extend(wire.acknowledge.clone()),
                Does::Answers(answer) => {
                    lines.push(answer);
                    lines.extend(wire.acknowledge.clone());
                }
                Does::Measures { first, then } => {
                    clock.sleep(Seconds(first)).await;
                    lines.push(rig.finish(role));
                    lines.extend(wire.acknowledge.clone());
                    rest = Seconds(then) - REPLY;
                }
                Does::Complains(words) => lines.push(words),
                Does::Ignores => {}
            }
            lines.extend(wire.prompt.clone());
            let mut answer = Vec::new();
            for line in lines {
                answer.extend_from_slice(line.as_bytes());
                answer.extend_from_slice(wire.receive_end.as_bytes());
            }
            // The gap counts from the end of the message, or from that of its answer.
            free_at = if sets && answer.is_empty() {
                came + wire.write_gap
            } else {
                clock.now() + if sets { wire.write_gap } else { wire.gap } - REPLY
            };
            writer.write_all(&answer).await?;
            clock.sleep(rest).await;
        }
        if arrived.len() > LONGEST {
            arrived.clear();
        }
    }
    Ok(())
}

fn take(arrived: &mut Vec<u8>, end: &[u8]) -> Option<Vec<u8>> {
    let at = if end.is_empty() {
        (!arrived.is_empty()).then_some(arrived.len())
    } else {
        arrived.windows(end.len()).position(|w| w == end)
    }?;
    let rest = arrived.split_off(at + end.len());
    let mut message = std::mem::replace(arrived, rest);
    message.truncate(at);
    Some(message)
}

/// Serves a stand-in on a listener: one client at a time, the next when it leaves.
///
/// # Errors
/// Those of the listener.
pub async fn serve_tcp(rig: Rig, role: Role, listener: TcpListener) -> io::Result<()> {
    loop {
        let (stream, _) = listener.accept().await?;
        stream.set_nodelay(true)?;
        if let Err(error) = serve(&rig, role, stream, Quirks::default()).await {
            tracing::info!("a client of the {} left: {error}", role.name());
        }
    }
}

/// Serves a stand-in on a pseudo-terminal, for as long as it exists.
///
/// # Errors
/// Those of the terminal.
pub async fn serve_terminal(rig: Rig, role: Role, terminal: crate::sys::Terminal) -> io::Result<()> {
    serve(&rig, role, terminal, Quirks::default()).await
}

/// The patch panel: who runs a plan against stand-ins says here, a line each, what
/// the operator has connected; `ok` or the reason comes back.
///
/// # Errors
/// Those of the listener.
pub async fn patch(rig: Rig, listener: TcpListener) -> io::Result<()> {
    loop {
        let (stream, _) = listener.accept().await?;
        let mut lines = BufReader::new(stream).take(64 * 1024).lines();
        while let Ok(Some(line)) = lines.next_line().await {
            let answer = match rig.connect(line.trim()) {
                Ok(()) => "ok\n".to_owned(),
                Err(why) => format!("{why}\n"),
            };
            if lines.get_mut().get_mut().get_mut().write_all(answer.as_bytes()).await.is_err() {
                break;
            }
        }
    }
}
