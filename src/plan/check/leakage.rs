//! A leakage sweep: the part's rating, the current into a short, the time that
//! the charge takes to settle, the handbook's time, the logic input.

use super::rounded;
use super::stages::Look;
use crate::analysis::leakage::Dielectric;
use crate::analysis::leakage::limits::{Series, category_voltage};
use crate::analysis::logic;
use crate::instrument::profile::SupplyProfile;
use crate::plan::setup::{accepted, limit_of, meter_setup};
use crate::plan::{Leakage, LeakageLimit, Limits, PartKind, Wiring};
use crate::units::{Amperes, Volts};

/// Time constants of the resistor and the part after which the charging current
/// has gone (to 0.7 %).
const TIME_CONSTANTS: f64 = 5.0;

impl Look<'_> {
    pub(super) fn leakage(&mut self, sweep: &Leakage, supply: &SupplyProfile) {
        for (i, voltage) in sweep.voltages.iter().enumerate() {
            self.bias(&format!("voltages.{i}"), *voltage, sweep, supply);
        }
        self.order(sweep);
        self.seated(sweep);
        self.sees("limit", accepted(sweep));
        let settled = (sweep.series * sweep.part.capacitance) * TIME_CONSTANTS;
        if sweep.electrify < settled {
            self.error(
                "electrify",
                format!(
                    "{} is shorter than five time constants of {} with {} ({})",
                    sweep.electrify,
                    sweep.series,
                    sweep.part.capacitance,
                    rounded(settled)
                ),
                "too short to settle",
                "what is read earlier is charging current, not leakage",
            );
        }
        if sweep.every > sweep.electrify {
            self.error(
                "every",
                format!("a reading every {} does not fall into a soak of {}", sweep.every, sweep.electrify),
                "longer than the soak",
                "read more often",
            );
        }
        if let Some(most) = sweep.reform.filter(|most| *most <= sweep.electrify) {
            self.error(
                "reform",
                format!("a voltage is held for {most} at most, which is not longer than electrify, {}", sweep.electrify),
                "not longer",
                "this is the time after which it is given up: an hour or more for a part that has lain for years",
            );
        }
        self.follows("every", "the time between readings");
        self.named_time(sweep);
        if let Some(node) = &sweep.into
            && let Err(why) = node.question()
        {
            let hint = format!("known families: {}", logic::names().join(", "));
            self.error("into.logic", why, "no levels for this", &hint);
        }
    }

    /// One voltage of the sweep: the unit's ceiling holds for a part too, and the part's rating.
    fn bias(&mut self, key: &str, voltage: Volts, sweep: &Leakage, supply: &SupplyProfile) {
        self.voltage(key, voltage, supply);
        self.category(key, voltage, sweep);
        if voltage > sweep.part.rated {
            self.error(
                key,
                format!("{voltage} is above the {} that {} is rated for", sweep.part.rated, sweep.part.name),
                "above the rating",
                "a part is never biased above its rating",
            );
        }
    }

    /// The meter must be there, in series, and bear the current into a part that is a short.
    fn seated(&mut self, sweep: &Leakage) {
        let most = sweep.voltages.iter().copied().fold(Volts(0.0), Volts::max);
        let short = most / sweep.series;
        let ceiling = self.plan.unit.ceiling.current;
        let larger = "use a larger resistor";
        if short > ceiling {
            self.error(
                "series",
                format!(
                    "into a short, {most} through {} drives {}, above the unit's ceiling of {ceiling}",
                    sweep.series,
                    rounded(short)
                ),
                "above the ceiling",
                larger,
            );
        }
        match &self.bench.meter {
            None => self.error(
                "do",
                "the bench has no meter, and a leakage is below what a supply can read".into(),
                "needs a meter",
                "add a [meter] to the bench file, wired in series with the part",
            ),
            Some(seat) if seat.wired == Wiring::Across => {
                let title = format!("{} needs the meter in series, but it is wired across", self.name());
                self.findings.error(
                    &self.bench.document,
                    seat.places.of("wired"),
                    title,
                    "wired across",
                    "a leakage is measured as a current: put the meter into the lead, and write wired = \"in series\"",
                );
            }
            Some(_) => self.shorted(sweep, most, short, larger),
        }
    }

    fn shorted(&mut self, sweep: &Leakage, voltage: Volts, short: Amperes, larger: &str) {
        // Range and terminal, at the current that is to be read.
        self.meter(voltage, &Limits::same(accepted(sweep)), None);
        let Some((_, profile)) = self.in_series() else { return };
        let Ok(Some(setup)) = meter_setup(&self.stage.kind, profile) else { return };
        if let Some(range) = setup.range(profile) {
            self.fuse(range, "series", "the current into a short", short, larger);
        }
        let highest = profile.current.as_ref().and_then(|f| f.ranges.last()).map(|r| r.full);
        if let Some(highest) = highest.filter(|h| *h < short.0) {
            let highest = Amperes(highest);
            self.warning(
                "series",
                format!("the current into a short, {}, is beyond the meter's highest range, {highest}", rounded(short)),
                "beyond the meter",
                "a part that is a short then reads as an overload, without a number",
            );
        }
    }

    /// Up in steps, and then, where wanted, down again.
    fn order(&mut self, sweep: &Leakage) {
        let mut falling = false;
        for (i, pair) in (1..).zip(sweep.voltages.windows(2)) {
            let [before, after] = pair else { continue };
            let key = format!("voltages.{i}");
            let hint = "sweep up in steps, so that a part near breakdown is noticed early, and then down where you want to see whether it comes back";
            if before == after {
                self.error(&key, format!("{after} comes twice in a row"), "the same again", hint);
            } else if falling && after > before {
                let title = format!(
                    "the voltages of a sweep must rise, and after the highest they may fall; {after} comes after {before}"
                );
                self.error(&key, title, "rising again", hint);
            }
            falling |= after < before;
        }
        if let [first, second, ..] = sweep.voltages[..]
            && second < first
        {
            self.error(
                "voltages.1",
                format!("the voltages of a sweep must rise, and {second} comes after {first}"),
                "not rising",
                "sweep up in steps, so that a part near breakdown is noticed early",
            );
        }
    }

    /// A customary limit is for a kind of part, and holds at the time that the handbook
    /// names beside it.
    fn named_time(&mut self, sweep: &Leakage) {
        let LeakageLimit::Table(series) = sweep.limit else { return };
        let kind = Dielectric::from(sweep.part.kind);
        if !series.is_for(kind) {
            let fitting: Vec<String> =
                Series::ALL.iter().filter(|(_, s, _)| s.is_for(kind)).map(|(name, ..)| format!("{name:?}")).collect();
            self.error(
                "limit",
                format!("{:?} is no limit for a part that is {}", series.name(), sweep.part.kind.word()),
                "for another kind",
                &format!("write {}, a current, or {{ time_constant = \"50 s\" }} from the data sheet", fitting.join(", ")),
            );
            return;
        }
        let limit = limit_of(sweep);
        let (from, to) = limit.after;
        if sweep.electrify < from || sweep.electrify > to {
            let named = if from == to { from.to_string() } else { format!("{from} to {to}") };
            self.warning(
                "electrify",
                format!("the handbook's limit holds after {named}, not after {}", sweep.electrify),
                "another time",
                "leakage has no value without its time; the report names both",
            );
        }
        if let Some(caution) = limit.caution.filter(|_| sweep.part.temperature.is_some()) {
            self.warning(
                "limit",
                format!("the limit at the part's temperature: {caution}"),
                "mind the temperature",
                "the report says so",
            );
        }
    }

    /// What solid tantalum bears falls above 85 degC.
    fn category(&mut self, key: &str, voltage: Volts, sweep: &Leakage) {
        let (Some(temperature), PartKind::SolidTantalum) = (sweep.part.temperature, sweep.part.kind) else { return };
        let bears = category_voltage(sweep.part.rated, temperature);
        if voltage > bears && voltage <= sweep.part.rated {
            self.error(
                key,
                format!(
                    "{voltage} is above what {} bears at {temperature}, {} (category voltage)",
                    sweep.part.name,
                    rounded(bears)
                ),
                "above the category voltage",
                "from 85 degC on solid tantalum is derated in a straight line to 125 degC",
            );
        }
    }
}
