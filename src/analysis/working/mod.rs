//! A calculation by hand, with its working shown: the formula, the values put in,
//! the result, where it comes from, and what to mind.
//!
//! One file a calculation builds its [`Working`] from the functions that the
//! findings use, too; `rampart calc` prints it, and a finding may show one. What
//! cannot be computed is a [`Refusal`], and no number that is none gets out:
//! [`Working::conclude`] sees to it.

mod battery;
mod burden;
mod capacitor;
mod discharge;
mod inrush;
mod leakage;
mod node;
mod rate;
mod rejection;
mod sampling;
mod timing;
mod touch;
mod uncertainty;

pub use battery::{Capacity, battery};
pub use burden::{Load, burden, loading};
pub use capacitor::{Absorption, drift, droop, insulation, recovery};
pub use discharge::{Drain, discharge};
pub use inrush::inrush;
pub use leakage::{absorption, conduction, leakage};
pub use node::{Described, node};
pub use rate::{Counted, claim, compare, proof, rate, sequential};
pub use rejection::{Window, rejection};
pub use sampling::{Allowed, Positions, isolated, sampling, switching};
pub use timing::{TIME_CONSTANTS, event, settle, soak};
pub use touch::touch;
pub use uncertainty::{Read, uncertainty};

use super::finding::Severity;
use crate::units::{Quantity, Seconds, Unit, engineering, spell};
use std::borrow::Cow;
use std::fmt;

/// A calculation with everything that leads to its result.
#[derive(Clone, Debug, PartialEq)]
pub struct Working {
    /// What is calculated.
    pub title: Cow<'static, str>,
    /// The steps, each a named result; no name comes twice.
    pub steps: Vec<Step>,
    /// The result in a sentence.
    pub answer: String,
    /// What to mind before relying on it.
    pub cautions: Vec<String>,
    /// Standards, handbooks, "common practice".
    pub sources: Vec<Cow<'static, str>>,
    /// Whether something is outside a limit, or cannot be decided.
    pub severity: Severity,
}

/// One step of a calculation.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What it gives: `time to fall`.
    pub name: Cow<'static, str>,
    /// In symbols: `t = R C ln(V0 / V)`.
    pub formula: Cow<'static, str>,
    /// The right side with the values put in: `1 s × ln(120 V / 60 V)`, or the values
    /// by their letters: `n = 20, C = 95 %`; empty where the formula says it all.
    pub put_in: String,
    /// The result.
    pub value: Value,
    /// Its limits, where they are known and differ from it.
    pub between: Option<(f64, f64)>,
    /// What it means, or where it was looked up; empty where nothing is to be said.
    pub remark: Cow<'static, str>,
}

impl Step {
    /// In one line: `t = tau ln(V0 / V) = 1 s × ln(120 V / 60 V) = 693.1 ms`.
    pub fn equation(&self) -> String {
        let value = self.value.spoken();
        let mut text = match (self.formula.as_ref(), self.put_in.as_str()) {
            ("", "") => value,
            (formula, "") => format!("{formula} = {value}"),
            // Values by their letters, where the formula is too long to write twice.
            (formula, given) if given.contains('=') => format!("{formula}; with {given}: {value}"),
            (formula, put_in) => format!("{formula} = {put_in} = {value}"),
        };
        if let Some((low, high)) = self.between {
            let (low, high) = (self.value.with(low).to_string(), self.value.with(high).to_string());
            if low != high {
                text.push_str(&format!(" ({low} to {high})"));
            }
        }
        if !self.remark.is_empty() {
            text.push_str(", ");
            text.push_str(&self.remark);
        }
        text
    }
}

/// The result of a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// In a unit, without prefix.
    Quantity(f64, Unit),
    /// In a unit, and down to which place it is known: as many digits as that deserves.
    DownTo(f64, Unit, f64),
    /// A number with what stands behind it: `dB`, or nothing.
    Number(f64, &'static str),
    /// So many.
    Count(u64),
}

impl Value {
    /// As a number, in the unit without prefix.
    #[allow(clippy::cast_precision_loss, reason = "counts of starts and readings are far below 2^53")]
    pub fn number(self) -> f64 {
        match self {
            Value::Quantity(x, _) | Value::DownTo(x, ..) | Value::Number(x, _) => x,
            Value::Count(n) => n as f64,
        }
    }

    /// Another number of the same kind.
    fn with(self, number: f64) -> Self {
        match self {
            Value::Quantity(_, unit) => Value::Quantity(number, unit),
            Value::DownTo(_, unit, place) => Value::DownTo(number, unit, place),
            Value::Number(_, symbol) => Value::Number(number, symbol),
            Value::Count(_) => Value::Number(number, ""),
        }
    }

    /// As it is shown, and a long time as a person says it, too: `7200 s (2 h 0 min)`.
    pub fn spoken(self) -> String {
        match self {
            Value::Quantity(x, Unit::Second) if x >= 120.0 && x.is_finite() => format!("{self} ({})", spell(Seconds(x))),
            other => other.to_string(),
        }
    }

    /// The symbol of its unit; empty for a plain number. A percentage is held as a ratio.
    pub fn symbol(self) -> &'static str {
        match self {
            Value::Quantity(_, Unit::Percent) | Value::DownTo(_, Unit::Percent, _) | Value::Count(_) => "",
            Value::Quantity(_, unit) | Value::DownTo(_, unit, _) => unit.symbol(),
            Value::Number(_, symbol) => symbol,
        }
    }
}

impl<Q: Quantity> From<Q> for Value {
    fn from(quantity: Q) -> Self {
        Value::Quantity(quantity.value(), Q::UNIT)
    }
}

impl From<u64> for Value {
    fn from(count: u64) -> Self {
        Value::Count(count)
    }
}

/// Significant digits of a result.
const DIGITS: usize = 4;

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Value::Quantity(x, unit) => f.write_str(&engineering(x, unit, DIGITS)),
            Value::DownTo(x, unit, place) => {
                let places = (x.abs() / place).log10().floor() + 1.0;
                let digits = if places.is_finite() { places.clamp(DIGITS as f64, 15.0) as usize } else { DIGITS };
                f.write_str(&engineering(x, unit, digits))
            }
            Value::Number(x, symbol) => {
                f.write_str(&plain(x))?;
                if symbol.is_empty() { Ok(()) } else { write!(f, " {symbol}") }
            }
            Value::Count(n) => write!(f, "{n}"),
        }
    }
}

/// As a result is shown, for a value that was computed and is put in further on.
fn shown(value: impl Into<Value>) -> String {
    value.into().to_string()
}

/// The same for a sentence.
fn spoken(value: impl Into<Value>) -> String {
    value.into().spoken()
}

/// A number to four significant digits, with an exponent only where it is far from one.
fn plain(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let scientific = format!("{x:.*e}", DIGITS - 1);
    let exponent = scientific.split_once('e').and_then(|(_, e)| e.parse::<i32>().ok()).unwrap_or(0);
    match exponent {
        -4..=5 => format!("{x:.*}", usize::try_from(3 - exponent).unwrap_or(0)),
        _ => scientific,
    }
}

/// Why something cannot be calculated.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{problem}")]
pub struct Refusal {
    /// What is wrong: expected, found.
    pub problem: String,
    /// What to do instead, where that can be said.
    pub hint: Option<String>,
}

impl Refusal {
    /// Without a hint.
    pub fn new(problem: impl Into<String>) -> Self {
        Self { problem: problem.into(), hint: None }
    }

    /// With a hint.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

/// The quantity, where it is above zero.
///
/// # Errors
/// It is zero, negative or not finite.
pub fn positive<Q: Quantity + fmt::Display>(what: &str, quantity: Q) -> Result<Q, Refusal> {
    if quantity.value() > 0.0 && quantity.value().is_finite() {
        return Ok(quantity);
    }
    let zero = Q::of(0.0);
    Err(Refusal::new(format!("the {what}: expected more than {zero}, found {quantity}")))
}

/// The quantity, where it is not below zero.
///
/// # Errors
/// It is negative or not finite.
pub fn not_negative<Q: Quantity + fmt::Display>(what: &str, quantity: Q) -> Result<Q, Refusal> {
    if quantity.value() >= 0.0 && quantity.value().is_finite() {
        return Ok(quantity);
    }
    let zero = Q::of(0.0);
    Err(Refusal::new(format!("the {what}: expected {zero} or more, found {quantity}")))
}

/// The ratio, where it lies between 0 % and 100 %, without either.
///
/// # Errors
/// It does not.
pub fn proper(what: &str, ratio: crate::units::Ratio) -> Result<crate::units::Ratio, Refusal> {
    if ratio.0 > 0.0 && ratio.0 < 1.0 {
        return Ok(ratio);
    }
    Err(Refusal::new(format!("the {what}: expected more than 0 % and less than 100 %, found {ratio}")))
}

impl Working {
    /// Of something, without steps yet.
    pub fn new(title: impl Into<Cow<'static, str>>) -> Self {
        Self {
            title: title.into(),
            steps: Vec::new(),
            answer: String::new(),
            cautions: Vec::new(),
            sources: Vec::new(),
            severity: Severity::Note,
        }
    }

    /// With a step.
    #[must_use]
    pub fn step(
        mut self,
        name: impl Into<Cow<'static, str>>,
        formula: impl Into<Cow<'static, str>>,
        put_in: impl Into<String>,
        value: impl Into<Value>,
    ) -> Self {
        let (name, formula) = (name.into(), formula.into());
        self.steps.push(Step { name, formula, put_in: put_in.into(), value: value.into(), between: None, remark: "".into() });
        self
    }

    /// With the limits of the last step's result.
    #[must_use]
    pub fn between(mut self, low: f64, high: f64) -> Self {
        if let Some(step) = self.steps.last_mut() {
            step.between = Some((low, high)).filter(|_| low < high);
        }
        self
    }

    /// With a remark on the last step.
    #[must_use]
    pub fn remark(mut self, remark: impl Into<Cow<'static, str>>) -> Self {
        if let Some(step) = self.steps.last_mut() {
            step.remark = remark.into();
        }
        self
    }

    /// With something to mind.
    #[must_use]
    pub fn caution(mut self, caution: impl Into<String>) -> Self {
        self.cautions.push(caution.into());
        self
    }

    /// With a source.
    #[must_use]
    pub fn source(mut self, source: impl Into<Cow<'static, str>>) -> Self {
        self.sources.push(source.into());
        self
    }

    /// With the weight of its result.
    #[must_use]
    pub fn weigh(mut self, severity: Severity) -> Self {
        self.severity = severity;
        self
    }

    /// Finished, with its result in a sentence.
    ///
    /// # Errors
    /// A step gave a number that is none, or too large to be held.
    pub fn conclude(mut self, answer: impl Into<String>) -> Result<Self, Refusal> {
        self.answer = answer.into();
        self.checked()
    }

    /// The same, where every number of it is one.
    ///
    /// # Errors
    /// A step gave a number that is none, or too large to be held.
    pub fn checked(self) -> Result<Self, Refusal> {
        let held = |s: &Step| s.value.number().is_finite() && s.between.is_none_or(|(a, b)| a.is_finite() && b.is_finite());
        if let Some(step) = self.steps.iter().find(|s| !held(s)) {
            let problem = format!("the {} cannot be held as a number: {}", step.name, step.formula);
            return Err(Refusal::new(problem).hint("a value that was given is far from anything at a bench"));
        }
        Ok(self)
    }

    /// The steps, one line for each: `peak current: I = V0 / R = 60 V / 1 kohm = 60.00 mA`.
    pub fn text(&self) -> Vec<String> {
        self.steps.iter().map(|s| format!("{}: {}", s.name, s.equation())).collect()
    }

    /// The value of a step.
    pub fn value(&self, name: &str) -> Option<f64> {
        self.steps.iter().find(|s| s.name == name).map(|s| s.value.number())
    }
}
