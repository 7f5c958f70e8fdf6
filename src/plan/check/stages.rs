//! One stage after another: which questions are asked of each kind. What it asks
//! of the supply stands in `supply`, of the meter in `meter`, of a part in
//! `leakage`.

use super::Findings;
use crate::document::Span;
use crate::instrument::profile::{OffState, SupplyProfile};
use crate::plan::{Bench, Limits, Log, Plan, Ramp, Stage, StageKind, Start, State};
use crate::units::{Amperes, Seconds, Volts};

/// A stage that is looked at.
pub(super) struct Look<'a> {
    pub(super) plan: &'a Plan,
    pub(super) bench: &'a Bench,
    pub(super) stage: &'a Stage,
    pub(super) findings: &'a mut Findings,
}

pub(super) fn check(plan: &Plan, bench: &Bench, stage: &Stage, findings: &mut Findings) {
    let Some(supply) = bench.supply.profile.supply() else { return };
    let mut look = Look { plan, bench, stage, findings };
    match &stage.kind {
        StageKind::Ramp(ramp) => look.ramp(ramp, supply),
        StageKind::Log(log) => look.log(log, supply),
        StageKind::Start(start) => look.start(start, supply),
        StageKind::Leakage(sweep) => look.leakage(sweep, supply),
        StageKind::Ask(_) => {}
    }
}

impl Look<'_> {
    /// Where the value at a dotted path stands in the plan.
    fn span(&self, key: &str) -> Span {
        self.stage.places.of(key)
    }

    /// Whether the stage itself has the key.
    fn says(&self, key: &str) -> bool {
        self.span(key) != self.stage.places.whole()
    }

    pub(super) fn name(&self) -> String {
        format!("stage {} ({})", self.stage.number, self.stage.kind.word())
    }

    pub(super) fn error(&mut self, key: &str, title: String, label: &str, hint: &str) {
        let (span, title) = (self.span(key), format!("{}: {title}", self.name()));
        self.findings.error(&self.plan.document, span, title, label, hint);
    }

    pub(super) fn warning(&mut self, key: &str, title: String, label: &str, hint: &str) {
        let (span, title) = (self.span(key), format!("{}: {title}", self.name()));
        self.findings.warning(&self.plan.document, span, title, label, hint);
    }

    fn ramp(&mut self, ramp: &Ramp, supply: &SupplyProfile) {
        self.voltage("to", ramp.to, supply);
        let expected = ramp.expect.map(|e| e.1);
        self.limits(ramp.to, &Limits::same(ramp.limit), expected, supply);
        self.meter(ramp.to, &Limits::same(ramp.limit), expected);
        self.expected(ramp.expect, ramp.limit);
        if ramp.step.0 < supply.voltage.resolution {
            let finest = Volts(supply.voltage.resolution);
            self.error(
                "step",
                format!("a step of {} is finer than the supply's {finest}", ramp.step),
                "too fine",
                "make it coarser",
            );
        }
        self.follows("step", "the time for a step");
    }

    fn log(&mut self, log: &Log, supply: &SupplyProfile) {
        let expected = log.expect.map(|e| e.1);
        // What is taken over from the stage before has been judged there.
        let says = (self.says("voltage"), self.says("limit"));
        if says.0 {
            self.voltage("voltage", log.voltage, supply);
        }
        if says.0 || says.1 {
            self.limits(log.voltage, &log.limit, expected, supply);
        }
        self.meter(log.voltage, &log.limit, expected);
        self.expected(log.expect, log.limit.running);
        self.states(&log.states);
        if log.limit.starting != log.limit.running && log.limit.after >= log.length {
            self.late_hand_over(log.limit.after, "log", log.length);
        }
        self.follows("every", "the time between readings");
    }

    fn start(&mut self, start: &Start, supply: &SupplyProfile) {
        self.voltage("voltage", start.voltage, supply);
        let good = start.states.first();
        let expected = good.map(|g| g.high);
        self.limits(start.voltage, &start.limit, expected, supply);
        self.meter(start.voltage, &start.limit, expected);
        self.states(&start.states);
        if start.limit.after >= start.watch && start.limit.starting != start.limit.running {
            self.late_hand_over(start.limit.after, "watch time", start.watch);
        }
        if start.within > start.watch {
            self.error(
                "within",
                format!("a start may take {}, but is watched for {} only", start.within, start.watch),
                "longer than the watch time",
                "watch longer",
            );
        }
        if let Some(good) = good {
            if start.limit.running < good.high {
                self.error(
                    "limit.running",
                    format!(
                        "the limit while running, {}, is below the {} that the state {:?} may draw",
                        start.limit.running, good.high, good.name
                    ),
                    "too low for the good state",
                    "the supply would limit a good unit",
                );
            } else if start.limit.starting.0 < 2.0 * good.high.0 {
                self.warning(
                    "limit.starting",
                    format!(
                        "the limit while starting, {}, is less than twice the {} that the state {:?} may draw",
                        start.limit.starting, good.high, good.name
                    ),
                    "near the running current",
                    "a switching converter behind such a limit can stick: the supply would make the fault that is looked for",
                );
            }
        }
        self.watched(start);
        if self.plan.interlock.in_limit > start.watch {
            self.warning(
                "watch",
                format!(
                    "the interlock allows {} in limiting, longer than the watch time of {}",
                    self.plan.interlock.in_limit, start.watch
                ),
                "never trips here",
                "a start that is stuck in limiting then counts as an outcome and does not trip",
            );
        }
        self.rest(start, supply);
    }

    fn late_hand_over(&mut self, after: Seconds, what: &str, length: Seconds) {
        self.error(
            "limit.after",
            format!("the hand-over after {after} comes after the end of the {what} of {length}"),
            "never reached",
            "watch longer, or hand over earlier",
        );
    }

    /// What a good unit draws must be seen, and must not be limited away.
    fn expected(&mut self, band: Option<(Amperes, Amperes)>, limit: Amperes) {
        let Some((low, high)) = band else { return };
        self.resolves("expect.current", "the expected current", low);
        if limit < high {
            self.error(
                "limit",
                format!("the limit of {limit} is below the {high} that a good unit may draw"),
                "too low for a good unit",
                "the supply would limit a good unit",
            );
        }
    }

    fn states(&mut self, states: &[State]) {
        for state in states {
            self.resolves(&format!("states.{}", state.name), &format!("the state {:?}", state.name), state.low);
        }
    }

    /// Whether the unit can have come to rest before the next start.
    fn rest(&mut self, start: &Start, supply: &SupplyProfile) {
        let floor = Volts(supply.measured_voltage.floor);
        if let Some(below) = start.off_below
            && below < floor
        {
            self.error(
                "off_below",
                format!("{below} lies below the {floor} that the supply's read-back can tell from zero"),
                "below the floor",
                "no reading could show that the unit has fallen so far",
            );
        }
        let Some(capacitance) = self.plan.unit.capacitance else { return };
        match (supply.output.off_is, start.off_below) {
            (OffState::Bleeder(bleeder), Some(below)) => {
                let patience = start.off.from + start.off_patience;
                if let Some(fall) = crate::analysis::energy::fall_time(bleeder, capacitance, start.voltage, below)
                    && fall > patience
                {
                    self.warning("off_below", format!("{capacitance} falls from {} to {below} in {} through the supply's bleeder of {bleeder}, longer than the {patience} that a start waits at least", start.voltage, crate::units::spell(fall)), "may not be reached", "starts whose unit has not fallen are void; wait longer, or discharge it");
                }
            }
            (OffState::Open, None) => {
                self.warning(
                    "off",
                    format!(
                        "the supply's output is an open switch when off: {capacitance} keeps its charge through the off-time"
                    ),
                    "off, yet charged",
                    "write off_below = \"0.3 V\", so that a start waits until the unit has fallen",
                );
            }
            _ => {}
        }
    }
}
