//! "Would such a leak explain what I see?": at which leakage a node's level becomes
//! undefined or wrong, step by step, as `rampart calc` and the report show it.

use super::{Between, Effect, Leak, Node, Towards};
use crate::analysis::finding::Severity;
use crate::analysis::logic::{self, Reads, Thresholds};
use crate::analysis::working::Working;
use crate::units::{Amperes, Ohms, Quantity, Ratio, Unit, Volts, engineering};

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question {
    /// The node.
    pub node: Node,
    /// The logic family, as written.
    pub family: String,
    /// Where its levels come from.
    pub source: &'static str,
    /// The leakage, where one is to be tried.
    pub leak: Option<Leak>,
    /// How many times larger it is to be taken, for the temperature in use; 1 for as it is.
    pub warmer: f64,
}

impl Question {
    /// A node and a family by its name.
    ///
    /// # Errors
    /// In words: no resistor, a value that is not above zero, or the family has no
    /// levels at this rail.
    pub fn new(rail: Volts, up: Option<Ohms>, down: Option<Ohms>, part: Towards, family: &str) -> Result<Self, String> {
        if up.is_none() && down.is_none() {
            return Err("a node needs a resistor that holds it: from the rail, to ground, or both".into());
        }
        for (what, value) in [("the rail", Some(rail.0)), ("a resistor", up.map(|r| r.0)), ("a resistor", down.map(|r| r.0))] {
            if value.is_some_and(|v| !(v > 0.0 && v.is_finite())) {
                return Err(format!("{what} must be above zero"));
            }
        }
        let (thresholds, source) = logic::thresholds(family, rail)?;
        let node = Node { rail, up, down, tolerance: Ratio(0.0), part, thresholds };
        Ok(Self { node, family: family.into(), source, leak: None, warmer: 1.0 })
    }

    /// With resistors of a tolerance.
    #[must_use]
    pub fn within(mut self, tolerance: Ratio) -> Self {
        self.node.tolerance = tolerance;
        self
    }

    /// With a leakage to be tried.
    #[must_use]
    pub fn with(mut self, leak: Leak) -> Self {
        self.leak = Some(leak);
        self
    }

    /// With the leakage so many times larger.
    #[must_use]
    pub fn warmer(mut self, times: f64) -> Self {
        self.warmer = times;
        self
    }
}

/// The answer with its steps.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIf {
    /// The steps and the answer in a sentence.
    pub working: Working,
    /// What the input reads without leakage.
    pub meant: Reads,
    /// The leakage from which on the level is undefined; `None` where none does that.
    pub undefined_from: Option<Between<Amperes>>,
    /// The leakage from which on it is wrong for certain.
    pub wrong_from: Option<Between<Amperes>>,
    /// What the leakage asked for does.
    pub effect: Option<Effect>,
}

fn three<Q: Quantity>(value: Q) -> String {
    engineering(value.value(), Q::UNIT, 3)
}

/// With its limits, where they differ from it.
fn spread<Q: Quantity>(it: &Between<Q>) -> String {
    let (nominal, low, high) = (three(it.nominal), three(it.low), three(it.high));
    if low == nominal && high == nominal { nominal } else { format!("{nominal} ({low} to {high})") }
}

/// What an input reads, in a word.
pub fn word(reads: Reads) -> &'static str {
    match reads {
        Reads::Low => "low",
        Reads::Undefined => "undefined",
        Reads::High => "high",
    }
}

/// At which leakage the level becomes undefined and wrong, and what the leakage asked
/// for does. Sources: Kirchhoff's current law, and the family's levels as named.
pub fn what_if(question: &Question) -> WhatIf {
    let node = &question.node;
    let begun = Working::new("Level of a node under leakage").source("Kirchhoff's current law");
    let mut working = at_rest(levels(begun, &question.family, node.rail, node.thresholds, question.source), node);
    let (undefined_from, wrong_from) = (node.undefined_from(), node.wrong_from());
    if let Some((first, second)) = node.borders() {
        working = border(working, node, "leakage that makes it undefined", first, undefined_from);
        working = border(working, node, "leakage that makes it wrong for certain", second, wrong_from);
    }
    let effect = question.leak.as_ref().and_then(|leak| node.settle(&leak.times(question.warmer)));
    if let Some(effect) = &effect {
        working = tried(working, question, effect);
    }
    // What makes it wrong for certain is told only where the part can leak so much there.
    let reach =
        wrong_from.filter(|wrong| wrong.nominal.0 > 0.0 && node.across_part(node.borders().map_or(Volts(0.0), |b| b.1)).0 >= 0.0);
    let told = Told {
        family: &question.family,
        meant: node.meant(),
        rest: node.at_rest().nominal,
        undefined: undefined_from,
        wrong: reach,
        effect: effect.as_ref().map(|e| Tried { level: e.level, reads: e.reads, worst: e.worst }),
    };
    working.answer = told.answer();
    working.severity = told.severity();
    WhatIf { working, meant: node.meant(), undefined_from, wrong_from, effect }
}

/// The steps that look up the levels of a family at a rail.
pub fn levels(working: Working, family: &str, rail: Volts, thresholds: Thresholds, source: &str) -> Working {
    let Thresholds { low, high } = thresholds;
    let at = format!("{family} at {rail}");
    let working = working
        .step("VIL", "", "", low)
        .remark(format!("{at} reads low at or below it"))
        .step("VIH", "", "", high)
        .remark(format!("{at} reads high at or above it; between them it is undefined"))
        .source(format!("levels of {family}: {source}"));
    let Some((typical, source)) = logic::typical(family, rail) else { return working };
    let (low, high) = (three(typical.low), three(typical.high));
    working.caution(format!("It typically switches between {low} and {high}, without a guarantee ({source})."))
}

fn at_rest(working: Working, node: &Node) -> Working {
    let level = node.at_rest();
    let (formula, values) = match (node.up, node.down) {
        (Some(up), Some(down)) => ("rail × R_down / (R_up + R_down)", format!("{} × {down} / ({up} + {down})", node.rail)),
        (Some(_), None) => ("rail", String::new()),
        _ => ("ground", String::new()),
    };
    working
        .step("level without leakage", formula, values, level.nominal)
        .between(level.low.0, level.high.0)
        .remark(word(node.thresholds.read(level.nominal)))
}

fn border(working: Working, node: &Node, what: &'static str, level: Volts, leakage: Option<Between<Amperes>>) -> Working {
    let Some(leakage) = leakage else { return working };
    let v = three(level);
    let name = if level == node.thresholds.high { "VIH" } else { "VIL" };
    let (through_up, through_down) = (format!("(rail − {name}) / R_up"), format!("{name} / R_down"));
    let up = node.up.map(|r| format!("({} − {v}) / {r}", node.rail));
    let down = node.down.map(|r| format!("{v} / {r}"));
    let (formula, values) = match (node.part, up, down) {
        (Towards::Ground, Some(up), Some(down)) => (format!("{through_up} − {through_down}"), format!("{up} − {down}")),
        (Towards::Ground, Some(up), None) => (through_up, up),
        (Towards::Rail, Some(up), Some(down)) => (format!("{through_down} − {through_up}"), format!("{down} − {up}")),
        (Towards::Rail, None, Some(down)) => (through_down, down),
        _ => return working,
    };
    let working = working.step(what, formula, values, leakage.nominal).between(leakage.low.0, leakage.high.0);
    if leakage.nominal.0 <= 0.0 {
        return working;
    }
    let across = node.across_part(level);
    working.remark(format!("which is {} across the part's {}", three(across / leakage.nominal), three(across)))
}

fn tried(mut working: Working, question: &Question, effect: &Effect) -> Working {
    let node = &question.node;
    let warmer = if question.warmer == 1.0 { String::new() } else { format!("; times {} for the temperature", question.warmer) };
    working = match &question.leak {
        Some(Leak::Constant { low, high }) => working
            .step("leakage to be tried", "", "", (*low + *high) / 2.0)
            .between(low.0, high.0)
            .remark(format!("at any voltage{warmer}")),
        Some(Leak::Ohmic { low, high, at }) => working
            .step("leakage to be tried", "", "", (*low + *high) / 2.0)
            .between(low.0, high.0)
            .remark(format!("at {at}, in proportion elsewhere{warmer}")),
        Some(Leak::Curve(points)) => working
            .step("voltages at which the leakage was measured", "", "", points.len() as u64)
            .remark(format!("ln I in a straight line between{warmer}")),
        None => working,
    };
    let sign = if node.part == Towards::Ground { "−" } else { "+" };
    let formula = match (node.up, node.down) {
        (Some(_), Some(_)) => format!("level without leakage {sign} I × R_up R_down / (R_up + R_down)"),
        (Some(_), None) => format!("rail {sign} I × R_up"),
        _ => format!("0 {sign} I × R_down"),
    };
    let parallel = match (node.up, node.down) {
        (Some(up), Some(down)) => Ohms(up.0 * down.0 / (up.0 + down.0)),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => Ohms(0.0),
    };
    let values = format!("{} {sign} {} × {}", three(node.at_rest().nominal), three(effect.leakage), three(parallel));
    let beyond = if effect.within_measured { "" } else { "; beyond the measured voltages, continued" };
    working
        .step("level with the leakage", formula, values, effect.level.nominal)
        .between(effect.level.low.0, effect.level.high.0)
        .remark(format!("{}{beyond}", word(effect.reads)))
}

/// What a leakage that was tried makes of a node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tried {
    /// Where the node comes to rest.
    pub level: Between<Volts>,
    /// What the input makes of it.
    pub reads: Reads,
    /// What it makes of the lowest and of the highest level.
    pub worst: (Reads, Reads),
}

/// What is known of a node under leakage, by formulas or by solving a whole circuit: for one
/// answer in one wording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told<'f> {
    /// The logic family that listens.
    pub family: &'f str,
    /// What the input reads without leakage.
    pub meant: Reads,
    /// The level without leakage.
    pub rest: Volts,
    /// The leakage from which on it is undefined; `None` where none does that.
    pub undefined: Option<Between<Amperes>>,
    /// The leakage from which on it is wrong for certain.
    pub wrong: Option<Between<Amperes>>,
    /// What the leakage asked for does.
    pub effect: Option<Tried>,
}

impl Told<'_> {
    /// The answer in a sentence or two.
    pub fn answer(&self) -> String {
        let family = self.family;
        let Some(undefined) = &self.undefined else {
            let alone = match self.meant {
                Reads::Undefined => {
                    format!("The node stands at {} without any leakage: undefined for {family}.", three(self.rest))
                }
                meant => format!("A leakage there cannot spoil the level: it pulls the node to where it is, {}.", word(meant)),
            };
            return alone;
        };
        let wrong = self.wrong.as_ref().map_or(String::new(), |w| format!(", and wrong for certain from {} on", spread(w)));
        let general = format!("The level is undefined for {family} from a leakage of {} on{wrong}.", spread(undefined));
        let Some(effect) = &self.effect else { return general };
        let certain = effect.worst == (effect.reads, effect.reads);
        let sure = if certain {
            String::new()
        } else {
            format!("; within its limits it may be {} to {}", word(effect.worst.0), word(effect.worst.1))
        };
        let level = engineering(effect.level.nominal.0, Unit::Volt, 3);
        let with = match (effect.reads, self.meant) {
            (reads, meant) if reads == meant => format!("stays {} at {level}", word(meant)),
            (Reads::Undefined, _) => format!("is undefined at {level}"),
            (reads, _) => format!("is wrong: {} at {level}", word(reads)),
        };
        format!("{general} With the leakage given it {with}{sure}.")
    }

    /// How much it matters: nothing, a fault, or not to be said.
    pub fn severity(&self) -> Severity {
        match &self.effect {
            Some(effect) if effect.worst != (effect.reads, effect.reads) => Severity::Undecided,
            Some(effect) if effect.reads != self.meant => Severity::Anomaly,
            _ => Severity::Note,
        }
    }
}
