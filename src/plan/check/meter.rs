//! What a stage asks of the meter: range, terminal, fuse, burden, floor, pace.
//! A bench whose meter is not in series measures current with the supply alone.

use super::rounded;
use super::stages::Look;
use crate::instrument::profile::{MeterProfile, Range, Rate};
use crate::plan::setup::{meter_setup, pace};
use crate::plan::{Limits, MeterSeat, Start, Wiring};
use crate::units::{Amperes, Volts};

/// Fewest readings of the meter in a watch time.
const FEWEST_READINGS: f64 = 10.0;
/// A burden above this share of the voltage may itself keep a unit from starting.
const BURDEN_SHARE: f64 = 0.05;

impl<'a> Look<'a> {
    /// The meter, where it is in series.
    pub(super) fn in_series(&self) -> Option<(&'a MeterSeat, &'a MeterProfile)> {
        let seat = self.bench.meter.as_ref().filter(|m| m.wired == Wiring::InSeries)?;
        Some((seat, seat.profile.meter()?))
    }

    /// Range and rate of the meter in this stage, where it is in series and can serve.
    fn in_use(&self) -> Option<(&'a Range, &'a Rate)> {
        let (_, profile) = self.in_series()?;
        let setup = meter_setup(&self.stage.kind, profile).ok()??;
        Some((setup.range(profile)?, setup.rate(profile)?))
    }

    /// A meter in series must bear the stage's current and be plugged for its range;
    /// its burden at the current that a good unit draws must leave the unit enough.
    pub(super) fn meter(&mut self, voltage: Volts, limits: &Limits, expected: Option<Amperes>) {
        let Some((seat, profile)) = self.in_series() else { return };
        if let Err(why) = meter_setup(&self.stage.kind, profile) {
            self.error(
                "limit",
                why,
                "too much for the meter",
                "take the meter out of the lead and of the bench file, or lower the limit",
            );
            return;
        }
        let Some((range, rate)) = self.in_use() else { return };
        self.heard(rate);
        let most = limits.starting.max(limits.running);
        self.fuse(range, "limit.starting", "the limit", most, "lower the limit, or use a terminal for more");
        if range.full < most.0 {
            let full = Amperes(range.full);
            self.warning(
                "limit.starting",
                format!("the meter's highest range, {full}, does not hold the limit of {most} while the unit starts"),
                "beyond the meter",
                "until the hand-over the meter may say overload, and the current is known to be above its range, no more",
            );
        }
        self.terminal(seat, range);
        if let Some(expected) = expected {
            let leads = self.bench.leads.resistance;
            let drop = expected * (range.resistance + leads);
            if drop.0 > BURDEN_SHARE * voltage.0 {
                self.warning("limit", format!("at {expected} the meter's shunt of {} and the leads drop {} of {voltage}", range.resistance, rounded(drop)), "burden", "the unit may fail because of the meter; use a range with a smaller shunt, or let the supply measure the current");
            }
        }
    }

    /// The fuse in the range's path must bear `most`.
    pub(super) fn fuse(&mut self, range: &Range, key: &str, what: &str, most: Amperes, hint: &str) {
        if let Some(fuse) = range.fuse
            && most > fuse
        {
            let full = Amperes(range.full);
            self.error(
                key,
                format!("{what}, {}, is more than the {fuse} fuse of the meter's range of {full}", rounded(most)),
                "blows the fuse",
                hint,
            );
        }
    }

    fn terminal(&mut self, seat: &MeterSeat, range: &Range) {
        let Some(needed) = &range.terminal else { return };
        let name = self.name();
        let document = &self.bench.document;
        if seat.terminal.as_ref() == Some(needed) || self.findings.terminals.contains(needed) {
            return;
        }
        self.findings.terminals.push(needed.clone());
        match &seat.terminal {
            Some(seated) => {
                let title = format!("{name} needs the meter's terminal {needed:?}, but the lead is in {seated:?}");
                self.findings.error(
                    document,
                    seat.places.of("terminal"),
                    title,
                    "another terminal",
                    "move the lead, and then this line; a lead in the wrong terminal reads nothing or blows the fuse",
                );
            }
            None => {
                let title =
                    format!("{name} needs the meter's terminal {needed:?}, and the bench file does not say where the lead is");
                let hint = format!("look, and write terminal = {needed:?}");
                self.findings.warning(document, seat.places.whole(), title, "no terminal", &hint);
            }
        }
    }

    /// The least current that the instrument in use can tell from zero, and its name.
    fn floor(&self) -> Option<(Amperes, String)> {
        if self.in_series().is_some() {
            let (range, _) = self.in_use()?;
            return Some((Amperes(range.floor), format!("the meter on its range of {}", Amperes(range.full))));
        }
        let supply = self.bench.supply.profile.supply()?;
        let across = self.bench.meter.is_some();
        let by = if across { "the supply's own read-back (the meter is wired across)" } else { "the supply's own read-back" };
        Some((Amperes(supply.measured_current.floor), by.into()))
    }

    /// A band of currents must begin where the instrument in use can see.
    pub(super) fn resolves(&mut self, key: &str, what: &str, low: Amperes) {
        let Some((floor, by)) = self.floor() else { return };
        if low < floor {
            self.error(
                key,
                format!("{what} begins at {low}, below the {} that {by} can tell from zero", rounded(floor)),
                "below the floor",
                "put a meter in series on a range that resolves it, or do not ask for it: what is below the floor is neither asleep nor dead, but unknown",
            );
        }
    }

    /// A limit must lie where the meter in series can see.
    pub(super) fn sees(&mut self, key: &str, limit: Amperes) {
        let Some((floor, by)) = self.floor() else { return };
        if self.in_series().is_some() && floor >= limit {
            self.error(
                key,
                format!("the limit of {} lies below the {} that {by} can tell from zero", rounded(limit), rounded(floor)),
                "below the floor",
                "no reading could show that the part passes; use a meter with a lower range",
            );
        }
    }

    /// A watch time must hold enough readings.
    pub(super) fn watched(&mut self, start: &Start) {
        let Some((_, rate)) = self.in_use() else { return };
        if start.watch.0 < FEWEST_READINGS * rate.period.0 {
            self.error(
                "watch",
                format!("a watch time of {} is too short for the meter: one reading takes {}", start.watch, rate.period),
                "fewer than ten readings",
                "watch longer, or use a faster meter",
            );
        }
    }

    /// Readings cannot come faster than the meter's fastest rate.
    pub(super) fn follows(&mut self, key: &str, what: &str) {
        let Some((_, rate)) = self.in_use() else { return };
        let pace = pace(&self.stage.kind);
        if rate.period > pace {
            self.warning(
                key,
                format!("{what}, {}, is shorter than the {} that the meter takes for one reading", rounded(pace), rate.period),
                "faster than the meter",
                "readings come as fast as the meter gives them, and the stage takes longer",
            );
        }
    }

    /// One reading must not take as long as the silence that trips the interlock.
    fn heard(&mut self, rate: &Rate) {
        let interlock = &self.plan.interlock;
        if rate.period >= interlock.no_reading {
            let title = format!(
                "{}: one reading of the meter takes {}, and the interlock allows a silence of {}",
                self.name(),
                rate.period,
                interlock.no_reading
            );
            self.findings.error(
                &self.plan.document,
                interlock.places.of("no_reading"),
                title,
                "too short for the meter",
                "let no_reading be longer, or use a faster meter",
            );
        }
    }
}
