//! What a person can set at the supply's front panel, and the timer that switches off
//! when nobody speaks to it.

use super::supply::written;
use crate::instrument::profile::{Condition, SupplyProfile};
use crate::plan::{Coupling, PowerOn};
use crate::scpi::program::Numeric;

/// The front panel's settings, and the timer.
#[derive(Clone, Debug, Default)]
pub struct Panel {
    /// How the channels are coupled.
    pub coupling: Coupling,
    /// What it does when the mains come back.
    pub power_on: PowerOn,
    /// It senses through leads of their own.
    pub remote_sense: bool,
    /// The timer's time, and whether it is armed.
    seconds: f64,
    armed: bool,
    /// When it was last spoken to.
    heard: f64,
}

impl Panel {
    /// As somebody has left it.
    pub fn set_by_hand(coupling: Coupling, power_on: PowerOn, remote_sense: bool) -> Self {
        Self { coupling, power_on, remote_sense, ..Self::default() }
    }

    /// Whether the channels are coupled, in the dialect's words.
    pub fn ask_coupling(&self, profile: &SupplyProfile) -> Option<String> {
        says(&profile.coupling, self.coupling != Coupling::None)
    }

    /// What the output does when the mains come back.
    pub fn ask_power_on(&self, profile: &SupplyProfile) -> Option<String> {
        says(&profile.power_on, self.power_on != PowerOn::Off)
    }

    /// Where it senses.
    pub fn ask_sense(&self, profile: &SupplyProfile) -> Option<String> {
        let sense = profile.sense.as_ref()?;
        if self.remote_sense { &sense.remote } else { &sense.local }.first().cloned()
    }

    /// The timer's time.
    pub fn ask_timer(&self, profile: &SupplyProfile) -> Option<String> {
        let setting = &profile.watchdog.as_ref()?.delay.setting;
        Some(written(self.seconds, setting.resolution, &setting.reply, "s", 1))
    }

    /// Sets it; `None` where that cannot be.
    pub fn set_timer(&mut self, profile: &SupplyProfile, wanted: Option<Numeric>) -> Option<()> {
        let longest = profile.watchdog.as_ref()?.delay.longest.0;
        self.seconds = match wanted? {
            Numeric::Value(seconds) => seconds.clamp(0.0, longest),
            Numeric::Maximum => longest,
            Numeric::Minimum | Numeric::Default => 0.0,
            _ => return None,
        };
        Some(())
    }

    /// Arms or disarms it.
    pub fn arm(&mut self, armed: bool) {
        self.armed = armed;
    }

    /// After power-on: what is kept is kept, and the timer is not armed.
    pub fn restart(&mut self) {
        (self.seconds, self.armed, self.remote_sense) = (0.0, false, false);
    }

    /// It is spoken to.
    pub fn hear(&mut self, at: f64) {
        self.heard = at;
    }

    /// Whether the timer has gone off by now.
    pub fn is_over(&self, at: f64) -> bool {
        self.armed && at - self.heard > self.seconds
    }
}

fn says(condition: &Option<Condition>, bad: bool) -> Option<String> {
    let good = condition.as_ref()?.good.first()?;
    Some(if bad { other_than(good) } else { good.clone() })
}

/// Another answer than this one.
fn other_than(word: &str) -> String {
    ["1", "0"].into_iter().find(|other| *other != word).unwrap_or("1").to_owned()
}
