//! The run's end of the pipe to its guard.

use super::{BEAT, Brief, FAREWELL, READY, VERB};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::time::{Duration, Instant};

/// Between two beats.
const BETWEEN: Duration = Duration::from_millis(250);
/// How long a guard may take to stand ready, and to leave.
const PATIENCE: Duration = Duration::from_secs(10);

/// A guard that stands. Copies are the same guard.
#[derive(Clone)]
pub struct Guard {
    inner: Arc<Mutex<Inner>>,
}

struct Inner {
    child: Child,
    /// `None` after the farewell.
    pipe: Option<ChildStdin>,
    /// When an output that is on was last looked at; `None`: none is.
    looked: Option<Instant>,
    /// How long it may go without a look.
    most: Duration,
    /// Why it no longer stands.
    gone: Option<String>,
}

impl Guard {
    /// Starts `program` as a guard and waits until it stands ready. An output that
    /// is on and was not looked at for `most` stops the beats.
    ///
    /// # Errors
    /// In words: why there is none.
    pub async fn start(program: &Path, brief: &Brief, most: Duration) -> Result<Self, String> {
        let failed = |error: std::io::Error| format!("the guard process did not start: {error}");
        let mut child = Command::new(program).arg(VERB).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().map_err(failed)?;
        let (Some(mut pipe), Some(output)) = (child.stdin.take(), child.stdout.take()) else {
            return Err("the guard process has no pipe".into());
        };
        pipe.write_all(brief.line().as_bytes()).map_err(failed)?;
        // A guard that does not read must not hold up the run.
        crate::sys::nonblocking(&pipe).map_err(failed)?;
        let word = tokio::task::spawn_blocking(move || {
            let mut word = String::new();
            BufReader::new(output).read_line(&mut word).map(|_| word)
        });
        match tokio::time::timeout(PATIENCE, word).await {
            Ok(Ok(Ok(word))) if word.trim() == READY => {}
            Ok(Ok(Ok(word))) => return Err(format!("the guard process does not stand ready: {}", word.trim())),
            _ => return Err("the guard process does not answer".into()),
        }
        let inner = Inner { child, pipe: Some(pipe), looked: None, most, gone: None };
        Ok(Self { inner: Arc::new(Mutex::new(inner)) })
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Its process's number.
    pub fn process(&self) -> u32 {
        self.lock().child.id()
    }

    /// An output that is on, or about to be, is being looked at.
    pub fn looked(&self) {
        self.lock().looked = Some(Instant::now());
    }

    /// The output is being switched off: nothing has to be looked at any more.
    pub fn let_go(&self) {
        self.lock().looked = None;
    }

    /// Whether it still stands.
    ///
    /// # Errors
    /// In words: why not.
    pub fn stands(&self) -> Result<(), String> {
        let mut inner = self.lock();
        if let Ok(Some(status)) = inner.child.try_wait() {
            inner.gone.get_or_insert(format!("it has ended ({status})"));
        }
        inner.gone.clone().map_or(Ok(()), Err)
    }

    /// Beats until the farewell. Run it beside the work.
    pub async fn keep_beating(self) {
        loop {
            tokio::time::sleep(BETWEEN).await;
            let mut inner = self.lock();
            if inner.pipe.is_none() {
                return;
            }
            if inner.looked.is_some_and(|at| at.elapsed() > inner.most) {
                tracing::error!("an output is on and nobody looks at it: no beat");
                continue;
            }
            inner.say(BEAT);
        }
    }

    /// The output has been verified off: the guard may go. Waits until it has.
    pub async fn farewell(self) {
        {
            let mut inner = self.lock();
            inner.say(FAREWELL);
            inner.pipe = None;
        }
        let give_up = Instant::now() + PATIENCE;
        while Instant::now() < give_up && self.stands().is_ok() {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    }
}

impl Inner {
    fn say(&mut self, word: &str) {
        let Some(pipe) = &mut self.pipe else { return };
        if let Err(error) = pipe.write_all(format!("{word}\n").as_bytes()) {
            self.gone.get_or_insert(format!("it does not listen: {error}"));
        }
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;
    use crate::document::Document;
    use crate::units::Seconds;
    use std::os::unix::fs::PermissionsExt;

    /// A run that is alive but no longer looks at what it has energised does not beat.
    #[tokio::test(start_paused = true)]
    async fn without_a_look_there_is_no_beat() {
        let folder = tempfile::tempdir().unwrap();
        let (program, heard) = (folder.path().join("guard"), folder.path().join("heard"));
        let script = format!("#!/bin/sh\nread brief\necho {READY}\nexec cat > {}\n", heard.display());
        std::fs::write(&program, script).unwrap();
        std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
        let bench = Document::new("bench.toml", "");
        let brief = Brief { bench, folder: folder.path().into(), silence: Seconds(5.0), runner: 1 };
        let guard = Guard::start(&program, &brief, Duration::from_secs(2)).await.unwrap();
        tokio::spawn(guard.clone().keep_beating());

        // Ten seconds with nothing on, ten after a look at what is on, ten after letting go.
        tokio::time::sleep(Duration::from_secs(10)).await;
        guard.looked();
        tokio::time::sleep(Duration::from_secs(10)).await;
        guard.let_go();
        tokio::time::sleep(Duration::from_secs(10)).await;
        guard.farewell().await;
        let began = std::time::Instant::now();
        let words = loop {
            let words = std::fs::read_to_string(&heard).unwrap_or_default();
            if words.contains(FAREWELL) || began.elapsed() > PATIENCE {
                break words;
            }
            std::thread::yield_now();
        };
        let beats = words.matches(BEAT).count();
        assert!((86..=89).contains(&beats), "40, then 8, then 40: {beats}");
    }
}
