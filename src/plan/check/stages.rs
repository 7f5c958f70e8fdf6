//! One stage against the unit's ceiling, the supply's ratings and what the
//! instruments in use can see.

use super::Findings;
use crate::analysis::leakage::{self, Dielectric};
use crate::analysis::logic;
use crate::document::Span;
use crate::instrument::profile::SupplyProfile;
use crate::plan::setup::meter_setup;
use crate::plan::{Bench, Leakage, LeakageLimit, Limits, Plan, Stage, StageKind, Start, State, Wiring};
use crate::units::{Amperes, Volts};

/// Fewest readings of the meter in a watch time.
const FEWEST_READINGS: f64 = 10.0;
/// A burden above this share of the voltage may itself keep a unit from starting.
const BURDEN_SHARE: f64 = 0.05;

/// A stage that is looked at.
struct Look<'a> {
    plan: &'a Plan,
    bench: &'a Bench,
    stage: &'a Stage,
    findings: &'a mut Findings,
}

pub(super) fn check(plan: &Plan, bench: &Bench, stage: &Stage, findings: &mut Findings) {
    let Some(supply) = bench.supply.profile.supply() else { return };
    let mut look = Look { plan, bench, stage, findings };
    match &stage.kind {
        StageKind::Ramp(ramp) => {
            look.voltage("to", ramp.to, supply);
            look.limits("limit", &Limits::same(ramp.limit), supply);
            look.meter("limit", None, ramp.to);
            look.resolves("expect", "the expected current", ramp.expect);
            if ramp.step.0 < supply.voltage.resolution {
                look.error("step", format!("a step of {} is finer than the supply's {}", ramp.step, Volts(supply.voltage.resolution)), "too fine", "make it coarser");
            }
        }
        StageKind::Log(log) => {
            look.voltage("voltage", log.voltage, supply);
            look.limits("limit", &log.limit, supply);
            look.meter("limit", None, log.voltage);
            look.resolves("expect", "the expected current", log.expect);
            look.states(&log.states);
        }
        StageKind::Start(start) => look.start(start, supply),
        StageKind::Leakage(sweep) => look.leakage(sweep, supply),
        StageKind::Ask(_) => {}
    }
}

impl Look<'_> {
    fn span(&self, key: &str) -> Span {
        self.stage.places.of(key)
    }

    fn name(&self) -> String {
        format!("stage {} ({})", self.stage.number, self.stage.kind.word())
    }

    fn error(&mut self, key: &str, title: String, label: &str, hint: &str) {
        let (span, title) = (self.span(key), format!("{}: {title}", self.name()));
        self.findings.error(&self.plan.document, span, title, label, hint);
    }

    fn warning(&mut self, key: &str, title: String, label: &str, hint: &str) {
        let (span, title) = (self.span(key), format!("{}: {title}", self.name()));
        self.findings.warning(&self.plan.document, span, title, label, hint);
    }

    fn voltage(&mut self, key: &str, voltage: Volts, supply: &SupplyProfile) {
        let ceiling = self.plan.unit.ceiling.voltage;
        if voltage > ceiling {
            self.error(key, format!("{voltage} is above the unit's ceiling of {ceiling}"), "above the ceiling", "lower it, or raise [unit] ceiling after a look at what the unit can bear");
        }
        if voltage > supply.rated_voltage {
            self.error(key, format!("{voltage} is above the supply's rating of {}", supply.rated_voltage), "above the rating", "");
        }
    }

    fn limits(&mut self, key: &str, limits: &Limits, supply: &SupplyProfile) {
        let most = limits.starting.max(limits.running);
        let ceiling = self.plan.unit.ceiling.current;
        if most > ceiling {
            self.error(key, format!("a limit of {most} is above the unit's ceiling of {ceiling}"), "above the ceiling", "lower it, or raise [unit] ceiling after a look at what the unit can bear");
        }
        if most > supply.rated_current {
            self.error(key, format!("a limit of {most} is above the supply's rating of {}", supply.rated_current), "above the rating", "");
        }
        let step = Amperes(supply.current.resolution);
        let least = limits.starting.min(limits.running);
        if least < step {
            self.error(key, format!("a limit of {least} is finer than the supply can set ({step})"), "below one step", "use a supply with a finer limit, or a resistor in series");
        }
    }

    /// A meter in series must hold the stage's current; its burden must leave the unit enough.
    fn meter(&mut self, key: &str, running: Option<Amperes>, voltage: Volts) {
        let Some(seat) = self.bench.meter.as_ref().filter(|m| m.wired == Wiring::InSeries) else { return };
        let Some(profile) = seat.profile.meter() else { return };
        let setup = match meter_setup(&self.stage.kind, profile) {
            Ok(Some(setup)) => setup,
            Ok(None) => return,
            Err(why) => {
                self.error(key, why, "too much for the meter", "take the meter out of the lead and of the bench file, or lower the limit");
                return;
            }
        };
        let Some(range) = setup.range(profile) else { return };
        if let (Some(needed), Some(seated)) = (&range.terminal, &seat.terminal)
            && needed != seated
        {
            let title = format!("{} needs the meter's terminal {needed:?}, but the lead is in {seated:?}", self.name());
            self.findings.error(&self.bench.document, seat.places.of("terminal"), title, "another terminal", "move the lead, and then this line; a lead in the wrong terminal reads nothing or blows the fuse");
        }
        if let Some(running) = running {
            let drop = running * range.resistance;
            if drop.0 > BURDEN_SHARE * voltage.0 {
                self.warning(key, format!("the meter's shunt of {} drops {drop} of {voltage} at {running}", range.resistance), "burden", "the unit may fail to start because of the meter; use a range with a smaller shunt");
            }
        }
    }

    /// The floor of the instrument that watches the current in this stage, and its name.
    fn floor(&self) -> Option<(Amperes, String)> {
        let series = self.bench.meter.as_ref().filter(|m| m.wired == Wiring::InSeries).and_then(|m| m.profile.meter());
        match series {
            Some(profile) => {
                let setup = meter_setup(&self.stage.kind, profile).ok()??;
                let range = setup.range(profile)?;
                Some((Amperes(range.floor), format!("the meter on its range of {}", Amperes(range.full))))
            }
            None => {
                let supply = self.bench.supply.profile.supply()?;
                Some((Amperes(supply.measured_current.floor), "the supply's own read-back".into()))
            }
        }
    }

    fn resolves(&mut self, key: &str, what: &str, band: Option<(Amperes, Amperes)>) {
        let (Some((low, _)), Some((floor, by))) = (band, self.floor()) else { return };
        if low < floor {
            self.error(
                key,
                format!("{what} begins at {low}, below the {floor} that {by} can tell from zero"),
                "below the floor",
                "put a meter in series on a range that resolves it, or do not ask for it: what is below the floor is neither asleep nor dead, but unknown",
            );
        }
    }

    fn states(&mut self, states: &[State]) {
        for state in states {
            self.resolves("states", &format!("the state {:?}", state.name), Some((state.low, state.high)));
        }
    }

    fn start(&mut self, start: &Start, supply: &SupplyProfile) {
        self.voltage("voltage", start.voltage, supply);
        self.limits("limit", &start.limit, supply);
        let good = start.states.first();
        self.meter("limit", good.map(|g| g.high), start.voltage);
        self.states(&start.states);
        if start.limit.after >= start.watch && start.limit.starting != start.limit.running {
            self.error("limit", format!("the hand-over after {} comes after the end of the watch time of {}", start.limit.after, start.watch), "never reached", "watch longer, or hand over earlier");
        }
        if start.within > start.watch {
            self.error("within", format!("a start may take {}, but is watched for {} only", start.within, start.watch), "longer than the watch time", "watch longer");
        }
        if let Some(good) = good {
            if start.limit.running < good.high {
                self.error("limit", format!("the limit while running, {}, is below the {} that the state {:?} may draw", start.limit.running, good.high, good.name), "too low for the good state", "the supply would limit a good unit");
            } else if start.limit.starting.0 < 2.0 * good.high.0 {
                self.warning("limit", format!("the limit while starting, {}, is less than twice the {} that the state {:?} may draw", start.limit.starting, good.high, good.name), "near the running current", "a switching converter behind such a limit can stick: the supply would make the fault that is looked for");
            }
        }
        if let Some(profile) = self.bench.meter.as_ref().filter(|m| m.wired == Wiring::InSeries).and_then(|m| m.profile.meter())
            && let Ok(Some(setup)) = meter_setup(&self.stage.kind, profile)
            && let Some(rate) = setup.rate(profile)
            && start.watch.0 < FEWEST_READINGS * rate.period.0
        {
            self.error("watch", format!("a watch time of {} is too short for the meter: one reading takes {}", start.watch, rate.period), "fewer than ten readings", "watch longer, or use a faster meter");
        }
        if start.limit.after.0 > 0.0 && self.plan.interlock.in_limit > start.watch {
            self.warning("watch", format!("the interlock allows {} in limiting, longer than the watch time of {}", self.plan.interlock.in_limit, start.watch), "never trips here", "a start that is stuck in limiting then counts as an outcome and does not trip");
        }
    }

    fn leakage(&mut self, sweep: &Leakage, supply: &SupplyProfile) {
        let most = sweep.voltages.iter().copied().fold(Volts(0.0), Volts::max);
        self.voltage("voltages", most, supply);
        if most > sweep.part.rated {
            self.error("voltages", format!("{most} is above the {} that {} is rated for", sweep.part.rated, sweep.part.name), "above the rating", "a part is never biased above its rating");
        }
        if sweep.voltages.windows(2).any(|pair| matches!(pair, [a, b] if b <= a)) {
            self.error("voltages", "the voltages of a sweep must rise".into(), "not rising", "sweep up in steps, so that a part near breakdown is noticed early");
        }
        match &self.bench.meter {
            None => self.error("do", "the bench has no meter, and a leakage is below what a supply can read".into(), "needs a meter", "add a [meter] to the bench file, wired in series with the part"),
            Some(seat) if seat.wired == Wiring::Across => {
                let title = format!("{} needs the meter in series, but it is wired across", self.name());
                self.findings.error(&self.bench.document, seat.places.of("wired"), title, "wired across", "a leakage is measured as a current: put the meter into the lead, and write wired = \"in series\"");
            }
            Some(_) => self.meter("limit", None, most),
        }
        if let Some((floor, by)) = self.floor() {
            let accepted = crate::plan::setup::accepted(sweep);
            if floor >= accepted {
                self.error("limit", format!("the limit of {accepted} lies below the {floor} that {by} can tell from zero"), "below the floor", "no reading could show that the part passes; use a meter with a lower range");
            }
        }
        let time_constant = sweep.series * sweep.part.capacitance;
        if sweep.electrify.0 < 5.0 * time_constant.0 {
            self.error("electrify", format!("{} is shorter than five time constants of {} with {} ({})", sweep.electrify, sweep.series, sweep.part.capacitance, time_constant * 5.0), "too short to settle", "what is read earlier is charging current, not leakage");
        }
        if sweep.limit == LeakageLimit::Handbook {
            let limit = leakage::handbook(Dielectric::from(sweep.part.kind), sweep.part.capacitance, sweep.part.rated);
            let (from, to) = limit.after;
            if sweep.electrify < from || sweep.electrify > to {
                let named = if from == to { from.to_string() } else { format!("{from} to {to}") };
                self.warning("electrify", format!("the handbook's limit holds after {named}, not after {}", sweep.electrify), "another time", "leakage has no value without its time; the report names both");
            }
        }
        if let Some(node) = &sweep.into
            && let Err(why) = logic::thresholds(&node.logic, node.rail)
        {
            self.error("into", why, "no levels for this", "");
        }
    }
}
