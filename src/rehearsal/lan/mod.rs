//! Stand-ins on the LAN's message protocols, from the device's side: HiSLIP and VXI-11.
//! They mark the ends of messages themselves; what a message means is the device's, as
//! over a byte stream (`serve`). Nothing is shared with the tool's own links.

mod call;
mod hislip;
mod vxi11;

pub use hislip::serve_hislip;
pub use vxi11::{serve_portmapper, serve_vxi11};

use super::message::{Dialogue, Does};
use super::rig::Rig;
use crate::instrument::Role;
use crate::units::Seconds;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{Notify, mpsc};

/// Time that a stand-in takes for a message.
const REPLY: Seconds = Seconds(0.002);
/// The most bytes of a message that has not ended.
const LONGEST: usize = super::message::LONGEST;

/// What a stand-in answers to a message, and when: the future takes the time that it takes.
async fn exchange(rig: &Rig, role: Role, message: Vec<u8>) -> Option<Vec<u8>> {
    let end = rig.wire(role).map(|wire| wire.send_end.clone().into_bytes()).unwrap_or_default();
    let mut answers = Vec::new();
    // A terminator ends a message here, too (IEEE 488.2 7.5), wherever the transport's mark stands.
    let lines: Vec<Vec<u8>> = match end.last() {
        Some(last) => message.split(|byte| byte == last).map(<[u8]>::to_vec).collect(),
        None => vec![message],
    };
    for line in lines {
        let line = line.strip_suffix(b"\r").map_or(line.clone(), <[u8]>::to_vec);
        if line.is_empty() {
            continue;
        }
        let quirks = rig.quirks(role);
        if rig.is_unplugged(role) {
            return None;
        }
        rig.clock().sleep(REPLY + quirks.slower).await;
        let mut does = rig.handle(role, &line);
        while let Does::Measures { first, .. } = does {
            rig.clock().sleep(Seconds(first)).await;
            does = rig.finish(role);
        }
        match does {
            Does::Answers(text) | Does::Complains(text) => answers.push(text.into_bytes()),
            Does::Sends(block) => answers.push(block),
            Does::Sets | Does::Measures { .. } | Does::Ignores => {}
        }
    }
    (!answers.is_empty()).then(|| answers.join(&b'\n').into_iter().chain(*b"\n").collect())
}

/// What came of a message.
enum Said {
    /// It has no answer.
    Nothing,
    /// This.
    Answer(Vec<u8>),
    /// Another message came before its answer was sent (IEEE 488.2 6.3.2.3).
    Interrupted,
}

/// Messages are carried out one after the other, whether or not anybody waits.
struct Worker {
    told: mpsc::UnboundedSender<(u32, Vec<u8>)>,
    done: mpsc::UnboundedReceiver<(u32, Said)>,
    /// Messages of which nothing has been heard.
    pending: usize,
    task: tokio::task::JoinHandle<()>,
}

impl Worker {
    fn new(rig: &Rig, role: Role) -> Self {
        let (told, mut messages) = mpsc::unbounded_channel::<(u32, Vec<u8>)>();
        let (finished, done) = mpsc::unbounded_channel();
        let rig = rig.clone();
        let task = tokio::spawn(async move {
            while let Some((number, message)) = messages.recv().await {
                let said = match exchange(&rig, role, message).await {
                    None => Said::Nothing,
                    Some(_) if !messages.is_empty() => {
                        rig.dialogue(role, Dialogue::interrupt);
                        Said::Interrupted
                    }
                    Some(answer) => Said::Answer(answer),
                };
                if finished.send((number, said)).is_err() {
                    break;
                }
            }
        });
        Self { told, done, pending: 0, task }
    }

    /// Hands it a message.
    fn tell(&mut self, number: u32, message: Vec<u8>) {
        self.pending += usize::from(self.told.send((number, message)).is_ok());
    }

    /// What came of the next message, in their order; never, where there is none.
    async fn next(&mut self) -> (u32, Said) {
        match self.done.recv().await {
            Some(said) => {
                self.pending = self.pending.saturating_sub(1);
                said
            }
            None => std::future::pending().await,
        }
    }

    /// What has come of messages by now.
    fn at_once(&mut self) -> Option<(u32, Said)> {
        let said = self.done.try_recv().ok()?;
        self.pending = self.pending.saturating_sub(1);
        Some(said)
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Device clear: what was under way is forgotten, and no error is made of it.
fn forget(rig: &Rig, role: Role) {
    rig.dialogue(role, Dialogue::clear);
}

/// Who holds a stand-in for himself.
#[derive(Clone, Debug, Default)]
struct Locks(Arc<(Mutex<Option<u64>>, Notify)>);

impl Locks {
    fn holder(&self) -> Option<u64> {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes it, where nobody else has it.
    fn take(&self, who: u64) -> bool {
        let mut holder = self.0.0.lock().unwrap_or_else(PoisonError::into_inner);
        *holder.get_or_insert(who) == who
    }

    /// Gives it back; false where it was not held.
    fn free(&self, who: u64) -> bool {
        let mut holder = self.0.0.lock().unwrap_or_else(PoisonError::into_inner);
        let held = *holder == Some(who);
        if held {
            *holder = None;
            self.0.1.notify_waiters();
        }
        held
    }

    /// Takes it within so many milliseconds.
    async fn take_within(&self, who: u64, milliseconds: u32) -> bool {
        let until = tokio::time::Instant::now() + std::time::Duration::from_millis(milliseconds.into());
        loop {
            // Listened for before looking, so that nothing is missed between.
            let freed = self.0.1.notified();
            if self.take(who) {
                return true;
            }
            if tokio::time::timeout_at(until, freed).await.is_err() {
                return self.take(who);
            }
        }
    }
}
