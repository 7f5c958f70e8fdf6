//! The gate that every reading passes before anything else sees it. Pure: takes
//! readings and times, returns a trip or nothing; switches nothing itself.
//!
//! Holds always: what is not a number trips nothing by its value, and does not
//! count as a sign of life; a limit counts as crossed when the reading exceeds
//! it by more than its expanded uncertainty (k = 2) and the margin of the
//! supply's own limiting.

use super::trip::{Cause, Trip};
use crate::instrument::{Measurand, Reading, Regulation, Role, Sample};
use crate::plan::{Ceiling, Limits};
use crate::units::{Amperes, Joules, Seconds, Volts, Watts};

/// A supply limits as exactly as it can be programmed, not better: this much
/// above the limit, or two steps of its setting, is still its own limiting.
const LIMIT_MARGIN: f64 = 0.05;
/// What the supply's output capacitor adds to that while its voltage falls, behind a
/// limit that holds: I = C dV/dt. Never more than 5 % above what the unit bears.
const CAPACITOR_MARGIN: f64 = 0.10;

/// What may not be crossed while the output is on.
#[derive(Clone, Debug)]
pub struct Bounds {
    /// What the unit can bear.
    pub ceiling: Ceiling,
    /// Current while starting and while running.
    pub limits: Limits,
    /// Longest time in current limiting.
    pub in_limit: Seconds,
    /// Longest silence of an instrument.
    pub no_reading: Seconds,
    /// Most energy.
    pub energy: Option<Joules>,
    /// The supply's rated voltage and current: readings far beyond cannot be true.
    pub rated: (Volts, Amperes),
    /// Smallest step of the supply's limit.
    pub limit_step: Amperes,
    /// Whether a meter watches too: what it measures, and its range's full scale.
    pub meter: Option<(Measurand, f64)>,
}

/// The gate of one energised span.
#[derive(Clone, Debug)]
pub struct Gate {
    bounds: Bounds,
    limit: Amperes,
    limiting_since: Option<Seconds>,
    overload_since: Option<Seconds>,
    heard_supply: Seconds,
    heard_meter: Seconds,
    voltage: Option<(Volts, Volts)>,
    spent: Joules,
    last: Option<(Seconds, Watts)>,
    limited_for: Seconds,
}

impl Gate {
    /// A gate for an output that is switched on at `on_at`; `spent` is the energy
    /// that the stage has used before.
    pub fn new(bounds: Bounds, on_at: Seconds, spent: Joules) -> Self {
        Self {
            limit: bounds.limits.starting,
            bounds,
            limiting_since: None,
            overload_since: None,
            heard_supply: on_at,
            heard_meter: on_at,
            voltage: None,
            spent,
            last: None,
            limited_for: Seconds(0.0),
        }
    }

    /// From now on the limit while running is in force.
    pub fn hand_over(&mut self) {
        self.limit = self.bounds.limits.running;
    }

    /// From now on the meter watches with another range.
    pub fn meter_changed(&mut self, meter: Option<(Measurand, f64)>) {
        self.bounds.meter = meter;
    }

    /// The current limit in force.
    pub fn limit(&self) -> Amperes {
        self.limit
    }

    /// The energy that the stage has used so far.
    pub fn spent(&self) -> Joules {
        self.spent
    }

    /// The longest stretch in limiting so far.
    pub fn limited_for(&self) -> Seconds {
        self.limited_for
    }

    /// Lets a reading pass, or trips.
    ///
    /// # Errors
    /// The trip.
    pub fn admit(&mut self, reading: &Reading) -> Result<(), Trip> {
        if reading.sample.is_known() {
            match reading.role {
                Role::Supply => self.heard_supply = reading.answered,
                Role::Meter => self.heard_meter = reading.answered,
            }
        }
        self.sane(reading)?;
        match reading.measurand {
            Measurand::Voltage => self.voltage_passes(reading)?,
            Measurand::Current => self.current_passes(reading)?,
        }
        self.limiting(reading)?;
        if reading.answered > self.patience() { Err(self.silence(reading.answered)) } else { Ok(()) }
    }

    /// Who has been silent longest, and since when.
    fn quietest(&self) -> (Role, Seconds) {
        if self.bounds.meter.is_some() && self.heard_meter < self.heard_supply {
            return (Role::Meter, self.heard_meter);
        }
        (Role::Supply, self.heard_supply)
    }

    /// Until when the instruments may stay silent.
    pub fn patience(&self) -> Seconds {
        self.quietest().1 + self.bounds.no_reading
    }

    /// The trip of an instrument that has been silent too long.
    pub fn silence(&self, now: Seconds) -> Trip {
        let (role, heard) = self.quietest();
        Trip {
            cause: Cause::NoReading(role),
            at: now,
            limit: format!("{} of silence", self.bounds.no_reading),
            reading: format!("the {} has given no reading since {:.3} s", role.name(), heard.0),
        }
    }

    fn sane(&self, reading: &Reading) -> Result<(), Trip> {
        let Some(value) = reading.value() else { return Ok(()) };
        let (volts, amperes) = self.bounds.rated;
        let most = match (reading.measurand, reading.role, self.bounds.meter) {
            (_, Role::Meter, Some((_, full))) => full * 1.25,
            (Measurand::Current, ..) => amperes.0 * 1.25,
            (Measurand::Voltage, ..) => volts.0 * 1.25,
        };
        if value.abs() <= most && value.is_finite() {
            return Ok(());
        }
        Err(trip(Cause::Sanity, reading, format!("what the instrument can read, {}", spell(reading.measurand, most))))
    }

    fn voltage_passes(&mut self, reading: &Reading) -> Result<(), Trip> {
        let Sample::Value { value, u } = reading.sample else {
            if matches!(reading.sample, Sample::BelowFloor { .. }) && reading.role == Role::Supply {
                self.voltage = Some((Volts(0.0), Volts(0.0)));
            }
            return Ok(());
        };
        if reading.role == Role::Supply {
            self.voltage = Some((Volts(value), Volts(u)));
        }
        let ceiling = self.bounds.ceiling.voltage;
        if value - 2.0 * u > ceiling.0 {
            return Err(trip(Cause::OverVoltage, reading, format!("the unit's ceiling, {ceiling}")));
        }
        Ok(())
    }

    fn current_passes(&mut self, reading: &Reading) -> Result<(), Trip> {
        let Sample::Value { value, u } = reading.sample else { return Ok(()) };
        let bears = self.bounds.ceiling.current.0 * (1.0 + LIMIT_MARGIN) - self.limit.0;
        let margin = (self.limit.0 * CAPACITOR_MARGIN).min(bears).max(2.0 * self.bounds.limit_step.0);
        let allowed = self.limit.0 + margin;
        if value - 2.0 * u > allowed {
            let mut trip = trip(Cause::OverCurrent, reading, format!("{} (and the margin of the supply's limiting)", self.limit));
            trip.reading.push_str(&self.held());
            return Err(trip);
        }
        let Some((volts, volts_u)) = self.voltage else { return Ok(()) };
        let ceiling = self.bounds.ceiling.power;
        let least = Watts((volts.0 - 2.0 * volts_u.0).max(0.0) * (value - 2.0 * u).max(0.0));
        if least > ceiling {
            return Err(Trip {
                cause: Cause::OverPower,
                at: reading.answered,
                limit: format!("the unit's ceiling, {ceiling}"),
                reading: format!("{} at {}", spell(Measurand::Current, value), spell(Measurand::Voltage, volts.0)),
            });
        }
        if reading.role == Role::Supply {
            self.spend(reading.answered, volts * Amperes(value.max(0.0)))?;
        }
        Ok(())
    }

    /// The voltage beside a current, for the words of a trip.
    fn held(&self) -> String {
        self.voltage.map_or(String::new(), |(volts, _)| format!(", with {} at the supply", spell(Measurand::Voltage, volts.0)))
    }

    /// Adds up the energy, each reading standing for the time since the one before.
    fn spend(&mut self, at: Seconds, power: Watts) -> Result<(), Trip> {
        if let Some((before, earlier)) = self.last {
            self.spent = self.spent + power.max(earlier) * (at - before);
        }
        self.last = Some((at, power));
        match self.bounds.energy {
            Some(most) if self.spent > most => Err(Trip {
                cause: Cause::Energy,
                at,
                limit: format!("{most} in one stage"),
                reading: format!("{} so far", crate::units::engineering(self.spent.0, crate::units::Unit::Joule, 3)),
            }),
            _ => Ok(()),
        }
    }

    /// Time in limiting: by the supply's own word; where it has none, by a current
    /// at the limit. A meter beyond a range that holds the limit counts alike.
    fn limiting(&mut self, reading: &Reading) -> Result<(), Trip> {
        let most = self.bounds.in_limit;
        if reading.role == Role::Meter {
            let beyond = reading.sample == Sample::Overload
                && self.bounds.meter.is_some_and(|(of, full)| of == Measurand::Current && full >= self.limit.0);
            self.overload_since = if beyond { Some(self.overload_since.unwrap_or(reading.asked)) } else { None };
        } else {
            let limiting = match reading.regulation {
                Regulation::Current | Regulation::Fault => Some(true),
                Regulation::Voltage | Regulation::Neither => Some(false),
                Regulation::Unknown => reading.amperes().map(|i| i.0 >= self.limit.0 * (1.0 - LIMIT_MARGIN)),
            };
            match limiting {
                Some(true) => self.limiting_since = Some(self.limiting_since.unwrap_or(reading.asked)),
                Some(false) => self.limiting_since = None,
                None => {}
            }
        }
        for since in [self.limiting_since, self.overload_since].into_iter().flatten() {
            let span = reading.answered - since;
            self.limited_for = self.limited_for.max(span);
            if span > most {
                return Err(Trip {
                    cause: Cause::InLimit,
                    at: reading.answered,
                    limit: format!("{most} in limiting"),
                    reading: format!("limiting at {} since {:.3} s{}", self.limit, since.0, self.held()),
                });
            }
        }
        Ok(())
    }
}

fn spell(of: Measurand, value: f64) -> String {
    crate::units::engineering(value, of.unit(), 4)
}

fn trip(cause: Cause, reading: &Reading, limit: String) -> Trip {
    let value = reading.value().unwrap_or(f64::NAN);
    Trip {
        cause,
        at: reading.answered,
        limit,
        reading: format!("the {} reads {}", reading.role.name(), spell(reading.measurand, value)),
    }
}
