//! A stand-in that speaks HiSLIP 1.0 (IVI-6.1) in synchronised mode.

use super::{LONGEST, Locks, Said, Worker, forget};
use crate::instrument::Role;
use crate::rehearsal::message::Dialogue;
use crate::rehearsal::rig::Rig;
use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;

/// The longest message that is taken, header and all, and the vendor in the answers.
const TAKES: u64 = 1024;
const VENDOR: u32 = 0x5A5A;

/// One message: type, control code, parameter, payload.
#[derive(Debug)]
struct Message(u8, u8, u32, Vec<u8>);

impl Message {
    fn bytes(&self) -> Vec<u8> {
        let mut bytes = b"HS".to_vec();
        bytes.push(self.0);
        bytes.push(self.1);
        bytes.extend(self.2.to_be_bytes());
        bytes.extend((self.3.len() as u64).to_be_bytes());
        bytes.extend(&self.3);
        bytes
    }
}

/// Why a message could not be read.
enum Broken {
    Gone,
    Header,
    TooLong,
}

async fn read(stream: &mut OwnedReadHalf) -> Result<Message, Broken> {
    let mut head = [0; 16];
    stream.read_exact(&mut head).await.map_err(|_| Broken::Gone)?;
    let [b'H', b'S', kind, control, p0, p1, p2, p3, size @ ..] = head else { return Err(Broken::Header) };
    let size = u64::from_be_bytes(size);
    if size > 2 * TAKES {
        return Err(Broken::TooLong);
    }
    let mut payload = vec![0; usize::try_from(size).unwrap_or(0)];
    stream.read_exact(&mut payload).await.map_err(|_| Broken::Gone)?;
    Ok(Message(kind, control, u32::from_be_bytes([p0, p1, p2, p3]), payload))
}

/// Reads until nothing comes; what is wrong is said once, and ends it.
async fn listen(mut stream: OwnedReadHalf, heard: mpsc::Sender<Result<Message, Broken>>) {
    loop {
        let message = read(&mut stream).await;
        let over = message.is_err();
        if heard.send(message).await.is_err() || over {
            break;
        }
    }
}

type Heard = mpsc::Receiver<Result<Message, Broken>>;

/// The second connection of a session, handed to it by whoever accepted it.
type Beside = (Heard, OwnedWriteHalf);

#[derive(Clone)]
struct Shared {
    rig: Rig,
    role: Role,
    locks: Locks,
    waiting: Arc<Mutex<BTreeMap<u16, mpsc::Sender<Beside>>>>,
}

/// Serves a stand-in on a listener: as many sessions as come.
///
/// # Errors
/// Those of the listener.
pub async fn serve_hislip(rig: Rig, role: Role, listener: TcpListener) -> io::Result<()> {
    let shared = Shared { rig, role, locks: Locks::default(), waiting: Arc::default() };
    let mut session: u16 = 0;
    loop {
        let (stream, _) = listener.accept().await?;
        stream.set_nodelay(true)?;
        session = session.wrapping_add(1);
        tokio::spawn(greet(shared.clone(), stream, session));
    }
}

/// The first message says which of the two connections this is.
async fn greet(shared: Shared, stream: TcpStream, session: u16) {
    let (reader, mut writer) = stream.into_split();
    let (sender, mut heard) = mpsc::channel(64);
    let listening = tokio::spawn(listen(reader, sender));
    match heard.recv().await {
        Some(Ok(Message(0, _, _, device))) if device.is_empty() || device.eq_ignore_ascii_case(b"hislip0") => {
            let (handed, mut second) = mpsc::channel(1);
            shared.waiting.lock().unwrap_or_else(PoisonError::into_inner).insert(session, handed);
            let welcome = Message(1, 0, (0x0100 << 16) | u32::from(session), Vec::new());
            if writer.write_all(&welcome.bytes()).await.is_ok()
                && let Some(beside) = second.recv().await
            {
                let mut conversation = Conversation::new(shared.clone(), session, writer, beside.1);
                conversation.go_on(heard, beside.0).await;
                shared.locks.free(session.into());
            }
            shared.waiting.lock().unwrap_or_else(PoisonError::into_inner).remove(&session);
        }
        Some(Ok(Message(17, _, parameter, _))) => {
            let waiting = u16::try_from(parameter)
                .ok()
                .and_then(|id| shared.waiting.lock().unwrap_or_else(PoisonError::into_inner).get(&id).cloned());
            match waiting {
                Some(waiting) if writer.write_all(&Message(18, 0, VENDOR, Vec::new()).bytes()).await.is_ok() => {
                    // Where the session is gone this connection ends, too.
                    if waiting.send((heard, writer)).await.is_ok() {
                        return;
                    }
                }
                _ => farewell(&mut writer, 3).await,
            }
        }
        Some(Ok(_)) => farewell(&mut writer, 3).await,
        Some(Err(Broken::Header | Broken::TooLong)) => farewell(&mut writer, 1).await,
        Some(Err(Broken::Gone)) | None => {}
    }
    listening.abort();
}

/// A fatal error, after which nothing is said any more.
async fn farewell(writer: &mut OwnedWriteHalf, code: u8) {
    if let Err(error) = writer.write_all(&Message(2, code, 0, Vec::new()).bytes()).await {
        tracing::debug!("a client did not wait for its fatal error: {error}");
    }
}

/// A session with both its connections.
struct Conversation {
    shared: Shared,
    id: u16,
    sync: OwnedWriteHalf,
    beside: OwnedWriteHalf,
    /// What has come of a message that has not ended.
    arrived: Vec<u8>,
    worker: Worker,
    /// The longest message that the client takes, with its header.
    most: u64,
    /// An answer was sent, and the client has not said that it was delivered.
    open: bool,
    /// Between the client's device clear and its end.
    clearing: bool,
}

impl Conversation {
    fn new(shared: Shared, id: u16, sync: OwnedWriteHalf, beside: OwnedWriteHalf) -> Self {
        let worker = Worker::new(&shared.rig, shared.role);
        Self { shared, id, sync, beside, arrived: Vec::new(), worker, most: 1024, open: false, clearing: false }
    }

    async fn go_on(&mut self, mut heard: Heard, mut beside: Heard) {
        loop {
            let went = tokio::select! {
                biased;
                message = beside.recv() => match message {
                    Some(Ok(message)) => self.beside(message).await,
                    _ => break,
                },
                (number, said) = self.worker.next() => match said {
                    Said::Nothing => Ok(()),
                    Said::Answer(answer) => self.answer(number, &answer).await,
                    Said::Interrupted => self.tell_interrupted(number).await,
                },
                message = heard.recv() => match message {
                    Some(Ok(Message(kind @ (6 | 7), control, number, payload))) if !self.clearing => {
                        self.hear(kind == 7, control & 1 == 1, number, &payload).await
                    }
                    Some(Ok(Message(8, ..))) => {
                        self.clearing = false;
                        self.say(Message(9, 0, 0, Vec::new())).await
                    }
                    // A trigger does nothing here; what was under way before a clear is thrown away.
                    Some(Ok(Message(6 | 7 | 12, ..))) => Ok(()),
                    Some(Ok(Message(..))) => self.say(Message(3, 1, 0, Vec::new())).await,
                    Some(Err(Broken::TooLong)) => self.say(Message(3, 4, 0, Vec::new())).await,
                    Some(Err(Broken::Header)) => {
                        farewell(&mut self.sync, 1).await;
                        break;
                    }
                    Some(Err(Broken::Gone)) | None => break,
                },
            };
            if went.is_err() {
                break;
            }
        }
    }

    /// A piece of a message, or its last.
    async fn hear(&mut self, last: bool, delivered: bool, number: u32, payload: &[u8]) -> io::Result<()> {
        if std::mem::take(&mut self.open) && !delivered {
            self.shared.rig.dialogue(self.shared.role, Dialogue::interrupt);
            self.tell_interrupted(number).await?;
        }
        self.arrived.extend(payload);
        if self.arrived.len() > LONGEST {
            self.arrived.clear();
            self.shared.rig.dialogue(self.shared.role, Dialogue::overrun);
        } else if last {
            self.wait_for_lock().await;
            self.worker.tell(number, std::mem::take(&mut self.arrived));
        }
        Ok(())
    }

    /// Nobody else's messages are carried out while one holds the lock.
    async fn wait_for_lock(&self) {
        let me = u64::from(self.id);
        while self.shared.locks.holder().is_some_and(|holder| holder != me) {
            if self.shared.locks.take_within(me, 1000).await {
                self.shared.locks.free(me);
            }
        }
    }

    async fn say(&mut self, message: Message) -> io::Result<()> {
        self.sync.write_all(&message.bytes()).await
    }

    /// IVI-6.1, 3.1.1: both connections are told.
    async fn tell_interrupted(&mut self, number: u32) -> io::Result<()> {
        self.say(Message(13, 0, number, Vec::new())).await?;
        self.beside.write_all(&Message(14, 0, number, Vec::new()).bytes()).await
    }

    async fn answer(&mut self, number: u32, answer: &[u8]) -> io::Result<()> {
        let piece = usize::try_from(self.most.saturating_sub(16)).unwrap_or(usize::MAX).max(1);
        let mut pieces = answer.chunks(piece).peekable();
        while let Some(piece) = pieces.next() {
            let kind = if pieces.peek().is_some() { 6 } else { 7 };
            self.say(Message(kind, 0, number, piece.to_vec())).await?;
        }
        self.open = true;
        Ok(())
    }

    /// What comes by the second connection.
    async fn beside(&mut self, Message(kind, control, parameter, payload): Message) -> io::Result<()> {
        let me = u64::from(self.id);
        let answer = match kind {
            // Locks: the exclusive one; one that is shared by a name is none here.
            4 if control == 1 && !payload.is_empty() => Message(5, 3, 0, Vec::new()),
            4 if control == 1 => {
                let got = self.shared.locks.take_within(me, parameter).await;
                Message(5, u8::from(got), 0, Vec::new())
            }
            4 => Message(5, if self.shared.locks.free(me) { 1 } else { 3 }, 0, Vec::new()),
            // Remote and local: there is nothing that they do.
            10 => Message(11, 0, 0, Vec::new()),
            15 => {
                self.most = payload.first_chunk::<8>().map_or(TAKES, |size| u64::from_be_bytes(*size)).max(64);
                Message(16, 0, 0, TAKES.to_be_bytes().to_vec())
            }
            19 => {
                self.clearing = true;
                self.open = false;
                self.arrived.clear();
                self.worker = Worker::new(&self.shared.rig, self.shared.role);
                forget(&self.shared.rig, self.shared.role);
                Message(23, 0, 0, Vec::new())
            }
            21 => {
                let waiting = self.open && control & 1 == 0;
                Message(22, self.shared.rig.status_byte(self.shared.role, waiting), 0, Vec::new())
            }
            24 => {
                let held = self.shared.locks.holder().is_some();
                Message(25, u8::from(held), u32::from(held), Vec::new())
            }
            _ => Message(3, 1, 0, Vec::new()),
        };
        self.beside.write_all(&answer.bytes()).await
    }
}
