//! A stand-in that speaks VXI-11: core channel, abort channel, and a portmapper.

use super::call::{Call, Outcome, Results, next, reply};
use super::{LONGEST, Locks, Said, Worker, forget};
use crate::instrument::Role;
use crate::rehearsal::message::Dialogue;
use crate::rehearsal::rig::Rig;
use std::collections::BTreeMap;
use std::io;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Notify;

const CORE: u32 = 0x0006_07AF;
const ABORT: u32 = 0x0006_07B0;
const PORTMAPPER: u32 = 100_000;
/// The most bytes that one write may bring.
const TAKES: u32 = 1024;

/// VXI-11, B.5.2.
mod error {
    pub(super) const NONE: u32 = 0;
    pub(super) const NO_LINK: u32 = 4;
    pub(super) const PARAMETER: u32 = 5;
    pub(super) const NOT_SUPPORTED: u32 = 8;
    pub(super) const LOCKED: u32 = 11;
    pub(super) const NOT_HELD: u32 = 12;
    pub(super) const TIMED_OUT: u32 = 15;
    pub(super) const NO_DEVICE: u32 = 21;
    pub(super) const ABORTED: u32 = 23;
}

/// What all connections of a stand-in share.
#[derive(Clone)]
struct Shared {
    rig: Rig,
    role: Role,
    locks: Locks,
    abort_port: u16,
    next: Arc<AtomicU32>,
    /// Whoever waits on a link, to be woken by an abort.
    waiting: Arc<Mutex<BTreeMap<u32, Arc<Notify>>>>,
}

/// A link of one client.
struct LinkOf {
    heard: Vec<u8>,
    worker: Worker,
    answer: Vec<u8>,
    aborted: Arc<Notify>,
}

/// Serves a stand-in: the core channel on `core`, the abort channel on `abort`.
///
/// # Errors
/// Those of the listeners.
pub async fn serve_vxi11(rig: Rig, role: Role, core: TcpListener, abort: TcpListener) -> io::Result<()> {
    let shared = Shared {
        rig,
        role,
        locks: Locks::default(),
        abort_port: abort.local_addr()?.port(),
        next: Arc::new(AtomicU32::new(1)),
        waiting: Arc::default(),
    };
    loop {
        tokio::select! {
            client = core.accept() => {
                let (stream, _) = client?;
                stream.set_nodelay(true)?;
                tokio::spawn(core_channel(shared.clone(), stream));
            }
            client = abort.accept() => {
                tokio::spawn(abort_channel(shared.clone(), client?.0));
            }
        }
    }
}

/// Tells on `listener` that the core channel is at `port` (RFC 1833, GETPORT).
///
/// # Errors
/// Those of the listener.
pub async fn serve_portmapper(listener: TcpListener, port: u16) -> io::Result<()> {
    loop {
        let (mut stream, _) = listener.accept().await?;
        tokio::spawn(async move {
            while let Ok(Some(mut call)) = next(&mut stream).await {
                let outcome = match (call.program, call.version, call.procedure) {
                    (PORTMAPPER, 2, 0) => Results::default().done(),
                    (PORTMAPPER, 2, 3) => match (call.parameters.number(), call.parameters.number(), call.parameters.number()) {
                        (Some(CORE), Some(1), Some(6)) => Results::default().number(port.into()).done(),
                        (Some(_), Some(_), Some(_)) => Results::default().number(0).done(),
                        _ => Outcome::Garbage,
                    },
                    (PORTMAPPER, 2, _) => Outcome::NoProcedure,
                    (PORTMAPPER, ..) => Outcome::Version(2),
                    _ => Outcome::NoProgram,
                };
                if reply(&mut stream, &call, outcome).await.is_err() {
                    break;
                }
            }
        });
    }
}

async fn abort_channel(shared: Shared, mut stream: TcpStream) {
    while let Ok(Some(mut call)) = next(&mut stream).await {
        let outcome = match (call.program, call.version, call.procedure) {
            (ABORT, 1, 0) => Results::default().done(),
            (ABORT, 1, 1) => match call.parameters.number() {
                None => Outcome::Garbage,
                Some(link) => {
                    let waiting = shared.waiting.lock().unwrap_or_else(PoisonError::into_inner).get(&link).cloned();
                    let known = waiting.inspect(|link| link.notify_waiters()).is_some();
                    Results::default().number(if known { error::NONE } else { error::NO_LINK }).done()
                }
            },
            (ABORT, 1, _) => Outcome::NoProcedure,
            (ABORT, ..) => Outcome::Version(1),
            _ => Outcome::NoProgram,
        };
        if reply(&mut stream, &call, outcome).await.is_err() {
            break;
        }
    }
}

async fn core_channel(shared: Shared, mut stream: TcpStream) {
    let mut links = BTreeMap::new();
    while let Ok(Some(mut call)) = next(&mut stream).await {
        let outcome = match (call.program, call.version) {
            (CORE, 1) => procedure(&shared, &mut links, &mut call).await,
            (CORE, _) => Outcome::Version(1),
            _ => Outcome::NoProgram,
        };
        if reply(&mut stream, &call, outcome).await.is_err() {
            break;
        }
    }
    // Who leaves takes his links and locks with him.
    for link in links.keys() {
        shared.leave(*link);
    }
}

impl Shared {
    fn leave(&self, link: u32) {
        self.locks.free(link.into());
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner).remove(&link);
    }

    /// Whether somebody else has it, after waiting where that is wanted.
    async fn is_locked(&self, link: u32, flags: u32, wait: u32) -> bool {
        let me = u64::from(link);
        match self.locks.holder() {
            None => false,
            Some(holder) if holder == me => false,
            Some(_) if flags & 1 == 0 => true,
            Some(_) => {
                let got = self.locks.take_within(me, wait).await;
                if got {
                    self.locks.free(me);
                }
                !got
            }
        }
    }
}

async fn procedure(shared: &Shared, links: &mut BTreeMap<u32, LinkOf>, call: &mut Call) -> Outcome {
    match call.procedure {
        0 => Results::default().done(),
        10 => create_link(shared, links, call).await.unwrap_or(Outcome::Garbage),
        11..=19 | 22 | 23 => with_link(shared, links, call).await.unwrap_or(Outcome::Garbage),
        20 | 25 | 26 => Results::default().number(error::NOT_SUPPORTED).done(),
        _ => Outcome::NoProcedure,
    }
}

async fn create_link(shared: &Shared, links: &mut BTreeMap<u32, LinkOf>, call: &mut Call) -> Option<Outcome> {
    let _client = call.parameters.number()?;
    let lock = call.parameters.number()? != 0;
    let wait = call.parameters.number()?;
    let device = call.parameters.opaque()?;
    let id = shared.next.fetch_add(1, Ordering::Relaxed);
    let refused = if !device.eq_ignore_ascii_case(b"inst0") {
        error::NO_DEVICE
    } else if lock && !shared.locks.take_within(id.into(), wait).await {
        error::LOCKED
    } else {
        error::NONE
    };
    if refused == error::NONE {
        let aborted = Arc::new(Notify::new());
        shared.waiting.lock().unwrap_or_else(PoisonError::into_inner).insert(id, Arc::clone(&aborted));
        links
            .insert(id, LinkOf { heard: Vec::new(), worker: Worker::new(&shared.rig, shared.role), answer: Vec::new(), aborted });
    }
    Some(Results::default().number(refused).number(id).number(shared.abort_port.into()).number(TAKES).done())
}

/// Procedures that name a link first.
async fn with_link(shared: &Shared, links: &mut BTreeMap<u32, LinkOf>, call: &mut Call) -> Option<Outcome> {
    let id = call.parameters.number()?;
    let mut number = || call.parameters.number();
    let fails = |error: u32| Results::default().number(error).done();
    let Some(link) = links.get_mut(&id) else {
        return Some(match call.procedure {
            11 | 13 => Results::default().number(error::NO_LINK).number(0).done(),
            12 => Results::default().number(error::NO_LINK).number(0).opaque(&[]).done(),
            22 => Results::default().number(error::NO_LINK).opaque(&[]).done(),
            _ => fails(error::NO_LINK),
        });
    };
    Some(match call.procedure {
        11 => {
            let (_, wait, flags, piece) = (number()?, number()?, number()?, call.parameters.opaque()?);
            let (error, taken) = if shared.is_locked(id, flags, wait).await {
                (error::LOCKED, 0)
            } else if piece.len() > TAKES as usize || link.heard.len() + piece.len() > LONGEST {
                link.heard.clear();
                (error::PARAMETER, 0)
            } else {
                link.hear(shared, &piece, flags & 0x08 != 0);
                (error::NONE, piece.len() as u32)
            };
            Results::default().number(error).number(taken).done()
        }
        12 => {
            let (most, timeout, wait, flags, end) = (number()?, number()?, number()?, number()?, number()?);
            if shared.is_locked(id, flags, wait).await {
                return Some(Results::default().number(error::LOCKED).number(0).opaque(&[]).done());
            }
            let end = (flags & 0x80 != 0).then_some(end as u8);
            let (error, reason, data) = link.say(shared, most as usize, timeout, end).await;
            Results::default().number(error).number(reason).opaque(&data).done()
        }
        13 => {
            link.collect();
            let byte = shared.rig.status_byte(shared.role, !link.answer.is_empty());
            Results::default().number(error::NONE).number(byte.into()).done()
        }
        15 => {
            link.worker = Worker::new(&shared.rig, shared.role);
            (link.answer, link.heard) = (Vec::new(), Vec::new());
            forget(&shared.rig, shared.role);
            fails(error::NONE)
        }
        // Trigger, remote, local: there is nothing that they do.
        14 | 16 | 17 => fails(error::NONE),
        18 => {
            let (flags, wait) = (number()?, number()?);
            let got = shared.locks.take_within(id.into(), if flags & 1 == 1 { wait } else { 0 }).await;
            fails(if got { error::NONE } else { error::LOCKED })
        }
        19 => fails(if shared.locks.free(id.into()) { error::NONE } else { error::NOT_HELD }),
        22 => Results::default().number(error::NOT_SUPPORTED).opaque(&[]).done(),
        _ => {
            links.remove(&id);
            shared.leave(id);
            fails(error::NONE)
        }
    })
}

impl LinkOf {
    /// Takes an answer that is ready.
    fn collect(&mut self) {
        while let Some((_, said)) = self.worker.at_once() {
            if let Said::Answer(answer) = said {
                self.answer = answer;
            }
        }
    }

    fn hear(&mut self, shared: &Shared, piece: &[u8], last: bool) {
        self.collect();
        if !std::mem::take(&mut self.answer).is_empty() {
            // A new message before the answer was fetched (IEEE 488.2 6.3.2.3).
            shared.rig.dialogue(shared.role, Dialogue::interrupt);
        }
        self.heard.extend(piece);
        if last {
            self.worker.tell(0, std::mem::take(&mut self.heard));
        }
    }

    /// Error, reason and bytes of a read.
    async fn say(&mut self, shared: &Shared, most: usize, timeout: u32, end: Option<u8>) -> (u32, u32, Vec<u8>) {
        let timeout = tokio::time::sleep(Duration::from_millis(timeout.into()));
        tokio::pin!(timeout);
        let mut is_told = false;
        while self.answer.is_empty() {
            if self.worker.pending == 0 && !std::mem::replace(&mut is_told, true) {
                // Asked to speak with nothing to say (IEEE 488.2 6.3.2.2).
                shared.rig.dialogue(shared.role, Dialogue::leave_unterminated);
            }
            tokio::select! {
                (_, said) = self.worker.next() => {
                    if let Said::Answer(answer) = said {
                        self.answer = answer;
                    }
                }
                () = self.aborted.notified() => return (error::ABORTED, 0, Vec::new()),
                () = &mut timeout => return (error::TIMED_OUT, 0, Vec::new()),
            }
        }
        let by_end = end.and_then(|end| self.answer.iter().position(|byte| *byte == end)).map(|at| at + 1);
        let taken = by_end.unwrap_or(self.answer.len()).min(most);
        let data: Vec<u8> = self.answer.drain(..taken).collect();
        let mut reason = 0;
        for (holds, bit) in [(taken == most, 1), (by_end == Some(taken), 2), (self.answer.is_empty(), 4)] {
            if holds {
                reason |= bit;
            }
        }
        (error::NONE, reason, data)
    }
}
