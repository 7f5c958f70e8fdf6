//! A comparison of two runs, or of a run with a good unit: which stages stand against each
//! other, what was found, what has been proved, and one page of it.
//!
//! Holds always: what differs of the conditions comes first; a stage that only one side has
//! is named; the conclusion says nothing that no finding says.

mod page;
mod plots;

use crate::analysis::compare::condition::Condition;
use crate::analysis::compare::say::{Question, Sides};
use crate::analysis::compare::text::{Line, lines};
use crate::analysis::finding::{Finding, Severity};
use crate::plan::StageKind;
use crate::runner::Exit;
use crate::runner::against::{Held, conditions, hold};
use crate::runner::good::thin;
use crate::runner::past::{MARKS, Past, Seen, merged, of_stage};

/// One side of a comparison.
#[derive(Clone, Debug)]
pub struct Side {
    /// As it was named.
    pub name: String,
    /// Its runs; at least one.
    pub runs: Vec<Past>,
    /// A good unit.
    pub is_good: bool,
}

impl Side {
    /// The plan of its first run.
    fn plan(&self) -> Option<&str> {
        self.runs.first()?.text("plan")
    }
}

/// A stage of what is judged, and what it was held against.
#[derive(Clone, Debug)]
pub struct Pair {
    /// What is judged.
    pub subject: Seen,
    /// What it is held against, one of each run that has it.
    pub reference: Vec<Seen>,
    /// What came of it.
    pub held: Held,
}

/// A comparison.
#[derive(Clone, Debug)]
pub struct Compared {
    /// The side that was named first.
    pub a: Side,
    /// The side that was named second.
    pub b: Side,
    /// What was asked.
    pub question: Question,
    /// The confidence of a proof.
    pub confidence: f64,
    /// In which words findings speak of the sides.
    pub sides: Sides,
    /// Conditions of the runs as a whole that differ.
    pub conditions: Vec<Condition>,
    /// Stage by stage.
    pub pairs: Vec<Pair>,
    /// Stages that one side alone has, in words.
    pub alone: Vec<String>,
    /// What has been proved, in sentences.
    pub conclusion: Vec<String>,
}

/// A condition, and before it the stage that it is of, in words; or nothing.
pub type Named<'c> = (String, &'c Condition);

/// Why two sides cannot be compared.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoComparison {
    /// Both are good units.
    #[error("both sides are good units: compare a run with one of them")]
    BothGood,
    /// A side has no run.
    #[error("{0} has no run to compare")]
    Empty(String),
}

/// Compares. Further runs of the side that is judged count with its first, as far as starts go.
/// A good unit, on whichever side, is what the other side is held against; of two
/// runs the first is before, and the second is after.
///
/// # Errors
/// Both sides are good units, or one is empty.
pub fn compare(a: Side, b: Side, confidence: f64) -> Result<Compared, NoComparison> {
    // What is judged is one run; what it is held against may be several.
    let (question, subject, reference) = match (a.is_good, b.is_good) {
        (true, true) => return Err(NoComparison::BothGood),
        (false, false) => (Question::Repair, &b, &a),
        (false, true) => (Question::Good, &a, &b),
        (true, false) => (Question::Good, &b, &a),
    };
    let Some(judged) = subject.runs.first() else { return Err(NoComparison::Empty(subject.name.clone())) };
    if reference.runs.is_empty() {
        return Err(NoComparison::Empty(reference.name.clone()));
    }
    let sides = match question {
        Question::Repair => Sides::repair(),
        Question::Good => Sides::good(thin(&reference.runs)),
    };
    let conditions = match question {
        Question::Repair => conditions(&reference.runs, &subject.runs),
        Question::Good => conditions(&subject.runs, &reference.runs),
    };
    let mut pairs = Vec::new();
    let mut alone = Vec::new();
    for (place, seen) in judged.placed() {
        let there: Vec<Seen> = reference.runs.iter().filter_map(|run| run.partner(&seen.kind, place)).cloned().collect();
        if there.is_empty() {
            alone.push(format!(
                "stage {} ({}) of {} stands alone: the other side has none",
                seen.number,
                seen.kind.word(),
                subject.name
            ));
            continue;
        }
        let further: Vec<&Seen> = subject.runs.iter().skip(1).filter_map(|run| run.partner(&seen.kind, place)).collect();
        let joined = seen.joined(&further);
        // Starts of several runs count together only where all were made alike.
        let among = further.iter().map(|other| of_stage(&seen.kind, &other.kind));
        let among = merged(among);
        let all = [among.clone(), conditions.clone()].concat();
        let mut held = hold(&joined, &there.iter().collect::<Vec<_>>(), &all, &sides, confidence);
        held.conditions = merged([held.conditions, among]);
        pairs.push(Pair { subject: joined, reference: there, held });
    }
    for run in &reference.runs {
        let taken = |seen: &&Seen| pairs.iter().any(|p: &Pair| p.reference.iter().any(|r| r.number == seen.number));
        for seen in run.stages.iter().filter(|s| !taken(s)) {
            let told = format!(
                "stage {} ({}) of {} stands alone: the other side has none",
                seen.number,
                seen.kind.word(),
                reference.name
            );
            if !alone.contains(&told) {
                alone.push(told);
            }
        }
    }
    // Starts first: they are what a repair is proved by.
    pairs.sort_by_key(|p| match p.subject.kind {
        StageKind::Start(_) => 0,
        StageKind::Log(_) => 1,
        StageKind::Leakage(_) => 2,
        StageKind::Ramp(_) => 3,
        StageKind::Ask(_) => 4,
    });
    let mut conclusion = conclude(question, &pairs);
    if let Some(marks) = conditions.iter().find(|c| c.what == MARKS) {
        conclusion.push(format!(
            "Marks were not the same on both sides (A: {}; B: {}): where what they tell of matters, nothing of this is proved.",
            marks.a, marks.b
        ));
    }
    Ok(Compared { question, confidence, sides, conditions, pairs, alone, conclusion, a, b })
}

impl Compared {
    /// Whose side is judged: `true` for the one named first.
    fn first_is_judged(&self) -> bool {
        self.question == Question::Good && self.b.is_good
    }

    /// `A` or `B`, and what it stands for.
    pub fn letter(&self, first: bool) -> &'static str {
        match (self.question, first) {
            (Question::Repair, true) => "A (before)",
            (Question::Repair, false) => "B (after)",
            (Question::Good, true) if self.first_is_judged() => "A (this unit)",
            (Question::Good, false) if !self.first_is_judged() => "B (this unit)",
            (Question::Good, true) => "A (good)",
            (Question::Good, false) => "B (good)",
        }
    }

    /// The conditions that differ, each with the stage that it is of: those that matter, and
    /// those that are told alone.
    pub fn weighed(&self) -> (Vec<Named<'_>>, Vec<Named<'_>>) {
        let named = |p: &Pair| format!("stage {}, {}: ", p.subject.number, p.subject.kind.word());
        let own = self.pairs.iter().flat_map(|p| p.held.conditions.iter().map(move |c| (named(p), c)));
        own.chain(self.conditions.iter().map(|c| (String::new(), c))).partition(|(_, c)| !c.forbids.is_empty())
    }

    /// What a pair of stages is called.
    pub fn heading(&self, pair: &Pair) -> String {
        let what = match &pair.subject.kind {
            StageKind::Start(_) => "Starts".to_owned(),
            StageKind::Log(_) => "Log".into(),
            StageKind::Ramp(_) => "Ramp".into(),
            StageKind::Leakage(sweep) => format!("Leakage of {}", sweep.part.name),
            StageKind::Ask(_) => "Question".into(),
        };
        let mut numbers: Vec<String> = pair.reference.iter().map(|r| r.number.to_string()).collect();
        numbers.dedup();
        let (mine, theirs) = (format!("stage {}", pair.subject.number), format!("stage {}", numbers.join(", ")));
        format!("{what}: {}", self.sides.both(&mine, &theirs))
    }

    /// What is judged and what it is held against, in the order in which they are told.
    fn in_order<T>(&self, subject: T, reference: T) -> [T; 2] {
        match self.question {
            Question::Repair => [reference, subject],
            Question::Good => [subject, reference],
        }
    }

    /// The page, one HTML file.
    pub fn page(&self) -> String {
        page::page(self).into_string()
    }

    /// All findings, stage by stage.
    pub fn findings(&self) -> impl Iterator<Item = (&Pair, &Finding)> {
        self.pairs.iter().flat_map(|p| p.held.findings.iter().map(move |f| (p, f)))
    }

    /// The lines of the plans in which the runs named first on both sides differ; none where
    /// the texts are the same.
    pub fn plan_lines(&self) -> Vec<Line<'_>> {
        let (Some(a), Some(b)) = (self.a.plan(), self.b.plan()) else { return Vec::new() };
        if a == b {
            return Vec::new();
        }
        lines(a, b).unwrap_or_default()
    }

    /// How it ends, as the process returns it: worse, not decidable, or neither. Where starts
    /// were compared, what they prove decides between the latter two.
    pub fn exit(&self) -> Exit {
        let worst =
            |of: &dyn Fn(&Pair, &Finding) -> bool| self.findings().filter(|(p, f)| of(p, f)).map(|(_, f)| f.severity).max();
        let all = worst(&|_, _| true);
        let of_rates = worst(&|_, f| is_rate(f));
        match (all, of_rates) {
            (Some(Severity::Anomaly), _) => Exit::Anomaly,
            (None, _) => Exit::Undecided,
            (Some(severity), of_rates) => match of_rates.unwrap_or(severity) {
                Severity::Undecided => Exit::Undecided,
                _ => Exit::Within,
            },
        }
    }
}

/// Whether a finding says what starts prove.
fn is_rate(finding: &Finding) -> bool {
    const RATES: [&str; 8] = [
        "compare-conditions",
        "compare-proved",
        "compare-not-proved",
        "compare-worse",
        "compare-better",
        "compare-none-failed",
        "compare-all-failed",
        "compare-one-side",
    ];
    RATES.contains(&&*finding.code)
}

/// What has been proved: what the starts prove, what leaks, and what differs otherwise.
fn conclude(question: Question, pairs: &[Pair]) -> Vec<String> {
    let findings = || pairs.iter().flat_map(|p| &p.held.findings);
    let mut made: Vec<String> = findings().filter(|f| is_rate(f)).map(|f| f.sentence.clone()).collect();
    if made.is_empty() {
        made.push("Nothing is proved about failing starts: no stage of starts stands on both sides.".into());
    }
    for leakage in findings().filter(|f| f.code == "compare-leakage") {
        let told = leakage.sentence.split(": ").next().unwrap_or_default();
        made.push(format!("{}.", told.trim_end_matches('.')));
    }
    let others = |severity| findings().filter(|f| !is_rate(f) && f.code != "compare-leakage" && f.severity == severity).count();
    match (question, others(Severity::Anomaly)) {
        (_, 0) => {}
        (_, 1) => made.push("One more difference counts; it is told with its stage.".into()),
        (_, n) => made.push(format!("{n} more differences count; they are told with their stages.")),
    }
    if question == Question::Repair && findings().any(|f| f.code == "compare-proved") {
        made.push("That the fault comes back with the old part, and goes again with the new one, would prove which part it was; the numbers alone prove that something has changed.".into());
    }
    made
}
