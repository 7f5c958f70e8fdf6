//! Whether a supply still is as it was set: knobs turn, and others may have the
//! bench's address.

use super::{Belief, Supply};
use crate::instrument::error::{Fault, InstrumentError};
use crate::instrument::profile::Setting;
use crate::instrument::reading::Role;
use crate::units::{Unit, engineering};

impl<K> Supply<K> {
    /// Asks for voltage, limit and output state, and says in words what is not as it
    /// was set and read back. Empty where all is, or where the dialect cannot ask.
    ///
    /// # Errors
    /// Those of a query.
    pub async fn audit(&mut self) -> Result<Vec<String>, InstrumentError> {
        self.try_audit().await.map_err(|f| f.of(Role::Supply))
    }

    async fn try_audit(&mut self) -> Result<Vec<String>, Fault> {
        let mut changed = Vec::new();
        let (volts, amperes) = (self.profile.voltage.clone(), self.profile.current.clone());
        let (voltage, limit) = self.expected;
        changed.extend(self.changed("voltage", &volts, voltage, Unit::Volt).await?);
        changed.extend(self.changed("current limit", &amperes, limit, Unit::Ampere).await?);
        if let Some((off, reply)) = self.output_state().await? {
            match self.output {
                Belief::Off if !off => changed.push(format!("the output has come on by itself (it answers {reply})")),
                Belief::MaybeOn if off => changed.push(format!("the output has gone off by itself (it answers {reply})")),
                _ => {}
            }
        }
        Ok(changed)
    }

    async fn changed(&mut self, what: &str, setting: &Setting, set: Option<f64>, unit: Unit) -> Result<Option<String>, Fault> {
        let Some(set) = set else { return Ok(None) };
        let Some(found) = self.stands_at(what, setting, unit).await? else { return Ok(None) };
        Ok((!setting.is_same(found, set))
            .then(|| format!("the {what} was set to {}, and is {} now", engineering(set, unit, 5), engineering(found, unit, 5))))
    }
}
