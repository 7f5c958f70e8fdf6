//! The terminal: one live line where it can show one, plain lines where not.
//! Everything goes to standard error; standard output is for what was found.

use crate::analysis::finding::Severity;
use crate::instrument::{Reading, Regulation, Sample};

use crate::runner::{Progress, Watcher};
use crate::units::{Seconds, deserved, engineering, spell};
use crate::view::errln;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;

/// Lines of a start stage on a terminal without a live line: every so many.
const EVERY: u32 = 50;

/// Shows a run on the terminal.
pub struct Terminal {
    bar: Option<ProgressBar>,
    stage: String,
    stages: u32,
    expected: Seconds,
    began: Seconds,
    counts: String,
}

impl Default for Terminal {
    fn default() -> Self {
        Self::new()
    }
}

impl Terminal {
    /// Live where standard error is a terminal.
    pub fn new() -> Self {
        let bar = std::io::stderr().is_terminal().then(|| {
            let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(10));
            // The template is a constant; were it wrong, the default would do.
            bar.set_style(ProgressStyle::with_template("{wide_msg}").unwrap_or_else(|_| ProgressStyle::default_spinner()));
            bar
        });
        Self { bar, stage: String::new(), stages: 0, expected: Seconds(0.0), began: Seconds(0.0), counts: String::new() }
    }

    fn say(&self, line: &str) {
        match &self.bar {
            Some(bar) => bar.println(line),
            None => errln!("{line}"),
        }
    }

    /// How far the stage is, and how long it still takes, as far as is known.
    fn left(&self, now: Seconds) -> String {
        let gone = now - self.began;
        if self.expected.0 <= 0.0 {
            return String::new();
        }
        if gone >= self.expected {
            return "  overdue".into();
        }
        format!("  {:.0} %, {} left", 100.0 * (gone.0 / self.expected.0), spell(self.expected - gone))
    }

    /// Takes the live line away.
    pub fn close(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

impl Watcher for Terminal {
    fn see(&mut self, progress: &Progress<'_>) {
        match progress {
            Progress::Run { title, unit, stages, expected } => {
                self.stages = *stages;
                self.say(title);
                self.say(&format!("unit: {unit}; {stages} stages, about {}", spell(*expected)));
            }
            Progress::Stage { at, number, kind, what, expected } => {
                self.began = *at;
                self.stage = format!("{number}/{} {kind}", self.stages);
                self.expected = *expected;
                self.counts.clear();
                self.say(&format!("stage {}: {what} (about {})", self.stage, spell(*expected)));
            }
            Progress::Live { at, voltage, current, regulation, state } => {
                let Some(bar) = &self.bar else { return };
                let limiting = if *regulation == Regulation::Current { "  LIMITING" } else { "" };
                bar.set_message(format!(
                    "{}{}  {:>8} {:>8}{limiting}  {}  {}",
                    self.stage,
                    self.left(*at),
                    shown(*voltage),
                    shown(*current),
                    state.unwrap_or("-"),
                    self.counts,
                ));
            }
            Progress::Start { number, of, outcome, failed, void, .. } => {
                let void = if *void > 0 { format!(", {void} void") } else { String::new() };
                let of = of.map_or(String::new(), |of| format!("/{of}"));
                self.counts = format!("{number}{of}: {failed} failed{void}");
                let dull = self.bar.is_some() || number % EVERY != 0;
                if *outcome != "started" && (self.bar.is_some() || *failed <= 5) {
                    self.say(&format!("  start {number}: {outcome}"));
                }
                if !dull {
                    self.say(&format!("  starts {}", self.counts));
                }
            }
            Progress::Trial { at, what, expected } => {
                (self.began, self.expected) = (*at, *expected);
                self.stage = (*what).to_owned();
            }
            Progress::TrialDone { what, outcome, why, judged, nonconforming } => {
                self.counts = format!("{judged} judged, {nonconforming} nonconforming");
                self.say(&format!("  {what}: {outcome}: {why}"));
            }
            Progress::Event { at, text } => self.say(&format!("  {:.1} s: {text}", at.0)),
            Progress::Finding(finding) => {
                let mark = match finding.severity {
                    Severity::Anomaly => "ANOMALY",
                    Severity::Undecided => "undecided",
                    Severity::Note => "note",
                };
                self.say(&format!("  {mark}: {}", finding.sentence));
            }
            Progress::StageDone { how, .. } => {
                if *how != "done" {
                    self.say(&format!("stage {} ended: {how}", self.stage));
                }
            }
        }
    }
}

/// A reading in a few characters; what is not a value is a word.
fn shown(reading: Option<&Reading>) -> String {
    let Some(reading) = reading else { return "-".into() };
    let unit = reading.measurand.unit();
    match reading.sample {
        Sample::Value { value, u } => deserved(value, 2.0 * u, unit),
        Sample::BelowFloor { floor } => format!("< {}", engineering(floor, unit, 2)),
        other => other.word().to_owned(),
    }
}
