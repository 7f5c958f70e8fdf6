//! What feeds the unit: the channel that is wired to it, or two of them that are coupled
//! in series or in parallel, each with its settings as they really come.

use super::electrics::{Offs, comes_to, off, slew};
use super::{COUPLED, SupplyDevice};
use crate::plan::Coupling;
use crate::rehearsal::world::{Guards, Source};

impl SupplyDevice {
    /// How far the settings and read-backs of a channel are off.
    pub(super) fn offs(&self, number: u32) -> Option<Offs> {
        self.offs.get(usize::try_from(number).ok()?.checked_sub(1)?).copied()
    }

    /// Whether two channels feed the unit.
    fn is_pair(&self) -> bool {
        matches!(self.panel.coupling, Coupling::Series | Coupling::Parallel)
            && COUPLED.iter().all(|number| self.channels.contains_key(number))
            && COUPLED.contains(&self.wired)
    }

    /// The channels that are switched with this one, itself among them.
    pub(super) fn together(&self, number: u32) -> impl Iterator<Item = u32> + use<> {
        let pair = self.is_pair() && COUPLED.contains(&number);
        COUPLED.into_iter().filter(move |_| pair).chain((!pair).then_some(number))
    }

    /// The channels whose set voltage and limit move with this one, itself among them.
    pub(super) fn moved(&self, number: u32) -> impl Iterator<Item = u32> + use<> {
        let coupled = self.panel.coupling != Coupling::None && COUPLED.contains(&number);
        let most = self.profile.channels;
        COUPLED.into_iter().filter(move |n| coupled && *n <= most).chain((!coupled).then_some(number))
    }

    /// Whether a channel feeds the unit.
    pub(super) fn feeds(&self, number: u32) -> bool {
        self.together(self.wired).any(|n| n == number)
    }

    /// Volts, amperes and the level of over-voltage protection of what feeds the unit, as
    /// they really come.
    fn coming(&self) -> impl Iterator<Item = (u32, f64, f64, f64)> {
        let profile = &self.profile;
        let (volts, amperes) = (profile.rated_voltage.0, profile.rated_current.0);
        let level = profile.over_voltage.as_ref().and_then(|p| p.level.as_ref());
        self.together(self.wired).filter_map(move |number| {
            let channel = self.channels.get(&number)?;
            let offs = self.offs(number)?;
            let protection = level.map_or(channel.over_voltage, |l| comes_to(channel.over_voltage, l, volts, offs.level));
            Some((
                number,
                comes_to(channel.voltage, &profile.voltage, volts, offs.voltage),
                comes_to(channel.limit, &profile.current, amperes, offs.limit),
                protection,
            ))
        })
    }

    /// What is set at the unit's terminals.
    pub fn source(&self) -> Source {
        let own = self.coming().find(|(number, ..)| *number == self.wired);
        let (_, mut voltage, mut limit, _) = own.unwrap_or_default();
        match self.panel.coupling {
            Coupling::Series => {
                voltage = self.coming().map(|c| c.1).sum();
                limit = self.coming().map(|c| c.2).fold(f64::INFINITY, f64::min);
            }
            Coupling::Parallel => limit = self.coming().map(|c| c.2).sum(),
            Coupling::None | Coupling::Tracking => {}
        }
        let (off, slew) = (off(&self.profile, &self.told), slew(&self.profile, &self.told));
        Source { on: self.is_on(), voltage, limit, off, slew }
    }

    /// Its protections, as they act at the unit's terminals: in series each channel sees
    /// its own part of the voltage alone.
    pub(super) fn guards(&self) -> Guards {
        let guarded = self.channels.get(&self.wired).filter(|_| !self.quirks.never_trips);
        let level = self.coming().filter_map(|(number, _, _, level)| {
            let (of_volts, _) = self.share(number)?;
            (of_volts > 0.0).then(|| level / of_volts)
        });
        Guards {
            voltage: guarded.filter(|c| c.guarded.0).and_then(|_| level.min_by(f64::total_cmp)),
            current: guarded.filter(|c| c.guarded.1).map(|c| c.delay),
        }
    }

    /// Which share of voltage and current at the unit's terminals is a channel's own; none
    /// where it does not feed the unit.
    pub(super) fn share(&self, number: u32) -> Option<(f64, f64)> {
        let (_, volts, amperes, _) = self.coming().find(|c| c.0 == number)?;
        let of = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.5 };
        Some(match self.panel.coupling {
            Coupling::Series if self.is_pair() => (of(volts, self.coming().map(|c| c.1).sum()), 1.0),
            Coupling::Parallel if self.is_pair() => (1.0, of(amperes, self.coming().map(|c| c.2).sum())),
            _ => (1.0, 1.0),
        })
    }
}
