//! The made-up board of a `[board]` table: an input capacitor, a reset that must be
//! re-armed, an arming delay with a capacitor that may leak, a gate, and what it draws
//! in each of its states.

use super::circuit::{Circuit, Condition, Draws, GROUND, Load, Node, Solid, State, Transition};
use crate::units::{Amperes, Farads, Ohms, Ratio, Seconds, Volts};

/// What a board is like.
#[derive(Clone, Debug)]
pub struct Board {
    /// Across the input.
    pub input: Farads,
    /// Below this it stops working.
    pub dropout: Volts,
    /// The supply must have fallen below this, or its reset is not re-armed and it hangs.
    pub reset_below: Volts,
    /// Drawn asleep, beside what the arming delay takes.
    pub asleep: Amperes,
    /// Drawn running.
    pub running: Amperes,
    /// Ripple of the running current, its share and its period.
    pub ripple: (Ratio, Seconds),
    /// Drawn when hung.
    pub hung: Amperes,
    /// The arming delay: resistor from the input, capacitor, threshold of the gate as a share of the input.
    pub arming: Option<(Ohms, Solid, Ratio)>,
    /// Latch-up: when, and the current then.
    pub latch_up: Option<(LatchUp, Amperes)>,
    /// A path that opens above a voltage, with this resistance for what is above it.
    pub short: Option<(Volts, Ohms)>,
}

/// Which starts end in latch-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LatchUp {
    /// Each with this chance.
    Chance(Ratio),
    /// One alone, counted from 1.
    AtStart(u64),
}

/// A latched-up path holds this many volts, and carries its full current a little above.
const HOLDING: (Volts, Volts) = (Volts(0.8), Volts(1.0));
/// Below this voltage a load can no longer draw its current.
const NOTHING: Volts = Volts(0.2);

impl Board {
    /// Puts it into a circuit, with its input at a node.
    pub fn place(&self, circuit: &mut Circuit, input: Node) {
        circuit.capacitor("c.input", input, GROUND, self.input);
        let arm = match &self.arming {
            Some((resistor, capacitor, _)) => {
                let arm = circuit.node("arming");
                circuit.resistor("r.arming", input, arm, *resistor);
                capacitor.place(circuit, "c.arming", arm, GROUND);
                arm
            }
            None => input,
        };
        circuit.device("board", &[input, GROUND, arm], Load::new(self.states()));
    }

    /// Without power; below drop-out, reset not yet re-armed; working, waiting for the
    /// arming delay; running; hung; latched up.
    fn states(&self) -> Vec<State> {
        let [off, brown_out, asleep, running, hung, latched] = [0, 1, 2, 3, 4, 5];
        let above = |volts: Volts| Condition::Above(0, volts);
        let below = |volts: Volts| Condition::Below(0, volts);
        let to = |to: usize, when: Vec<Condition>| Transition { to, when, chance: Ratio(1.0) };
        let falls = to(brown_out, vec![below(self.dropout * 0.9)]);
        let starts = match self.latch_up {
            Some((LatchUp::Chance(chance), _)) => Some(Transition { chance, ..to(latched, vec![above(self.dropout)]) }),
            Some((LatchUp::AtStart(number), _)) => Some(to(latched, vec![above(self.dropout), Condition::Visit(number)])),
            None => None,
        };
        let runs = self.arming.as_ref().map_or(above(Volts(0.0)), |(_, _, share)| Condition::AboveShare(2, *share, 0));
        let state = |name: &str, draws: Draws, transitions: Vec<Transition>| {
            let short = self.short.map(|(above, ohms)| Draws::Above(above, ohms));
            let draws = std::iter::once(draws).chain(short).collect();
            State { name: name.to_owned(), draws, ripple: None, transitions }
        };
        let wants = |amperes: Amperes| Draws::Current(amperes, NOTHING);
        // Too low for what is inside: in proportion to the voltage.
        let little = || Draws::Points(vec![(Volts(0.0), Amperes(0.0)), (self.dropout.max(NOTHING), self.asleep)]);
        let holds = |amperes| Draws::Points(vec![(HOLDING.0, Amperes(0.0)), (HOLDING.1, amperes)]);
        let mut states = vec![
            state("off", little(), starts.into_iter().chain([to(asleep, vec![above(self.dropout)])]).collect()),
            state("browned out", little(), vec![to(off, vec![below(self.reset_below)]), to(hung, vec![above(self.dropout)])]),
            state("asleep", wants(self.asleep), vec![to(running, vec![runs]), falls.clone()]),
            state("running", wants(self.running), vec![falls.clone()]),
            state("hung", wants(self.hung), vec![falls]),
            // A latch-up lasts until the power is gone, also where the supply limits it.
            state(
                "latched up",
                holds(self.latch_up.map_or(Amperes(0.0), |(_, amperes)| amperes)),
                vec![to(brown_out, vec![below(HOLDING.0 * 0.5)])],
            ),
        ];
        if let Some(state) = states.get_mut(running).filter(|_| self.ripple.0.0 != 0.0) {
            state.ripple = Some(self.ripple);
        }
        states
    }
}
