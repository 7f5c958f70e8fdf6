//! What is typed: one thread reads standard input, and a line is the answer to the
//! question that stands, or else a mark.
//!
//! Where standard input is no terminal a line is read only when a question stands: what
//! waits in a pipe is meant for questions to come, or for another program. From a
//! terminal in whose foreground this process is not nothing is read, since that would stop it.

use crate::runner::Said;
use std::io::{BufRead, BufReader, IsTerminal, Stdin};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::time::Duration;
use tokio::sync::{mpsc as marks, oneshot};

/// How often a process in the background looks whether it is in the foreground again.
const BACKGROUND: Duration = Duration::from_millis(250);

/// Larger than what the library keeps for standard input itself, which is passed by then.
const OWN: usize = 64 * 1024;

type Line = Result<String, String>;
/// Who waits for the next line.
type Waiting = Arc<Mutex<Option<oneshot::Sender<Line>>>>;

/// Standard input.
pub(super) struct Typed {
    waiting: Waiting,
    /// Asks the thread for a line, where it does not read by itself.
    wanted: mpsc::Sender<()>,
    marks: Option<Said>,
}

impl Typed {
    /// Begins to read; the thread ends with the process.
    pub(super) fn begin() -> Self {
        let (wanted, wants) = mpsc::channel();
        let (say, said) = marks::unbounded_channel();
        let waiting = Waiting::default();
        let input = BufReader::with_capacity(OWN, std::io::stdin());
        let reader = Reader { waiting: waiting.clone(), wants, say, input };
        std::thread::spawn(move || reader.read());
        Self { waiting, wanted, marks: Some(said) }
    }

    /// The marks, once.
    pub(super) fn marks(&mut self) -> Option<Said> {
        self.marks.take()
    }

    /// From now on the next line is an answer: called before a question is shown, so that
    /// none is too quick for it.
    pub(super) fn expect(&mut self) -> impl Future<Output = Line> + use<> {
        let (sender, line) = oneshot::channel();
        *self.waiting.lock().unwrap_or_else(PoisonError::into_inner) = Some(sender);
        let asked = self.wanted.send(());
        async move {
            match (asked, line.await) {
                (Ok(()), Ok(line)) => line,
                _ => Err("no answer".into()),
            }
        }
    }
}

struct Reader {
    waiting: Waiting,
    wants: mpsc::Receiver<()>,
    say: marks::UnboundedSender<String>,
    input: BufReader<Stdin>,
}

impl Reader {
    fn read(mut self) {
        let mut listens = std::io::stdin().is_terminal();
        loop {
            if listens {
                listens = self.hear();
                continue;
            }
            if self.wants.recv().is_err() {
                return;
            }
            let line = self.line();
            if !self.answer(line) {
                return;
            }
        }
    }

    /// A line at a terminal, whatever it is. False where nothing more is said: from then on
    /// lines are read when they are asked for.
    fn hear(&mut self) -> bool {
        // What came with the line before is there already. Somebody in the background is not
        // spoken to.
        while self.input.buffer().contains(&b'\n') || crate::sys::await_typing().is_ok() {
            if crate::sys::nobody_types() {
                std::thread::sleep(BACKGROUND);
                continue;
            }
            let line = self.line();
            // The asking for it, if it was asked for, is done with.
            while self.wants.try_recv().is_ok() {}
            let asked = self.waiting.lock().unwrap_or_else(PoisonError::into_inner).take();
            return match (asked, line) {
                (Some(asked), line) => asked.send(line).is_ok(),
                (None, Ok(text)) => self.say.send(text).is_ok(),
                (None, Err(_)) => false,
            };
        }
        false
    }

    /// Hands an answer over.
    fn answer(&self, line: Line) -> bool {
        let asked = self.waiting.lock().unwrap_or_else(PoisonError::into_inner).take();
        asked.is_none_or(|asked| asked.send(line).is_ok())
    }

    fn line(&mut self) -> Line {
        let mut line = Vec::new();
        // What a terminal of another alphabet sends is kept as far as it can be read.
        match self.input.read_until(b'\n', &mut line) {
            Ok(0) if !std::io::stdin().is_terminal() => {
                Err("nobody can answer here; --assume-done takes every question as done".into())
            }
            Ok(0) => Err("no answer".into()),
            Ok(_) => Ok(String::from_utf8_lossy(&line).trim().to_owned()),
            Err(error) => Err(error.to_string()),
        }
    }
}
