//! What a meter is set to beside function, range and rate, and how that is set in SCPI:
//! SCPI-99 volume 2, TRIGger, INITiate and FORMat; `SAMPle:COUNt` and the placing of the
//! zero under CALibration from memory.

use super::MeterDevice;
use crate::plan::Quirks;
use crate::rehearsal::message::order::Setting;
use crate::rehearsal::message::{Does, Filled};
use crate::rehearsal::world::World;
use crate::scpi::error_queue::codes;
use crate::scpi::program::Numeric;

/// What is set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Settings {
    pub auto_range: bool,
    pub zeroing: Zeroing,
    pub continuous: bool,
    /// Readings for one trigger.
    pub samples: u64,
    /// From a trigger to the first, in seconds.
    pub delay: f64,
    pub format: Format,
}

/// What it does about its zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Zeroing {
    /// Looks at it in every measurement.
    On,
    /// In the next one, and keeps it.
    Once,
    /// Takes out what it has kept.
    Held(f64),
}

/// How readings are answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Format {
    Ascii,
    /// As a block of numbers of 64 bits.
    Real,
}

/// The longest delay, in seconds.
const LONGEST: f64 = 3600.0;
/// The most samples of a trigger.
const MOST: u64 = 50_000;

impl Settings {
    pub(super) fn at_power_on(quirks: &Quirks) -> Self {
        Self {
            auto_range: quirks.auto_range.is_some(),
            zeroing: if quirks.zero.auto { Zeroing::On } else { Zeroing::Held(0.0) },
            continuous: false,
            samples: 1,
            delay: quirks.input.delay.0,
            format: Format::Ascii,
        }
    }
}

impl MeterDevice {
    /// Sets one of them.
    pub(super) fn set(&mut self, setting: Setting, filled: &Filled, world: &mut World) -> Result<Does, i32> {
        let usual = Settings::at_power_on(&self.quirks);
        match setting {
            Setting::AutoRange(function) => {
                if function != self.function() {
                    return Err(codes::SETTINGS_CONFLICT);
                }
                self.settings.auto_range = switched(filled)?;
            }
            Setting::Zero => {
                self.settings.zeroing = match filled.word.as_deref() {
                    Some(word) if word.eq_ignore_ascii_case("ONCE") => Zeroing::Once,
                    _ if switched(filled)? => Zeroing::On,
                    _ => Zeroing::Held(0.0),
                };
            }
            Setting::Continuous => {
                self.settings.continuous = switched(filled)?;
                self.stop();
                self.readings.clear();
            }
            Setting::Samples => self.settings.samples = within(filled, (1.0, MOST as f64), usual.samples as f64)?.round() as u64,
            Setting::Delay => self.settings.delay = within(filled, (0.0, LONGEST), usual.delay)?,
            Setting::Format => {
                let length = filled.first;
                self.settings.format = match filled.word.as_deref().map(str::to_ascii_uppercase).as_deref() {
                    Some("ASC" | "ASCII") => Format::Ascii,
                    Some("REAL") if matches!(length, None | Some(Numeric::Value(64.0))) => Format::Real,
                    _ => return Err(codes::ILLEGAL_PARAMETER_VALUE),
                };
            }
        }
        if matches!(setting, Setting::Zero | Setting::AutoRange(_)) {
            self.begin_anew(world);
        }
        Ok(Does::Sets)
    }

    /// How one of them stands.
    pub(super) fn ask(&self, setting: Setting) -> Does {
        let Settings { zeroing, continuous, samples, delay, format, .. } = self.settings;
        Does::Answers(match setting {
            Setting::AutoRange(function) => u8::from(self.auto_range().is_some() && function == self.function()).to_string(),
            Setting::Zero => u8::from(zeroing == Zeroing::On).to_string(),
            Setting::Continuous => u8::from(continuous).to_string(),
            Setting::Samples => samples.to_string(),
            Setting::Delay => super::reading::scientific(delay),
            Setting::Format => match format {
                Format::Ascii => "ASC,0".into(),
                Format::Real => "REAL,64".into(),
            },
        })
    }
}

/// `ON`, `OFF` or a number, which means on unless it rounds to zero (SCPI-99 7.3).
fn switched(filled: &Filled) -> Result<bool, i32> {
    match (filled.word.as_deref(), filled.first) {
        (Some(word), _) if word.eq_ignore_ascii_case("ON") => Ok(true),
        (Some(word), _) if word.eq_ignore_ascii_case("OFF") => Ok(false),
        (None, Some(Numeric::Value(value))) => Ok(value.round() != 0.0),
        _ => Err(codes::ILLEGAL_PARAMETER_VALUE),
    }
}

fn within(filled: &Filled, (least, most): (f64, f64), usual: f64) -> Result<f64, i32> {
    match filled.first {
        Some(Numeric::Value(value)) if (least..=most).contains(&value) => Ok(value),
        Some(Numeric::Value(_)) => Err(codes::DATA_OUT_OF_RANGE),
        Some(Numeric::Minimum) => Ok(least),
        Some(Numeric::Maximum) => Ok(most),
        Some(Numeric::Default) => Ok(usual),
        _ => Err(codes::ILLEGAL_PARAMETER_VALUE),
    }
}
