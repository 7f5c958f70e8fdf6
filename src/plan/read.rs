//! Reading a plan from TOML: the plan as a whole here, the stages in `stages`.
//! What each key means, and what holds where it is
//! left out, stands in `model` and in the README.
//!
//! Finds what is wrong with the text alone: units, signs, order, overlaps,
//! unknown words. Leaves to `check` what depends on the unit's ceiling, on the
//! bench or on another stage.

mod stages;

use super::model::*;
use crate::document::{Document, Problems, Table};
use crate::units::{Amperes, Quantity, Seconds, Unit, Volts, Watts};

/// What is said to a voltage of zero or less.
const POLARITY: &str = "a voltage is written without a sign: polarity is a matter of the leads";

impl Plan {
    /// Reads a plan from its text.
    ///
    /// # Errors
    /// Every mistake in the file, with its place and a hint.
    pub fn read(document: &Document) -> Result<Plan, Problems> {
        document.read(|root| {
            root.rename("the plan");
            let title = root.need_text("title");
            let unit = root.need_table("unit").and_then(unit);
            let interlock = interlock(root);
            let has_check = root.has("self_check");
            let self_check = root.table("self_check").and_then(self_check);
            let inspection = root.table("inspection").map(super::inspection::read);
            let stages = stages::stages(root);
            if has_check && self_check.is_none() {
                return None;
            }
            Some(Plan {
                title: title?,
                unit: unit?,
                interlock,
                self_check,
                inspection,
                stages: stages?,
                document: document.clone(),
            })
        })
    }
}

fn unit(mut table: Table<'_>) -> Option<UnitUnderTest> {
    let name = table.need_text("name");
    let capacitance = above_zero(&mut table, "capacitance");
    let ceiling = table.need_table("ceiling").and_then(|mut ceiling| {
        let voltage = need_above_zero::<Volts>(&mut ceiling, "voltage");
        let current = need_above_zero::<Amperes>(&mut ceiling, "current");
        let power = above_zero::<Watts>(&mut ceiling, "power");
        ceiling.finish();
        let (voltage, current) = (voltage?, current?);
        Some(Ceiling { voltage, current, power: power.unwrap_or(voltage * current) })
    });
    let places = table.places();
    table.finish();
    Some(UnitUnderTest { name: name?, ceiling: ceiling?, capacitance, places })
}

/// A value above zero, if the key is there.
pub(super) fn above_zero<Q: Quantity>(table: &mut Table<'_>, key: &str) -> Option<Q> {
    let value = table.quantity::<Q>(key);
    positive(table, key, value);
    value
}

/// A value above zero that must be there.
fn need_above_zero<Q: Quantity>(table: &mut Table<'_>, key: &str) -> Option<Q> {
    let value = table.need::<Q>(key);
    positive(table, key, value);
    value
}

/// Reports a value that is there but not above zero.
fn positive<Q: Quantity>(table: &Table<'_>, key: &str, value: Option<Q>) {
    if value.is_some_and(|v| v.value() <= 0.0) {
        let hint = match Q::UNIT {
            Unit::Volt => POLARITY.to_owned(),
            unit => format!("write it as {}", unit.examples()),
        };
        table.problem(key, format!("{key:?} in {} must be above zero", table.name()), "not above zero", Some(hint));
    }
}

/// A value that may be zero, but not less.
fn zero_or_more<Q: Quantity>(table: &mut Table<'_>, key: &str) -> Option<Q> {
    let value = table.quantity::<Q>(key);
    if value.is_some_and(|v| v.value() < 0.0) {
        table.problem(key, format!("{key:?} in {} must not be negative", table.name()), "negative", None);
    }
    value
}

/// A band of currents: the lower first, neither negative.
fn currents(table: &mut Table<'_>, key: &str) -> Option<(Amperes, Amperes)> {
    let band = table.band::<Amperes>(key)?;
    if band.0.0 < 0.0 {
        let hint = "the unit draws current; a meter that reads negative has its leads swapped";
        table.problem(key, format!("{key:?} in {} must not be negative", table.name()), "negative", Some(hint.into()));
    }
    Some(band)
}

fn self_check(mut table: Table<'_>) -> Option<SelfCheck> {
    let name = table.text("name").unwrap_or_else(|| "known load".into());
    let load = need_above_zero(&mut table, "load");
    let tolerance = need_above_zero(&mut table, "tolerance");
    let rated = need_above_zero(&mut table, "rated");
    let voltage = need_above_zero(&mut table, "voltage");
    let every = table.count("every", 1, 1_000_000).and_then(|n| u32::try_from(n).ok());
    let places = table.places();
    table.finish();
    Some(SelfCheck { name, load: load?, tolerance: tolerance?, rated: rated?, voltage: voltage?, every, places })
}

/// What may be gone on after, as plans name it.
const CAUSES: [(&str, TripCause); 5] = [
    ("over-current", TripCause::OverCurrent),
    ("time in limiting", TripCause::InLimit),
    ("no reading", TripCause::NoReading),
    ("the supply's own protection", TripCause::SupplyProtection),
    ("a changed setting", TripCause::Changed),
];

fn retry(table: &mut Table<'_>) -> Option<Retry> {
    let times = match table.has("times") {
        true => table.count("times", 1, 100).and_then(|n| u32::try_from(n).ok()),
        false => table.missing("times", Some("how often a run may go on: times = 3".into())),
    };
    let pause = need_above_zero(table, "pause");
    let Some(words) = table.texts("after") else {
        return table.missing("after", Some("name the causes: after = [\"no reading\"]".into()));
    };
    if words.is_empty() {
        table.problem("after", "no cause is named", "empty", Some("after = [\"no reading\"]".into()));
    }
    let mut after = Vec::new();
    for word in words {
        match CAUSES.iter().find(|(name, _)| *name == word) {
            Some((_, cause)) => after.push(*cause),
            None => {
                let known = CAUSES.map(|(name, _)| format!("{name:?}")).join(", ");
                let title = format!("a run does not go on after {word:?}");
                table.problem("after", title, "not a cause that may be named here", Some(format!("these may be: {known}")));
            }
        }
    }
    Some(Retry { times: times?, after, pause: pause? })
}

fn interlock(root: &mut Table<'_>) -> Interlock {
    let mut made =
        Interlock { in_limit: Seconds(0.3), no_reading: Seconds(2.0), retry: None, energy: None, places: root.places() };
    if let Some(mut table) = root.table("interlock") {
        made.in_limit = above_zero(&mut table, "in_limit").unwrap_or(made.in_limit);
        made.no_reading = above_zero(&mut table, "no_reading").unwrap_or(made.no_reading);
        made.energy = above_zero(&mut table, "energy");
        made.retry = table.table("retry").and_then(|mut table| {
            let read = retry(&mut table);
            table.finish();
            read
        });
        made.places = table.places();
        table.finish();
    }
    made
}
