//! "Would such a leak explain what I see?": at which leakage a node's level becomes
//! undefined or wrong, step by step, as `rampart calc` and the report show it.

use super::{Between, Effect, Leak, Node, Towards};
use crate::analysis::logic::{self, Reads, Thresholds};
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

/// One step of the working.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// What is computed.
    pub what: String,
    /// How, in letters; empty where it is looked up.
    pub formula: String,
    /// The same with the values.
    pub values: String,
    /// What comes of it.
    pub result: String,
}

/// The answer with its steps.
#[derive(Clone, Debug, PartialEq)]
pub struct Working {
    /// The steps, in order.
    pub lines: Vec<Line>,
    /// What the input reads without leakage.
    pub meant: Reads,
    /// The leakage from which on the level is undefined; `None` where none does that.
    pub undefined_from: Option<Between<Amperes>>,
    /// The leakage from which on it is wrong for certain.
    pub wrong_from: Option<Between<Amperes>>,
    /// What the leakage asked for does.
    pub effect: Option<Effect>,
    /// In one sentence.
    pub answer: String,
}

impl Working {
    /// One line of text for each step.
    pub fn text(&self) -> Vec<String> {
        let join = |l: &Line| {
            let steps: Vec<&str> =
                [&l.formula, &l.values, &l.result].into_iter().map(String::as_str).filter(|s| !s.is_empty()).collect();
            format!("{}: {}", l.what, steps.join(" = "))
        };
        self.lines.iter().map(join).collect()
    }
}

fn line(what: &str, formula: &str, values: String, result: String) -> Line {
    Line { what: what.into(), formula: formula.into(), values, result }
}

fn three<Q: Quantity>(value: Q) -> String {
    engineering(value.value(), Q::UNIT, 3)
}

/// With its limits, where they differ from it.
fn spread<Q: Quantity>(it: &Between<Q>) -> String {
    let (nominal, low, high) = (three(it.nominal), three(it.low), three(it.high));
    if low == nominal && high == nominal { nominal } else { format!("{nominal} ({low} to {high})") }
}

fn word(reads: Reads) -> &'static str {
    match reads {
        Reads::Low => "low",
        Reads::Undefined => "undefined",
        Reads::High => "high",
    }
}

/// At which leakage the level becomes undefined and wrong, and what the leakage asked
/// for does. Sources: Kirchhoff's current law, and the family's levels as named.
pub fn what_if(question: &Question) -> Working {
    let node = &question.node;
    let mut lines = levels(question);
    lines.push(at_rest(node));
    let (undefined_from, wrong_from) = (node.undefined_from(), node.wrong_from());
    if let Some((first, second)) = node.borders() {
        lines.extend(border(node, "it stops being certain", first, undefined_from));
        let other = if node.part == Towards::Ground { "it reads low for certain" } else { "it reads high for certain" };
        lines.extend(border(node, other, second, wrong_from));
    }
    let effect = question.leak.as_ref().and_then(|leak| node.settle(&leak.times(question.warmer)));
    if let Some(effect) = &effect {
        lines.extend(tried(question, effect));
    }
    let answer = answer(question, undefined_from.as_ref(), wrong_from.as_ref(), effect.as_ref());
    Working { lines, meant: node.meant(), undefined_from, wrong_from, effect, answer }
}

fn levels(question: &Question) -> Vec<Line> {
    let Thresholds { low, high } = question.node.thresholds;
    let mut lines = vec![line(
        &format!("levels of {} at {}", question.family, question.node.rail),
        "",
        String::new(),
        format!(
            "low at or below VIL {}, high at or above VIH {}, undefined between ({})",
            three(low),
            three(high),
            question.source
        ),
    )];
    if let Some((typical, source)) = logic::typical(&question.family, question.node.rail) {
        let found = format!("between {} and {}, without a guarantee ({source})", three(typical.low), three(typical.high));
        lines.push(line("where it typically switches", "", String::new(), found));
    }
    lines
}

fn at_rest(node: &Node) -> Line {
    let level = node.at_rest();
    let (formula, values) = match (node.up, node.down) {
        (Some(up), Some(down)) => ("rail × R_down / (R_up + R_down)", format!("{} × {down} / ({up} + {down})", node.rail)),
        (Some(_), None) => ("rail", String::new()),
        _ => ("ground", String::new()),
    };
    line("level without leakage", formula, values, format!("{}, {}", spread(&level), word(node.thresholds.read(level.nominal))))
}

fn border(node: &Node, what: &str, level: Volts, leakage: Option<Between<Amperes>>) -> Option<Line> {
    let leakage = leakage?;
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
        _ => return None,
    };
    let across = node.across_part(level);
    let as_resistor = if leakage.nominal.0 > 0.0 {
        format!(", which is {} across the part's {}", three(across / leakage.nominal), three(across))
    } else {
        String::new()
    };
    Some(Line {
        what: format!("leakage from which on {what}"),
        formula,
        values,
        result: format!("{}{as_resistor}", spread(&leakage)),
    })
}

fn tried(question: &Question, effect: &Effect) -> Vec<Line> {
    let node = &question.node;
    let mut lines = Vec::new();
    if let Some(leak) = &question.leak {
        let said = match leak {
            Leak::Constant { low, high } if low == high => format!("{} at any voltage", three(*low)),
            Leak::Constant { low, high } => format!("{} to {} at any voltage", three(*low), three(*high)),
            Leak::Ohmic { low, high, at } if low == high => {
                format!("{} at {at}, in proportion elsewhere ({})", three(*low), three(*at / *low))
            }
            Leak::Ohmic { low, high, at } => format!("{} to {} at {at}, in proportion elsewhere", three(*low), three(*high)),
            Leak::Curve(points) => format!("as measured at {} voltages", points.len()),
        };
        let warmer =
            if question.warmer == 1.0 { String::new() } else { format!(", times {} for the temperature", question.warmer) };
        lines.push(line("the leakage", "", String::new(), format!("{said}{warmer}")));
    }
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
    let result = format!("{}, {}{beyond}", spread(&effect.level), word(effect.reads));
    lines.push(Line { what: "level with it, where both agree".into(), formula, values, result });
    lines
}

fn answer(
    question: &Question,
    undefined: Option<&Between<Amperes>>,
    wrong: Option<&Between<Amperes>>,
    effect: Option<&Effect>,
) -> String {
    let node = &question.node;
    let family = &question.family;
    let (Some(undefined), Some(wrong)) = (undefined, wrong) else {
        return match node.meant() {
            Reads::Undefined => {
                format!("The node stands at {} without any leakage: undefined for {family}.", three(node.at_rest().nominal))
            }
            meant => format!("A leakage there cannot spoil the level: it pulls the node to where it is, {}.", word(meant)),
        };
    };
    let reach = wrong.nominal.0 > 0.0 && node.across_part(node.borders().map_or(Volts(0.0), |b| b.1)).0 >= 0.0;
    let wrong = if reach { format!(", and wrong for certain from {} on", spread(wrong)) } else { String::new() };
    let general = format!("The level is undefined for {family} from a leakage of {} on{wrong}.", spread(undefined));
    let Some(effect) = effect else { return general };
    let sure = if effect.is_certain() {
        String::new()
    } else {
        format!("; within its limits it may be {} to {}", word(effect.worst.0), word(effect.worst.1))
    };
    let level = engineering(effect.level.nominal.0, Unit::Volt, 3);
    let with = match (effect.reads, node.meant()) {
        (reads, meant) if reads == meant => format!("stays {} at {level}", word(meant)),
        (Reads::Undefined, _) => format!("is undefined at {level}"),
        (reads, _) => format!("is wrong: {} at {level}", word(reads)),
    };
    format!("{general} With the leakage given it {with}{sure}.")
}
