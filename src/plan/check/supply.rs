//! What a stage asks of the supply, against its ratings and the unit's ceiling.

use super::rounded;
use super::stages::Look;
use crate::instrument::profile::SupplyProfile;
use crate::plan::Limits;
use crate::units::{Amperes, Volts, Watts};

const CEILING: &str = "lower it, or raise [unit] ceiling after a look at what the unit can bear";

impl Look<'_> {
    pub(super) fn voltage(&mut self, key: &str, voltage: Volts, supply: &SupplyProfile) {
        let ceiling = self.plan.unit.ceiling.voltage;
        if voltage > ceiling {
            self.error(key, format!("{voltage} is above the unit's ceiling of {ceiling}"), "above the ceiling", CEILING);
        }
        if voltage > supply.rated_voltage {
            self.error(
                key,
                format!("{voltage} is above the supply's rating of {}", supply.rated_voltage),
                "above the rating",
                "lower it, or use another supply",
            );
        }
    }

    /// The current limits, alone and together with the voltage. `expected`: the most
    /// that a good unit draws, where the stage says so.
    pub(super) fn limits(&mut self, voltage: Volts, limits: &Limits, expected: Option<Amperes>, supply: &SupplyProfile) {
        let mut of_each = vec![("limit.starting", limits.starting)];
        if limits.running != limits.starting {
            of_each.push(("limit.running", limits.running));
        }
        let ceiling = self.plan.unit.ceiling.current;
        let step = Amperes(supply.current.resolution);
        for (key, limit) in of_each {
            if limit > ceiling {
                self.error(
                    key,
                    format!("a limit of {limit} is above the unit's ceiling of {ceiling}"),
                    "above the ceiling",
                    CEILING,
                );
            }
            if limit > supply.rated_current {
                self.error(
                    key,
                    format!("a limit of {limit} is above the supply's rating of {}", supply.rated_current),
                    "above the rating",
                    "lower it, or use another supply",
                );
            }
            if limit < step {
                self.error(
                    key,
                    format!("a limit of {limit} is finer than the supply can set ({step})"),
                    "below one step",
                    "use a supply with a finer limit, or a resistor in series",
                );
            }
        }
        self.power(voltage, limits.starting.max(limits.running), expected, supply.rated_power);
    }

    fn power(&mut self, voltage: Volts, most: Amperes, expected: Option<Amperes>, rated: Watts) {
        let ceiling = self.plan.unit.ceiling.power;
        let power = voltage * most;
        let product = |of: Amperes| format!("{voltage} at {of} is {}", rounded(voltage * of));
        if power > rated {
            self.error(
                "limit.starting",
                format!("{}, above the supply's rating of {rated}", product(most)),
                "above the rating",
                "lower the limit, or use another supply",
            );
        }
        match expected {
            Some(expected) if exceeds(voltage * expected, ceiling) => {
                self.error(
                    "limit.starting",
                    format!("{}, above the unit's ceiling of {ceiling}, and a good unit may draw it", product(expected)),
                    "a good unit would trip",
                    CEILING,
                );
            }
            _ if exceeds(power, ceiling) => {
                self.warning("limit.starting", format!("the limit allows more than the unit's ceiling of {ceiling}: {}", product(most)), "power trips first", "a unit that draws its limit trips the interlock, and is not held by the supply; lower the limit to stay below");
            }
            _ => {}
        }
    }
}

/// Whether a power is above another by more than rounding: a ceiling that is left out
/// is the product of two decimal fractions, as the power itself.
fn exceeds(power: Watts, ceiling: Watts) -> bool {
    power.0 > ceiling.0 * (1.0 + 1e-9)
}
