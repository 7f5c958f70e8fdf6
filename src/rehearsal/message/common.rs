//! The common commands of IEEE 488.2 chapter 10, and what SCPI-99 requires beside
//! them.

use super::order::{Common, Filled};
use super::{Device, Does};
use crate::rehearsal::world::World;
use crate::scpi::error_queue::codes;
use crate::scpi::program::Numeric;

/// The version of SCPI, the answer to `SYSTem:VERSion?` (SCPI-99 volume 2, 21.21).
const VERSION: &str = "1999.0";

pub(super) fn perform(device: &mut impl Device, order: Common, filled: &Filled, world: &mut World) -> Does {
    let dialogue = device.dialogue();
    let status = &mut dialogue.status;
    match order {
        Common::Clear => status.clear(),
        Common::EventEnable => match bits(filled, 255) {
            Some(value) => status.event_enable = value as u8,
            None => return dialogue.complain(codes::DATA_OUT_OF_RANGE),
        },
        Common::AskEventEnable => return Does::Answers(status.event_enable.to_string()),
        Common::AskEvents => return Does::Answers(status.take_events().to_string()),
        Common::Identity => return Does::Answers(dialogue.identity.clone()),
        Common::Complete => {
            status.complete();
            if device.pending(world) <= 0.0 {
                device.dialogue().status.idle();
            }
        }
        // Waited for already.
        Common::AskComplete => return Does::Answers("1".into()),
        Common::Wait => {}
        Common::Reset => device.reset(world),
        Common::ServiceEnable => match bits(filled, 255) {
            Some(value) => status.set_service_enable(value as u8),
            None => return dialogue.complain(codes::DATA_OUT_OF_RANGE),
        },
        Common::AskServiceEnable => return Does::Answers(status.service_enable().to_string()),
        Common::AskStatus => {
            let waits = dialogue.response.is_some();
            return Does::Answers(dialogue.status.byte(waits).to_string());
        }
        // Nothing in it can be broken: 0 is passed (IEEE 488.2 10.38).
        Common::Test => return Does::Answers("0".into()),
        Common::NextError => return Does::Answers(status.next_error()),
        Common::CountErrors => return Does::Answers(status.errors().to_string()),
        Common::Version => return Does::Answers(VERSION.into()),
        Common::Preset => status.preset(),
        Common::Ask(group, part) => {
            return match status.ask(group, part, channel(filled)) {
                Some(value) => Does::Answers(value.to_string()),
                None => dialogue.complain(codes::HEADER_SUFFIX_OUT_OF_RANGE),
            };
        }
        Common::Set(group, part) => {
            let Some(value) = bits(filled, u16::MAX) else { return dialogue.complain(codes::DATA_OUT_OF_RANGE) };
            if status.set(group, part, channel(filled), value).is_none() {
                return dialogue.complain(codes::HEADER_SUFFIX_OUT_OF_RANGE);
            }
        }
    }
    Does::Sets
}

/// A register's value, rounded (IEEE 488.2 10.11); `None` beyond its bits.
fn bits(filled: &Filled, most: u16) -> Option<u16> {
    match filled.first? {
        Numeric::Value(value) if (0.0..=f64::from(most)).contains(&value.round()) => Some(value.round() as u16),
        _ => None,
    }
}

fn channel(filled: &Filled) -> u32 {
    filled.channels.first().copied().unwrap_or(1)
}
