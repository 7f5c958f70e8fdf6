//! `rampart calc rejection`

use super::options::{number, quantity};
use crate::analysis::working::{Refusal, Window, Working, rejection};
use crate::units::{Hertz, Ratio, Seconds, Volts};

/// Options of `calc rejection`.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("length").required(true)))]
pub(super) struct Arguments {
    /// The frequency of the hum
    #[arg(long, value_parser = quantity::<Hertz>, allow_hyphen_values = true, default_value = "50 Hz")]
    hum: Hertz,
    /// How long the meter integrates
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true, group = "length")]
    window: Option<Seconds>,
    /// The same in power-line cycles
    #[arg(long, value_parser = number, allow_hyphen_values = true, group = "length")]
    plc: Option<f64>,
    /// The line that the meter counts cycles of
    #[arg(long, value_parser = quantity::<Hertz>, allow_hyphen_values = true, default_value = "50 Hz")]
    line: Hertz,
    /// How far off its frequency the hum may be
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "0.1 %")]
    off: Ratio,
    /// The hum's amplitude, to tell what is left of it
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    amplitude: Option<Volts>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let window = match (self.window, self.plc) {
            (Some(time), _) => Window::Lasting(time),
            (None, Some(cycles)) => Window::Cycles(cycles, self.line),
            (None, None) => return Err(Refusal::new("neither a window nor line cycles are given")),
        };
        rejection(window, self.hum, self.off, self.amplitude)
    }
}
