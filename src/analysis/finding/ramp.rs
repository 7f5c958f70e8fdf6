//! What a ramp says, in sentences.

use super::power::{Band, band, stands};
use super::{Figure, Finding, Severity, three};
use crate::analysis::Level;
use crate::analysis::ramp::{Behaviour, Beside, Jump, Kind, Limiting, Place, Region, Summary, Threshold};
use crate::units::{Amperes, Unit, Volts, with_uncertainty};

/// What was asked of a ramp.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// The voltage at its end.
    pub to: Volts,
    /// The supply's limit.
    pub limit: Amperes,
    /// Current that a good unit draws there.
    pub expect: Option<Band>,
}

/// Of a ramp: what limiting means, the current at its end against what is expected,
/// where it starts and drops out, and how the current goes with the voltage.
/// `at_end` is the current while the end voltage was held; `None`: it was not reached.
pub fn ramp(summary: &Summary, at_end: Option<Level>, asked: &Asked) -> Vec<Finding> {
    let mut made = Vec::new();
    made.extend(summary.limiting.as_ref().map(|l| limited(l, asked.limit)));
    made.push(match at_end {
        Some(at_end) => end(summary, at_end, asked),
        None => cut(summary, asked),
    });
    made.extend(summary.starts.map(|jump| starts(&jump)));
    made.extend(summary.drops_out.map(|jump| drops_out(&jump, summary.starts)));
    made.extend(summary.swings.map(swings));
    made.extend(regions(&summary.regions));
    made
}

fn place(name: &str, place: Place) -> Figure {
    Figure::quantity(name, place.volts.0, Unit::Volt, Some(place.expanded.0))
}

fn limited(limiting: &Limiting, limit: Amperes) -> Finding {
    let Limiting { from, hangs, behaviour, lasting, .. } = limiting;
    let hung = hangs.map_or("a voltage that was not read".into(), |h| h.to_string());
    let passing = Severity::Note;
    let (code, severity, means, advice) = match behaviour {
        Behaviour::Short { resistance, expanded } => {
            let what = if resistance.0 <= expanded.0 {
                format!("a short of less than {}", three(resistance.0 + expanded.0, Unit::Ohm))
            } else {
                format!("a resistance of {}", with_uncertainty(resistance.0, expanded.0, Unit::Ohm))
            };
            (
                "ramp-short",
                Severity::Anomaly,
                format!(
                    "it draws from zero volts on, in proportion to the voltage: {what} at the supply's terminals, with leads and meter"
                ),
                "A short or a near-short: look for heat at this current, with a camera, alcohol or a fingertip beside it, and do not raise the limit to make it go away. What is soldered in parallel goes next: lift it by halves.",
            )
        }
        Behaviour::Junction => (
            "ramp-junction",
            Severity::Anomaly,
            format!("and the voltage stays at {hung}, as at a silicon junction that conducts"),
            "Check the polarity first. If it is right, look for a protection diode that is the wrong way round or a semiconductor that has failed.",
        ),
        Behaviour::Converter { power } => (
            "ramp-converter",
            if *lasting { Severity::Anomaly } else { passing },
            format!(
                "until then it drew little, and under the limit the voltage falls back to {hung}, at {}: so behaves the input of a switching converter that gets less current than it needs to start, and not a resistive short (a latch-up may look alike)",
                three(power.0, Unit::Watt)
            ),
            "Try a plain start at the full voltage with a limit of two to three times its running current. If it takes the limit then, too, look for heat.",
        ),
        Behaviour::Latched => (
            "ramp-latched",
            Severity::Anomaly,
            format!(
                "until then it drew little, and then the voltage falls to {hung}, less than a converter runs from: so behaves a latch-up, or a part that breaks through"
            ),
            "Switch off, wait, and ramp again: a latch-up goes with the power and comes again at the same voltage. Look for heat at this current, and for a voltage at an input that is there before the supply's.",
        ),
        Behaviour::Clamp => (
            "ramp-clamp",
            if *lasting { Severity::Anomaly } else { passing },
            format!(
                "until then it drew little, and the voltage stays near {hung}: a part that clamps there, or a load that is switched on there and wants more than the limit"
            ),
            "Compare the voltage with those of the suppressor and Zener diodes at the input. If none is near it, find out which rail comes up there.",
        ),
        Behaviour::Grown => (
            "ramp-limit-near",
            if *lasting { Severity::Anomaly } else { passing },
            "the current had grown up to the limit without a break, so that the limit is no more than what the unit draws there"
                .into(),
            "If a good unit draws as much, set the limit to twice its running current. If not, look for the load that is too much, by halves.",
        ),
        Behaviour::Unclear => (
            "ramp-limited",
            if *lasting { Severity::Anomaly } else { passing },
            "from the few readings it cannot be told which".into(),
            "A short or a near-short draws from zero volts on: look for heat, and do not raise the limit to make it go away. A switching converter may stick under a slow ramp: try a plain start with a limit of two to three times its running current. Smaller steps tell the two apart.",
        ),
    };
    let length = if *lasting { "to the end" } else { "for a time, and went on" };
    let sentence = format!("During the ramp the supply limited the current at {limit}, from {from} on, {length}: {means}.");
    let mut finding = Finding::new(code, severity, sentence).advise(advice).figure(place("limited from", *from));
    if let Some(hangs) = hangs {
        finding = finding.figure(place("voltage under the limit", *hangs));
    }
    if let Behaviour::Short { resistance, expanded } = behaviour {
        finding = finding.figure(Figure::quantity("resistance", resistance.0, Unit::Ohm, Some(expanded.0)));
    }
    finding
}

/// Where current begins.
fn first(summary: &Summary) -> String {
    match summary.threshold {
        None => "no current that can be told from zero was seen".to_owned(),
        Some(Threshold::FromZero) => "current can be told from zero from the first step on".into(),
        Some(Threshold::At(at)) => format!("current can be told from zero from {at} on"),
    }
}

fn cut(summary: &Summary, asked: &Asked) -> Finding {
    let most = summary
        .most
        .map_or(String::new(), |(i, v)| format!("; the most was {} at {}", three(i.0, Unit::Ampere), three(v.0, Unit::Volt)));
    let sentence = format!("The ramp ended before {}: {}{most}.", asked.to, first(summary));
    Finding::new("ramp-cut", Severity::Note, sentence)
}

fn end(summary: &Summary, at_end: Level, asked: &Asked) -> Finding {
    let first = first(summary);
    let (severity, judged) = match asked.expect {
        Some(expect) => {
            let severity = stands(at_end, expect);
            let words = match severity {
                Severity::Note => "within the expected",
                Severity::Anomaly => "outside the expected",
                Severity::Undecided => "cannot be decided against the expected",
            };
            (severity, format!(", {words} {}", band(expect)))
        }
        None => (Severity::Note, String::new()),
    };
    let code = match severity {
        Severity::Note => "ramp-current",
        Severity::Anomaly => "ramp-unexpected",
        Severity::Undecided => "ramp-undecided",
    };
    let sentence = format!("At {}, the end of the ramp, the unit draws {at_end}{judged}; {first}.", asked.to);
    let mut finding = Finding::new(code, severity, sentence);
    if let Level::Known { value, u } = at_end {
        finding = finding.figure(Figure::quantity("current at the end", value.0, Unit::Ampere, Some(2.0 * u.0)));
    }
    if let Some(Threshold::At(at)) = summary.threshold {
        finding = finding.figure(place("first current at", at));
    }
    if severity == Severity::Anomaly {
        finding =
            finding.advise("Compare with a good unit in the same order, rail by rail: the first difference brackets the fault.");
    }
    finding
}

fn told(current: Option<Amperes>) -> String {
    current.map_or("what cannot be told from zero".into(), |i| three(i.0, Unit::Ampere))
}

fn starts(jump: &Jump) -> Finding {
    let sentence = format!(
        "The current rises at once near {}, from {} to {}: there the unit, or a part of it, starts.",
        jump.at,
        told(jump.from),
        told(jump.to)
    );
    Finding::new("ramp-jump", Severity::Note, sentence).figure(place("starts at", jump.at))
}

fn drops_out(jump: &Jump, start: Option<Jump>) -> Finding {
    let below = start.filter(|s| s.at.volts.0 - jump.at.volts.0 > s.at.expanded.0.hypot(jump.at.expanded.0)).map_or(
        String::new(),
        |start| {
            let apart = start.at.volts - jump.at.volts;
            let expanded = start.at.expanded.0.hypot(jump.at.expanded.0);
            format!(", {} below where it started", with_uncertainty(apart.0, expanded, Unit::Volt))
        },
    );
    let sentence = format!(
        "On the way down the current falls at once near {}, from {} to {}: there the unit, or a part of it, drops out{below}.",
        jump.at,
        told(jump.from),
        told(jump.to)
    );
    Finding::new("ramp-drops-out", Severity::Note, sentence).figure(place("drops out at", jump.at))
}

fn swings(half: Amperes) -> Finding {
    let sentence = format!(
        "At the held end voltage the current swings with time by ± {}: how it goes with the voltage is not told.",
        three(half.0, Unit::Ampere)
    );
    Finding::new("ramp-swings", Severity::Note, sentence).advise(
        "Log at one voltage to see the swing. For the course over the voltage, ramp so slowly that a step takes several swings.",
    )
}

/// How the current goes with the voltage, where that is more than nothing at all.
fn regions(regions: &[Region]) -> Option<Finding> {
    if regions.iter().all(|r| r.kind == Kind::Nothing) {
        return None;
    }
    let pieces: Vec<String> = regions
        .iter()
        .map(|r| format!("from {} to {} {}", three(r.from.0, Unit::Volt), three(r.to.0, Unit::Volt), goes(r.kind)))
        .collect();
    let sentence = format!("The current over the voltage: {}.", pieces.join("; "));
    let mut finding = Finding::new("ramp-regions", Severity::Note, sentence);
    for region in regions {
        finding = match region.kind {
            Kind::Resistive { resistance, expanded } => {
                finding.figure(Figure::quantity("resistance", resistance.0, Unit::Ohm, Some(expanded.0)))
            }
            Kind::AboveThreshold { at } => finding.figure(place("threshold", at)),
            Kind::Added { at, resistance, expanded, .. } => finding.figure(place("opens at", at)).figure(Figure::quantity(
                "resistance in addition",
                resistance.0,
                Unit::Ohm,
                Some(expanded.0),
            )),
            Kind::ConstantCurrent { current, expanded } => {
                finding.figure(Figure::quantity("constant current", current.0, Unit::Ampere, Some(expanded.0)))
            }
            Kind::ConstantPower { power, expanded } => {
                finding.figure(Figure::quantity("constant power", power.0, Unit::Watt, Some(expanded.0)))
            }
            Kind::Nothing | Kind::Falling | Kind::Rising => finding,
        };
    }
    Some(finding)
}

fn goes(kind: Kind) -> String {
    match kind {
        Kind::Nothing => "none that can be told from zero".into(),
        Kind::Resistive { resistance, expanded } => {
            format!("as through a resistor of {}", with_uncertainty(resistance.0, expanded.0, Unit::Ohm))
        }
        Kind::Added { onto, at, resistance, expanded } => format!(
            "as through {} from {at} on, in addition to {}",
            with_uncertainty(resistance.0, expanded.0, Unit::Ohm),
            match onto {
                Beside::Current(current) => three(current.0, Unit::Ampere),
                Beside::Resistor(other) => format!("the {}", three(other.0, Unit::Ohm)),
            }
        ),
        Kind::AboveThreshold { at } => format!("as above a threshold of {at}"),
        Kind::ConstantCurrent { current, expanded } => {
            format!("a constant {}", with_uncertainty(current.0, expanded.0, Unit::Ampere))
        }
        Kind::ConstantPower { power, expanded } => {
            format!("falling at a constant {}, as a switching converter draws", with_uncertainty(power.0, expanded.0, Unit::Watt))
        }
        Kind::Falling => "falling".into(),
        Kind::Rising => "rising, slower than through a resistor".into(),
    }
}
