//! Serving a stand-in over a byte stream: memory, TCP or a pseudo-terminal.
//! Terminators, echo, acknowledgement, prompt and the gap are here; what the
//! messages mean is the device's.

mod line;
mod sum;

use line::Minding;
use sum::Sum;

use super::message::{Dialogue, Does, LONGEST};
use super::rig::Rig;
use crate::clock::Clock;
use crate::instrument::Role;
use crate::instrument::profile::Wire;
use crate::plan::Quirks;
use crate::units::Seconds;
use std::collections::VecDeque;
use std::io;
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, BufReader, ReadHalf, WriteHalf};
use tokio::net::TcpListener;
use tokio::sync::mpsc;

/// Time that a stand-in takes for a message.
const REPLY: Seconds = Seconds(0.002);
/// How long one that has nothing to say waits until it looks again.
const SILENT: Seconds = Seconds(0.1);
/// How many chunks may wait while it is busy.
const HEARD: usize = 64;

/// Serves one stand-in until the other end leaves.
///
/// # Errors
/// Those of the stream.
pub async fn serve<S: AsyncRead + AsyncWrite + Unpin>(rig: &Rig, role: Role, stream: S) -> io::Result<()> {
    let Some(wire) = rig.wire(role).cloned() else { return Ok(()) };
    let (reader, writer) = tokio::io::split(stream);
    let (heard, chunks) = mpsc::channel(HEARD);
    tokio::select! {
        // In this order, so that one seed gives one outcome.
        biased;
        never = listen(reader, rig.clock(), heard) => match never {},
        done = obey(rig, role, wire, chunks, writer) => done,
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
    mut wire: Wire,
    chunks: mpsc::Receiver<Heard>,
    mut writer: WriteHalf<S>,
) -> io::Result<()> {
    let clock = rig.clock();
    let mut ear = Ear { chunks, arrived: Vec::new(), came: Seconds(0.0), overrun: false, said: Vec::new() };
    let mut free_at = Seconds(0.0);
    let mut count = Count::default();
    let mut hangs = false;
    if let Some(end) = &rig.quirks(role).answers_end {
        wire.receive_end.clone_from(end);
    }
    let standard = rig.dialogue(role, |d| d.is_standard()).unwrap_or(false);
    if standard && wire.send_end == "\r\n" {
        // To a device of IEEE 488.2 the newline ends a message, and what is before it is white space.
        wire.send_end = "\n".into();
    }
    ear.boot(rig, role, &wire, &mut writer).await?;
    while ear.hear_or_speak(rig, role, &wire, &mut writer).await? {
        while let Some(mut message) = ear.take(wire.send_end.as_bytes()) {
            while standard && message.last() == Some(&b'\r') {
                message.pop();
            }
            let quirks = rig.quirks(role);
            let interrupts = quirks.interrupts || quirks.hangs_when_hurried || standard;
            count.messages += 1;
            if quirks.hangs_up_after.is_some_and(|n| count.messages > n) {
                return Ok(());
            }
            if hangs || quirks.silent_after.is_some_and(|n| count.messages > n) || rig.is_unplugged(role) {
                continue;
            }
            // A real one misses what comes too early; half a millisecond is a timer's grain.
            if (quirks.misses_early || quirks.gap.is_some()) && ear.came.0 < free_at.0 - 5e-4 {
                continue;
            }
            if !count.is_heard(&quirks, &wire, &mut message) {
                continue;
            }
            let came = ear.came;
            clock.sleep(REPLY + quirks.slower).await;
            let mut does = rig.handle(role, &message);
            let sets = matches!(does, Does::Sets);
            let mut rest = Seconds(0.0);
            let mut interrupted = false;
            while let Does::Measures { first, then } = does {
                rest = rest.max(Seconds(then) - REPLY);
                if interrupts {
                    interrupted = ear.interrupts(clock.sleep(Seconds(first))).await?;
                } else {
                    clock.sleep(Seconds(first)).await;
                }
                if interrupted {
                    break;
                }
                does = rig.finish(role);
            }
            if message.eq_ignore_ascii_case(b"*RST") {
                hangs = quirks.hangs_on_reset;
                clock.sleep(quirks.reset_takes).await;
            }
            let answers = interrupted || matches!(does, Does::Answers(_) | Does::Sends(_));
            count.answers += u64::from(answers);
            if quirks.late_at == Some(count.answers) && answers {
                if interrupts {
                    interrupted |= ear.interrupts(clock.sleep(quirks.late_by)).await?;
                } else {
                    clock.sleep(quirks.late_by).await;
                }
            }
            if interrupted || (interrupts && answers && ear.has_more()?) {
                hangs = quirks.hangs_when_hurried;
                rig.dialogue(role, Dialogue::interrupt);
                continue;
            }
            let mut answer = response(&wire, &quirks, &message, does);
            if answers && quirks.corrupts_every.is_some_and(|n| n > 0 && count.answers.is_multiple_of(n)) {
                corrupt(&mut answer);
            }
            // The gap counts from the end of the message, or from that of its answer.
            let (gap, write_gap) = quirks.gap.map_or((wire.gap, wire.write_gap), |gap| (gap, gap));
            free_at = if sets && answer.is_empty() {
                came + write_gap
            } else {
                clock.now() + if sets { write_gap } else { gap } - REPLY
            };
            writer.write_all(&answer).await?;
            if answers {
                ear.said = answer;
            }
            clock.sleep(rest).await;
        }
        if ear.is_overrun() {
            rig.dialogue(role, Dialogue::overrun);
        }
    }
    rig.dialogue(role, Dialogue::hang_up);
    // Who leaves in the middle of a question had wanted an answer.
    if ear.arrived.contains(&b'?') {
        rig.dialogue(role, Dialogue::leave_unterminated);
    }
    Ok(())
}

/// What it has been told and asked so far.
#[derive(Clone, Copy, Debug, Default)]
struct Count {
    messages: u64,
    writes: u64,
    answers: u64,
}

impl Count {
    /// Whether a message gets through, and what of it.
    fn is_heard(&mut self, quirks: &Quirks, wire: &Wire, message: &mut Vec<u8>) -> bool {
        if let Some(sum) = Sum::of(wire, quirks) {
            let Some(text) = sum.strip(message) else { return false };
            message.truncate(text);
        }
        if !message.contains(&b'?') {
            self.writes += 1;
            if quirks.loses_every.is_some_and(|n| n > 0 && self.writes.is_multiple_of(n)) {
                return false;
            }
        }
        if let Some(most) = quirks.takes_at_most {
            message.truncate(usize::try_from(most).unwrap_or(usize::MAX));
        }
        if quirks.one_command
            && let Some(end) = message.iter().position(|b| *b == b';')
        {
            message.truncate(end);
        }
        true
    }
}

/// One bit of the middle becomes another.
fn corrupt(answer: &mut [u8]) {
    let middle = answer.len() / 2;
    if let Some(byte) = answer.get_mut(middle) {
        *byte ^= 0x01;
    }
}

/// What is sent after a message: its echo, the answer, the acknowledgement, the prompt.
fn response(wire: &Wire, quirks: &Quirks, message: &[u8], does: Does) -> Vec<u8> {
    let echo = wire.echo.then(|| String::from_utf8_lossy(message).trim().as_bytes().to_owned());
    let (line, acknowledged) = match does {
        Does::Sets => (None, true),
        Does::Answers(answer) => (Some(answer.into_bytes()), true),
        Does::Sends(block) => (Some(block), true),
        Does::Complains(words) => (Some(words.into_bytes()), false),
        Does::Ignores | Does::Measures { .. } => (None, false),
    };
    let acknowledgement = wire.acknowledge.as_deref().filter(|_| acknowledged).map(str::as_bytes);
    let sum = Sum::of(wire, quirks);
    let prompt = wire.prompt.as_deref().map(str::as_bytes);
    let lines = [(echo.as_deref(), true), (line.as_deref(), true), (acknowledgement, true), (prompt, false)];
    let mut bytes = Vec::new();
    for (line, summed) in lines.into_iter().filter_map(|(line, summed)| Some((line?, summed))) {
        bytes.extend_from_slice(line);
        if let Some(sum) = sum.as_ref().filter(|_| summed) {
            bytes.extend(sum.behind(line));
        }
        bytes.extend_from_slice(wire.receive_end.as_bytes());
    }
    bytes
}

/// What a stand-in says unasked, and how old that is.
struct Speech {
    lag: Seconds,
    due: VecDeque<(Seconds, Vec<u8>)>,
}

impl Speech {
    /// One measurement, and the lines that are due by its end.
    async fn next<S: AsyncWrite>(&mut self, rig: &Rig, role: Role, wire: &Wire, writer: &mut WriteHalf<S>) -> io::Result<()> {
        let clock = rig.clock();
        // Of one that measures nothing (it is in the wrong function) nothing comes.
        let Does::Measures { first, .. } = rig.stream() else {
            clock.sleep(SILENT).await;
            return Ok(());
        };
        clock.sleep(Seconds(first)).await;
        let mut does = rig.finish(role);
        while let Does::Measures { first, .. } = does {
            clock.sleep(Seconds(first)).await;
            does = rig.finish(role);
        }
        if let Does::Answers(text) = does
            && !rig.is_unplugged(role)
        {
            self.due.push_back((clock.now() + self.lag, response(wire, &rig.quirks(role), &[], Does::Answers(text))));
        }
        while self.due.front().is_some_and(|(due, _)| *due <= clock.now()) {
            if let Some((_, line)) = self.due.pop_front() {
                writer.write_all(&line).await?;
            }
        }
        Ok(())
    }
}

/// What has arrived and has not been taken yet.
struct Ear {
    chunks: mpsc::Receiver<Heard>,
    arrived: Vec<u8>,
    /// When the last of it came.
    came: Seconds,
    /// More had arrived than there is room for: up to the next terminator all is lost.
    overrun: bool,
    /// The last answer.
    said: Vec<u8>,
}

impl Ear {
    /// It starts: meanwhile it hears nothing, and then it may say so.
    async fn boot<S: AsyncWrite>(&mut self, rig: &Rig, role: Role, wire: &Wire, writer: &mut WriteHalf<S>) -> io::Result<()> {
        let quirks = rig.quirks(role);
        if quirks.boot_takes.0 > 0.0 {
            rig.clock().sleep(quirks.boot_takes).await;
            self.has_more()?;
            self.arrived.clear();
        }
        if let Some(text) = &quirks.boot_text {
            writer.write_all(format!("{text}{}", wire.receive_end).as_bytes()).await?;
        }
        Ok(())
    }

    /// Waits for more; meanwhile it speaks or repeats itself where it does that.
    async fn hear_or_speak<S: AsyncWrite>(
        &mut self,
        rig: &Rig,
        role: Role,
        wire: &Wire,
        writer: &mut WriteHalf<S>,
    ) -> io::Result<bool> {
        let clock = rig.clock();
        if let Some(old) = rig.streams(role) {
            let mut speech = Speech { lag: rig.quirks(role).stream_lag.unwrap_or(old), due: VecDeque::new() };
            loop {
                let next = speech.next(rig, role, wire, writer);
                tokio::select! {
                    biased;
                    heard = self.chunks.recv() => return self.note(heard),
                    spoken = next => spoken?,
                }
            }
        }
        while let Some(period) = rig.quirks(role).repeats_itself {
            tokio::select! {
                biased;
                heard = self.chunks.recv() => return self.note(heard),
                () = clock.sleep(period) => writer.write_all(&self.said).await?,
            }
        }
        self.hear().await
    }

    /// Waits for more; false when nothing will come any more.
    async fn hear(&mut self) -> io::Result<bool> {
        let heard = self.chunks.recv().await;
        self.note(heard)
    }

    fn note(&mut self, heard: Option<Heard>) -> io::Result<bool> {
        let Some(heard) = heard else { return Ok(false) };
        let (came, bytes) = heard?;
        self.came = came;
        self.arrived.extend_from_slice(&bytes);
        Ok(true)
    }

    /// Whether another message has begun to arrive by now.
    fn has_more(&mut self) -> io::Result<bool> {
        while let Ok(heard) = self.chunks.try_recv() {
            self.note(Some(heard))?;
        }
        Ok(self.arrived.iter().any(|byte| !byte.is_ascii_whitespace()))
    }

    /// Waits, unless another message begins to arrive.
    async fn interrupts(&mut self, wait: impl Future<Output = ()>) -> io::Result<bool> {
        tokio::pin!(wait);
        loop {
            if self.has_more()? {
                return Ok(true);
            }
            tokio::select! {
                biased;
                () = &mut wait => return Ok(false),
                heard = self.chunks.recv() => {
                    if !self.note(heard)? {
                        // Nobody can interrupt any more.
                        wait.await;
                        return Ok(false);
                    }
                }
            }
        }
    }

    /// The first whole message.
    fn take(&mut self, end: &[u8]) -> Option<Vec<u8>> {
        loop {
            let message = take(&mut self.arrived, end)?;
            if !std::mem::take(&mut self.overrun) {
                return Some(message);
            }
        }
    }

    /// Whether there is no room for what has arrived. It is thrown away then, and what
    /// comes up to the next terminator with it.
    fn is_overrun(&mut self) -> bool {
        if self.arrived.len() <= LONGEST {
            return false;
        }
        self.arrived.clear();
        !std::mem::replace(&mut self.overrun, true)
    }
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
        let refuses = rig.quirks(role).one_client;
        let served = serve(&rig, role, stream);
        tokio::pin!(served);
        let left = loop {
            tokio::select! {
                left = &mut served => break left,
                // Taken, and let go of at once.
                second = listener.accept(), if refuses => drop(second),
            }
        };
        if let Err(error) = left {
            tracing::info!("a client of the {} left: {error}", role.name());
        }
    }
}

/// Serves a stand-in on a pseudo-terminal, for as long as it exists.
///
/// # Errors
/// Those of the terminal.
pub async fn serve_terminal(rig: Rig, role: Role, terminal: crate::sys::Terminal) -> io::Result<()> {
    match rig.wire(role) {
        Some(wire) if rig.quirks(role).minds_line => {
            let minding = Minding::new(terminal, &wire.line);
            serve(&rig, role, minding).await
        }
        _ => serve(&rig, role, terminal).await,
    }
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
