//! From what was integrated to what a meter shows and says.

use super::MeterDevice;
use super::converter::Mark;
use super::settings::Format;
use crate::instrument::profile::{LINE_CYCLE, UnitInReply};
use crate::plan::THRESHOLDS;
use crate::rehearsal::message::Does;
use crate::rehearsal::world::World;

/// Infinity and not-a-number (SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5).
const SPECIAL: (f64, f64) = (9.9e37, 9.91e37);

/// A reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// Rounded to what its range resolves.
    Value(f64),
    Overload,
    /// It has no such function.
    Nothing,
}

impl MeterDevice {
    /// The mean at its input since integration began.
    pub(super) fn mean(&self, mark: &Mark, world: &World) -> f64 {
        let now = world.time();
        let span = (now - mark.at).max(1e-9);
        let (through, across) = ((world.charge() - mark.charge) / span, (world.volt_seconds() - mark.volts) / span);
        let inside = self.range.as_ref().map_or(0.0, |range| range.resistance.0);
        let signal = match (self.measures_voltage, self.in_series, self.shunt_across()) {
            (false, true, _) => through,
            // In the terminal for currents: nothing is at that for voltages.
            (true, false, Some(_)) => 0.0,
            (false, false, Some(shunt)) => across / shunt.0,
            (true, false, None) => across,
            // The wrong function for its place: what drops across its input; nothing.
            (true, true, _) => through * inside,
            (false, false, None) => 0.0,
        };
        let zero = self.range.as_ref().map_or(0.0, |range| self.zero(range, 0.5 * (mark.at + now)));
        signal + self.hum(mark.at, now) + zero
    }

    /// What it shows for a mean at its input: with the error of its calibration and noise,
    /// in its steps.
    pub(super) fn shown(&mut self, mean: f64) -> Shown {
        let Some(range) = self.range.clone().filter(|_| self.described(self.measures_voltage).is_some()) else {
            return Shown::Nothing;
        };
        let noise = self.noise(&range);
        let accuracy = &range.accuracy;
        let value =
            mean * (1.0 + self.gain * accuracy.reading.0) + self.gain * 0.3 * accuracy.half_width(0.0, range.full) + noise;
        let most = self.quirks.auto_range.map_or(THRESHOLDS.0, |auto| auto.up);
        if self.quirks.overloaded || value.abs() > range.full * most.0 {
            return Shown::Overload;
        }
        let step = range.resolution * self.coarser();
        Shown::Value((value / step).round() * step)
    }

    /// A digit is lost for each tenth of a line cycle, begun (common practice).
    fn coarser(&self) -> f64 {
        let cycles = self.aperture() / LINE_CYCLE.0;
        if self.quirks.fewer_digits && cycles < 1.0 { 10_f64.powf((-cycles.log10() - 1e-9).ceil()) } else { 1.0 }
    }

    /// What it answers for what it has measured last; nothing where there is none.
    pub fn answer(&self) -> Option<Does> {
        let old = Some(&self.before).filter(|before| self.quirks.answers_old && !before.is_empty());
        let readings = old.unwrap_or(&self.readings);
        if readings.is_empty() {
            return None;
        }
        Some(match self.settings.format {
            Format::Ascii => Does::Answers(readings.iter().map(|shown| self.said(*shown)).collect::<Vec<_>>().join(",")),
            Format::Real => Does::Sends(block(readings)),
        })
    }

    /// One reading in the dialect's words.
    fn said(&self, shown: Shown) -> String {
        let Some(function) = self.described(self.measures_voltage) else { return scientific(SPECIAL.1) };
        let text = match shown {
            Shown::Nothing => return scientific(SPECIAL.1),
            // A profile may have a pattern there.
            Shown::Overload => self.profile.overload.first().map_or_else(|| scientific(SPECIAL.0), |word| word.replace('*', "")),
            Shown::Value(value) => {
                let unit = match (function.reply.unit, self.measures_voltage) {
                    (UnitInReply::None, _) => "",
                    (UnitInReply::Checked, true) => " V DC",
                    (UnitInReply::Checked, false) => " A DC",
                };
                format!("{}{unit}", scientific(value))
            }
        };
        let mut fields = vec!["+0".to_owned(); function.reply.field.max(1) - 1];
        fields.push(text);
        fields.join(",")
    }
}

/// A definite-length block (IEEE 488.2 8.7.9) of numbers of 64 bits after IEEE 754, the
/// most significant byte first (SCPI-99 volume 2, FORMat:BORDer NORMal).
fn block(readings: &[Shown]) -> Vec<u8> {
    let number = |shown: &Shown| match shown {
        Shown::Value(value) => *value,
        Shown::Overload => SPECIAL.0,
        Shown::Nothing => SPECIAL.1,
    };
    let bytes: Vec<u8> = readings.iter().flat_map(|shown| number(shown).to_be_bytes()).collect();
    let length = bytes.len().to_string();
    [format!("#{}{length}", length.len()).into_bytes(), bytes].concat()
}

/// `+1.23456789E-02`: the form of IEEE 488.2 8.7.4 with a sign.
pub(super) fn scientific(value: f64) -> String {
    let text = format!("{value:+.8E}");
    match text.split_once('E') {
        Some((mantissa, exponent)) => {
            let (sign, digits) = exponent.strip_prefix('-').map_or(('+', exponent), |d| ('-', d));
            format!("{mantissa}E{sign}{digits:0>2}")
        }
        None => text,
    }
}
