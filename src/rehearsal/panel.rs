//! What a person can set at the supply's front panel, and the timer that switches off
//! when nobody speaks to it.

use super::dialect::matches;
use super::supply::Does;
use crate::instrument::profile::{Condition, SupplyProfile};

/// The front panel's settings, and the timer.
#[derive(Clone, Debug, Default)]
pub struct Panel {
    /// The channels are coupled.
    pub coupled: bool,
    /// The output comes back with the mains.
    pub remembers: bool,
    /// It senses through leads of their own.
    pub remote_sense: bool,
    /// The timer's time, and whether it is armed.
    seconds: f64,
    armed: bool,
    /// When it was last spoken to.
    heard: f64,
}

impl Panel {
    /// What is asked of it.
    pub fn asked(&self, profile: &SupplyProfile, message: &str) -> Option<Does> {
        let condition = |condition: &Option<Condition>, bad: bool| {
            let condition = condition.as_ref()?;
            matches(&condition.ask, message)?;
            let good = condition.good.first()?;
            Some(Does::Answers(if bad { other_than(good) } else { good.clone() }))
        };
        if let Some(does) = condition(&profile.coupling, self.coupled).or_else(|| condition(&profile.power_on, self.remembers)) {
            return Some(does);
        }
        if let Some(sense) = &profile.sense
            && matches(&sense.ask, message).is_some()
        {
            let words = if self.remote_sense { &sense.remote } else { &sense.local };
            return Some(Does::Answers(words.first()?.clone()));
        }
        let watchdog = profile.watchdog.as_ref()?;
        matches(watchdog.delay.setting.ask.as_ref()?, message)?;
        let step = watchdog.delay.setting.resolution;
        Some(Does::Answers(super::supply::written(self.seconds, step, &watchdog.delay.setting.reply, "s", 1)))
    }

    /// What sets something of it.
    pub fn set(&mut self, profile: &SupplyProfile, message: &str) -> Option<Does> {
        for (condition, flag) in [(&profile.coupling, &mut self.coupled), (&profile.power_on, &mut self.remembers)] {
            if condition.as_ref().and_then(|c| c.set.as_ref()).is_some_and(|set| matches(set, message).is_some()) {
                *flag = false;
                return Some(Does::Sets);
            }
        }
        let watchdog = profile.watchdog.as_ref()?;
        let is = |template: &String| matches(template, message).is_some();
        if let Some(filled) = matches(&watchdog.delay.setting.set, message) {
            self.seconds = filled.first?.clamp(0.0, watchdog.delay.longest.0);
            return Some(Does::Sets);
        }
        if watchdog.enable.iter().any(is) {
            self.armed = true;
            return Some(Does::Sets);
        }
        if watchdog.disable.iter().any(is) {
            self.armed = false;
            return Some(Does::Sets);
        }
        watchdog.clear.as_ref().is_some_and(is).then_some(Does::Sets)
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

/// Another answer than this one.
fn other_than(word: &str) -> String {
    ["1", "0"].into_iter().find(|other| *other != word).unwrap_or("1").to_owned()
}
