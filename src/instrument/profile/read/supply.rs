//! Reading what a supply does.

use super::super::safety;
use super::*;

pub(super) fn supply(part: &mut Part<'_>, numbers: Numbers) -> Option<SupplyProfile> {
    let rated = part.part("rated").and_then(|mut rated| {
        let made = (rated.quantity("voltage"), rated.quantity("current"), rated.quantity("power"));
        rated.finish();
        Some((made.0?, made.1?, made.2?))
    });
    let channels = part.small("channels").unwrap_or(1);
    let inner = |part: &mut Part<'_>, key: &str, of| {
        let mut inner = part.part_of(key, of)?;
        let made = setting(&mut inner, numbers);
        inner.finish();
        made
    };
    let voltage = inner(part, "voltage", Unit::Volt);
    let current = inner(part, "current", Unit::Ampere);
    let both = part.text("both");
    let output = output(part);
    let mode = mode(part);
    let over_voltage = safety::protection(part, "over_voltage", Unit::Volt, numbers);
    let over_current = safety::protection(part, "over_current", Unit::Ampere, numbers);
    let (coupling, power_on) = (safety::condition(part, "coupling"), safety::condition(part, "power_on"));
    let (sense, watchdog) = (safety::sense(part), safety::watchdog(part, numbers));
    let measured = part.part("measured").and_then(|mut measured| {
        let voltage = readback(&mut measured, "voltage", Unit::Volt, numbers);
        let current = readback(&mut measured, "current", Unit::Ampere, numbers);
        measured.finish();
        Some((voltage?, current?))
    });
    let (rated_voltage, rated_current, rated_power) = rated?;
    let (measured_voltage, measured_current) = measured?;
    Some(SupplyProfile {
        rated_voltage,
        rated_current,
        rated_power,
        channels,
        voltage: voltage?,
        current: current?,
        both,
        output: output?,
        mode,
        over_voltage,
        over_current,
        coupling,
        power_on,
        sense,
        watchdog,
        measured_voltage,
        measured_current,
    })
}

fn output(parent: &mut Part<'_>) -> Option<Output> {
    #[derive(Clone, Copy)]
    enum Word {
        Open,
        Bleeder,
        Zero,
    }
    let mut part = parent.part("output")?;
    let (on, off, all_off, ask) = (part.text("on"), part.text("off"), part.text("all_off"), part.text("ask"));
    let words = |texts: Vec<String>, usual: [&str; 2]| if texts.is_empty() { usual.map(str::to_owned).to_vec() } else { texts };
    let reads_on = words(part.texts("reads_on"), ["1", "ON"]);
    let reads_off = words(part.texts("reads_off"), ["0", "OFF"]);
    let word = part.choice("off_is", &[Word::Open, Word::Bleeder, Word::Zero]).unwrap_or(Word::Open);
    let bleeder = part.quantity::<Ohms>("bleeder");
    let fall = part.quantity("fall").unwrap_or(Seconds(0.05));
    let off_is = match (word, bleeder) {
        (Word::Open, _) => Some(OffState::Open),
        (Word::Zero, _) => Some(OffState::ZeroVolts),
        (Word::Bleeder, Some(ohms)) if ohms.0 > 0.0 => Some(OffState::Bleeder(ohms)),
        (Word::Bleeder, _) => part.table.missing("bleeder", Some("write bleeder = \"1 kohm\"".into())),
    };
    if on.is_some() && on == off {
        part.problem("off", "on and off send the same message", "the same as on", None);
    }
    if let Some(both) = reads_on.iter().find(|w| reads_off.contains(w)) {
        part.problem("reads_off", format!("{both:?} would mean both on and off"), "stands in reads_on too", None);
    }
    part.finish();
    Some(Output { on: on?, off: off?, all_off, ask, reads_on, reads_off, off_is: off_is?, fall })
}

fn mode(parent: &mut Part<'_>) -> Option<Mode> {
    let mut part = parent.part("mode")?;
    let ask = part.text("ask");
    let bits = part.part("bits").map(|mut bits| {
        let made = (bits.small("voltage"), bits.small("current"));
        bits.finish();
        made
    });
    let (voltage, current, fault) = (part.texts("voltage"), part.texts("current"), part.texts("fault"));
    let form = match bits {
        Some((Some(voltage), Some(current))) if voltage != current => Some(ModeForm::Bits { voltage, current }),
        Some(_) => {
            part.problem(
                "bits",
                "expected two different bits",
                "expected { voltage = …, current = … }",
                Some("bits count from 0, the lowest"),
            );
            None
        }
        None if voltage.is_empty() || current.is_empty() => {
            part.problem(
                "voltage",
                "the mode needs the answers that mean constant voltage and constant current",
                "both are needed",
                Some("write voltage = \"CV\" and current = \"CC\", or bits = { voltage = 1, current = 0 }"),
            );
            None
        }
        None => Some(ModeForm::Words { voltage, current, fault }),
    };
    if let Some(ModeForm::Words { voltage, current, fault }) = &form
        && let Some(word) = current.iter().chain(fault).find(|word| voltage.contains(word))
    {
        part.problem("voltage", format!("{word:?} would mean two modes"), "stands in another list too", None);
    }
    if bits.is_some() {
        for key in ["voltage", "current", "fault"].into_iter().filter(|key| part.has(key)) {
            part.problem(key, "the mode is told by words or by bits, not by both", "does not go with bits", None);
        }
    }
    part.finish();
    Some(Mode { ask: ask?, form: form? })
}

fn readback(parent: &mut Part<'_>, key: &str, of: Unit, numbers: Numbers) -> Option<Readback> {
    let mut part = parent.part_of(key, of)?;
    let ask = part.text("ask");
    let reply = reply(&mut part, numbers);
    let resolution = part.amount("resolution");
    let accuracy = accuracy(&mut part, resolution);
    let floor = part.amount("floor");
    part.finish();
    let (accuracy, resolution) = (accuracy?, resolution?);
    let floor = floor.unwrap_or_else(|| tidy(accuracy.half_width(0.0, 0.0).max(resolution)));
    Some(Readback { ask: ask?, reply, accuracy, resolution, floor })
}
