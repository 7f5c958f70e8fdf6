//! The states of a load, as a unit file writes them: what is drawn in each, and the
//! ways out of it.

use crate::document::Table;
use crate::rehearsal::circuit::{Condition, Draws, State, Transition};
use crate::units::{Amperes, Ohms, Ratio, Seconds, Volts, Watts};

/// Below this a constant current or power is no longer drawn in full, where nothing is said.
const KNEE: Volts = Volts(0.2);

/// Reads `[[load.NAME.state]]`; `nodes` are those that the load sees.
pub fn read(table: &mut Table<'_>, nodes: &[String]) -> Option<Vec<State>> {
    let mut tables = table.tables("state");
    if tables.is_empty() {
        return table.missing("state", Some("write [[load.NAME.state]] for each".into()));
    }
    let names: Vec<String> = tables.iter_mut().map(|t| t.need_text("name").unwrap_or_default()).collect();
    let mut states = Vec::new();
    for (mut table, name) in tables.into_iter().zip(&names) {
        let mut told = Vec::new();
        for text in table.texts("draws").unwrap_or_default() {
            match draws(&text) {
                Ok(made) => told.push(made),
                Err(why) => table.problem("draws", why, "not understood", Some(DRAWS.into())),
            }
        }
        let mut ways = Vec::new();
        for text in table.texts("to").unwrap_or_default() {
            match way(&text, &names, nodes) {
                Ok(made) => ways.push(made),
                Err(why) => table.problem("to", why, "not understood", Some(WAY.into())),
            }
        }
        let ripple = table.table("ripple").map(|mut ripple| {
            let made = (ripple.need("share"), ripple.need("period"));
            ripple.finish();
            made
        });
        table.finish();
        let ripple = match ripple {
            Some((share, period)) => Some((share?, period?)),
            None => None,
        };
        states.push(State { name: name.clone(), draws: told, ripple, transitions: ways });
    }
    Some(states)
}

const DRAWS: &str = "write \"12 mA\", \"0.45 W from 3 V\", \"470 ohm\" or \"10 ohm above 5 V\"";
const WAY: &str =
    "write \"STATE: NODE above 3 V\"; also below, above 50 % of NODE, after 300 ms, visit 2, chance 10 %, joined by commas";

fn draws(text: &str) -> Result<Draws, String> {
    let fails = |_| format!("{text:?} is nothing that can be drawn");
    if let Some((ohms, volts)) = text.split_once(" above ") {
        return Ok(Draws::Above(volts.parse().map_err(fails)?, ohms.parse::<Ohms>().map_err(fails)?));
    }
    let (what, knee) = match text.split_once(" from ") {
        Some((what, volts)) => (what, volts.parse::<Volts>().map_err(fails)?),
        None => (text, KNEE),
    };
    if let Ok(amperes) = what.parse::<Amperes>() {
        return Ok(Draws::Current(amperes, knee));
    }
    if let Ok(watts) = what.parse::<Watts>() {
        return Ok(Draws::Power(watts, knee));
    }
    Ok(Draws::Resistance(what.parse().map_err(fails)?))
}

fn way(text: &str, names: &[String], nodes: &[String]) -> Result<Transition, String> {
    let (name, conditions) = text.split_once(':').ok_or_else(|| format!("{text:?} names no state"))?;
    let to = names
        .iter()
        .position(|n| n == name.trim())
        .ok_or_else(|| format!("there is no state {:?}; there are {}", name.trim(), names.join(", ")))?;
    let (mut when, mut chance) = (Vec::new(), Ratio(1.0));
    for condition in conditions.split(',').map(str::trim) {
        match condition.strip_prefix("chance ") {
            Some(share) => chance = share.parse().map_err(|_| format!("{share:?} is no chance"))?,
            None => when.push(one(condition, nodes)?),
        }
    }
    if when.is_empty() {
        return Err(format!("{text:?} says nothing of when"));
    }
    Ok(Transition { to, when, chance })
}

fn one(text: &str, nodes: &[String]) -> Result<Condition, String> {
    let fails = || format!("{text:?} is no condition");
    let terminal = |name: &str| {
        let place = nodes.iter().position(|n| n == name.trim());
        place.ok_or_else(|| format!("the load does not see the node {:?}; it sees {}", name.trim(), nodes.join(", ")))
    };
    if let Some(wait) = text.strip_prefix("after ") {
        return Ok(Condition::After(wait.parse::<Seconds>().map_err(|_| fails())?));
    }
    if let Some(number) = text.strip_prefix("visit ") {
        return Ok(Condition::Visit(number.trim().parse().map_err(|_| fails())?));
    }
    for (word, is_above) in [(" above ", true), (" below ", false)] {
        let Some((node, level)) = text.split_once(word) else { continue };
        let node = terminal(node)?;
        if let Some((share, of)) = level.split_once(" of ") {
            let (share, of) = (share.parse::<Ratio>().map_err(|_| fails())?, terminal(of)?);
            let make = if is_above { Condition::AboveShare } else { Condition::BelowShare };
            return Ok(make(node, share, of));
        }
        let level = level.parse::<Volts>().map_err(|_| fails())?;
        let make = if is_above { Condition::Above } else { Condition::Below };
        return Ok(make(node, level));
    }
    Err(fails())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(of: &[&str]) -> Vec<String> {
        of.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn what_is_drawn_and_when_a_state_ends_is_read_as_it_is_written() {
        assert_eq!(draws("12 mA"), Ok(Draws::Current(Amperes(0.012), KNEE)));
        assert_eq!(draws("0.45 W from 3 V"), Ok(Draws::Power(Watts(0.45), Volts(3.0))));
        assert_eq!(draws("470 ohm"), Ok(Draws::Resistance(Ohms(470.0))));
        assert_eq!(draws("10 ohm above 5 V"), Ok(Draws::Above(Volts(5.0), Ohms(10.0))));
        let (states, nodes) = (names(&["off", "runs"]), names(&["in", "0", "arm"]));
        let read = way("runs: in above 3 V, arm above 50 % of in, chance 10 %", &states, &nodes);
        let when = vec![Condition::Above(0, Volts(3.0)), Condition::AboveShare(2, Ratio(0.5), 0)];
        assert_eq!(read, Ok(Transition { to: 1, when, chance: Ratio(0.1) }));
        for wrong in ["runs", "sleeps: in above 3 V", "runs: out above 3 V", "runs: in over 3 V", "runs: after 3 V"] {
            assert!(way(wrong, &states, &nodes).is_err(), "{wrong}");
        }
        assert!(draws("twelve").is_err());
    }
}
