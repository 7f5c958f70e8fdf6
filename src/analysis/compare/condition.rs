//! The conditions of two sides, and what their differences forbid.

/// What a condition bears upon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// How often starts fail.
    Rates,
    /// What is drawn in the end.
    Currents,
    /// The course of a start, reading by reading.
    Courses,
    /// A ramp.
    Ramps,
    /// Leakage over voltage.
    Leakage,
}

impl Part {
    /// All.
    pub const ALL: [Part; 5] = [Part::Rates, Part::Currents, Part::Courses, Part::Ramps, Part::Leakage];

    /// As a person reads it.
    pub fn name(self) -> &'static str {
        match self {
            Part::Rates => "failing rates",
            Part::Currents => "currents",
            Part::Courses => "courses of starts",
            Part::Ramps => "ramps",
            Part::Leakage => "leakage",
        }
    }
}

/// A condition that is not the same on both sides.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// What it is: `off-times`.
    pub what: String,
    /// On the first side.
    pub a: String,
    /// On the second.
    pub b: String,
    /// What it forbids to compare; none: it is told, and forbids nothing.
    pub forbids: Vec<Part>,
    /// Why, or why not.
    pub why: &'static str,
}

impl Condition {
    /// One that forbids.
    pub fn forbidding(what: impl Into<String>, sides: (String, String), parts: &[Part], why: &'static str) -> Self {
        Self { what: what.into(), a: sides.0, b: sides.1, forbids: parts.to_vec(), why }
    }

    /// One that is told alone.
    pub fn told(what: impl Into<String>, sides: (String, String), why: &'static str) -> Self {
        Self::forbidding(what, sides, &[], why)
    }

    /// What it means for what follows, in words.
    pub fn means(&self) -> String {
        if self.forbids.is_empty() {
            return self.why.to_owned();
        }
        let parts: Vec<&str> = self.forbids.iter().map(|p| p.name()).collect();
        format!("matters for {}: {}", parts.join(", "), self.why)
    }
}

/// The names of those that forbid a part; nothing where it may be compared.
pub fn against(conditions: &[Condition], part: Part) -> Vec<&str> {
    let mut names: Vec<&str> = Vec::new();
    for condition in conditions.iter().filter(|c| c.forbids.contains(&part)) {
        if !names.contains(&condition.what.as_str()) {
            names.push(&condition.what);
        }
    }
    names
}
