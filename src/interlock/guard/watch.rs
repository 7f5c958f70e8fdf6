//! The guard's own life: what it is told, and how it notices that a run has died.

use super::{BEAT, FAREWELL};
use crate::document::Document;
use crate::units::Seconds;
use std::path::PathBuf;
use tokio::io::{AsyncBufRead, AsyncBufReadExt};

/// The verb of the command line by which a run starts its guard.
pub const VERB: &str = "guard";

/// What a guard is told when it starts.
#[derive(Clone, Debug, PartialEq)]
pub struct Brief {
    /// The bench file.
    pub bench: Document,
    /// The run's folder.
    pub folder: PathBuf,
    /// Longest time without a beat, in real time.
    pub silence: Seconds,
    /// The process that carries the plan out.
    pub runner: u32,
}

impl Brief {
    /// As one line.
    pub fn line(&self) -> String {
        let value = serde_json::json!({
            "name": self.bench.name,
            "text": self.bench.text,
            "folder": self.folder.display().to_string(),
            "silence_s": self.silence.0,
            "runner": self.runner,
        });
        format!("{value}\n")
    }

    /// From a line.
    ///
    /// # Errors
    /// In words: it is not one.
    pub fn read(line: &str) -> Result<Self, String> {
        let value: serde_json::Value = serde_json::from_str(line).map_err(|e| e.to_string())?;
        let text = |key: &str| value[key].as_str().map(str::to_owned).ok_or(format!("{key} is missing"));
        Ok(Self {
            bench: Document::new(text("name")?, text("text")?),
            folder: text("folder")?.into(),
            silence: Seconds(value["silence_s"].as_f64().filter(|s| *s > 0.0).ok_or("silence_s is missing")?),
            runner: value["runner"].as_u64().and_then(|n| n.try_into().ok()).ok_or("runner is missing")?,
        })
    }
}

/// How a run was lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lost {
    /// The pipe was closed without a farewell: the process is gone.
    Closed,
    /// The beats stopped: the process hangs.
    Silent,
}

/// Listens to a run. Returns `None` after a farewell, else how it was lost.
pub async fn watch(input: impl AsyncBufRead + Unpin, silence: Seconds) -> Option<Lost> {
    let mut lines = input.lines();
    loop {
        match tokio::time::timeout(silence.duration(), lines.next_line()).await {
            Ok(Ok(Some(line))) if line == FAREWELL => return None,
            Ok(Ok(Some(line))) if line == BEAT => {}
            // Half a word, or a word that is none: the end is near, and is awaited.
            Ok(Ok(Some(_))) => {}
            Ok(Ok(None) | Err(_)) => return Some(Lost::Closed),
            Err(_) => return Some(Lost::Silent),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::{AsyncWriteExt, BufReader, duplex};

    async fn watched(said: &[(f64, &str)], closes: bool) -> (Option<Lost>, f64) {
        let (mut near, far) = duplex(64);
        let said: Vec<(f64, String)> = said.iter().map(|(at, word)| (*at, (*word).to_owned())).collect();
        let began = tokio::time::Instant::now();
        tokio::spawn(async move {
            for (at, word) in said {
                tokio::time::sleep_until(began + Seconds(at).duration()).await;
                near.write_all(word.as_bytes()).await.unwrap();
            }
            if !closes {
                std::future::pending::<()>().await;
            }
        });
        let lost = watch(BufReader::new(far), Seconds(3.0)).await;
        (lost, began.elapsed().as_secs_f64())
    }

    #[tokio::test(start_paused = true)]
    async fn a_farewell_is_the_only_good_end() {
        assert_eq!(watched(&[(1.0, "beat\n"), (2.0, "farewell\n")], true).await.0, None);
        assert_eq!(watched(&[(1.0, "beat\n"), (2.0, "beat\n")], true).await, (Some(Lost::Closed), 2.0));
        assert_eq!(watched(&[(1.0, "farewel")], true).await.0, Some(Lost::Closed), "half a word is none");
    }

    #[tokio::test(start_paused = true)]
    async fn a_run_that_hangs_is_lost_when_its_silence_has_lasted() {
        let (lost, after) = watched(&[(1.0, "beat\n"), (3.5, "beat\n")], false).await;
        assert_eq!(lost, Some(Lost::Silent));
        assert!((after - 6.5).abs() < 0.01, "{after}");
    }

    #[test]
    fn a_brief_reads_back() {
        let bench = Document::new("a \"b\".toml", "[supply]\nprofile = \"x\"\n# Ω\n");
        let brief = Brief { bench, folder: "logs/run".into(), silence: Seconds(5.0), runner: 42 };
        assert_eq!(Brief::read(&brief.line()).unwrap(), brief);
        assert!(Brief::read("{}").is_err() && Brief::read("").is_err());
    }
}
