//! The status of an instrument: event registers, their summaries, and the queue of
//! errors (IEEE 488.2 chapter 11; SCPI-99 volume 1 chapter 9, volume 2 chapter 20).
//!
//! Holds always: bit 15 of a 16-bit register is zero; an error sets the event bit of
//! its class, whether or not the queue has room for it.

use super::order::{Group, Part};
use crate::scpi::error_queue::{ErrorClass, ErrorQueue, ErrorReport};
use crate::scpi::status::{EventStatus, Questionable, StatusByte};

/// Every bit of a 16-bit register that may be used.
const ALL: u16 = 0x7fff;

/// Condition, transition filters, event and enable registers (SCPI-99 volume 1, 9.2).
#[derive(Clone, Copy, Debug)]
pub struct Register {
    condition: u16,
    event: u16,
    enable: u16,
    rising: u16,
    falling: u16,
}

impl Register {
    /// As `STATus:PRESet` leaves it (SCPI-99 volume 2, 20.7, from memory): rising bits
    /// count; the enable register is `enable`.
    fn preset(&mut self, enable: u16) {
        (self.enable, self.rising, self.falling) = (enable, ALL, 0);
    }

    fn new(enable: u16) -> Self {
        Self { condition: 0, event: 0, enable, rising: ALL, falling: 0 }
    }

    /// The condition is this now; what changed may be an event.
    pub fn see(&mut self, now: u16) {
        let now = now & ALL;
        self.event |= (!self.condition & now & self.rising) | (self.condition & !now & self.falling);
        self.condition = now;
    }

    fn summary(&self) -> bool {
        self.event & self.enable != 0
    }

    /// Reading the event register clears it.
    fn ask(&mut self, part: Part) -> u16 {
        match part {
            Part::Condition => self.condition,
            Part::Event => std::mem::take(&mut self.event),
            Part::Enable => self.enable,
            Part::Rising => self.rising,
            Part::Falling => self.falling,
        }
    }

    fn set(&mut self, part: Part, value: u16) {
        match part {
            Part::Enable => self.enable = value & ALL,
            Part::Rising => self.rising = value & ALL,
            Part::Falling => self.falling = value & ALL,
            Part::Condition | Part::Event => {}
        }
    }
}

/// All of it.
#[derive(Clone, Debug)]
pub struct Status {
    events: EventStatus,
    /// `*ESE`
    pub event_enable: u8,
    service_enable: u8,
    /// `STATus:OPERation`
    pub operation: Register,
    /// `STATus:QUEStionable`
    pub questionable: Register,
    instruments: Register,
    channels: Vec<Register>,
    errors: ErrorQueue,
    /// `*OPC` was sent, and what was begun is not over.
    completing: bool,
}

impl Status {
    /// As after power-on: the power-on bit is set. `channels` counts those with a
    /// summary of their own.
    pub fn new(depth: usize, channels: u32) -> Self {
        Self {
            events: EventStatus::POWER_ON,
            event_enable: 0,
            service_enable: 0,
            operation: Register::new(0),
            questionable: Register::new(0),
            instruments: Register::new(ALL),
            channels: (0..channels).map(|_| Register::new(ALL)).collect(),
            errors: ErrorQueue::new(depth),
            completing: false,
        }
    }

    /// An error: its event bit, and an entry of the queue where there is one to ask.
    pub fn err(&mut self, code: i32, has_queue: bool) {
        if let Some(class) = ErrorClass::of(code) {
            self.events = self.events.with(class.bit());
        }
        if has_queue {
            self.errors.push(ErrorReport::standard(code));
        }
    }

    /// The oldest error, or 0.
    pub fn next_error(&mut self) -> String {
        String::from_utf8_lossy(&self.errors.pop().emit()).into_owned()
    }

    /// How many errors wait.
    pub fn errors(&self) -> usize {
        self.errors.len()
    }

    /// `*CLS` (IEEE 488.2 10.3): events and errors; a waiting `*OPC` is forgotten.
    pub fn clear(&mut self) {
        self.errors.clear();
        self.events = EventStatus::default();
        self.completing = false;
        for register in [&mut self.operation, &mut self.questionable, &mut self.instruments].into_iter().chain(&mut self.channels)
        {
            register.event = 0;
        }
    }

    /// `STATus:PRESet`: enable registers and filters, and nothing else.
    pub fn preset(&mut self) {
        self.operation.preset(0);
        self.questionable.preset(0);
        for register in std::iter::once(&mut self.instruments).chain(&mut self.channels) {
            register.preset(ALL);
        }
    }

    /// `*ESR?`: reading clears.
    pub fn take_events(&mut self) -> u8 {
        std::mem::take(&mut self.events).0
    }

    /// `*SRE`; its bit 6 is never set (IEEE 488.2 10.34).
    pub fn set_service_enable(&mut self, value: u8) {
        self.service_enable = value & !StatusByte::MASTER_SUMMARY.0;
    }

    /// `*SRE?`
    pub fn service_enable(&self) -> u8 {
        self.service_enable
    }

    /// `*STB?`, with whether an answer waits.
    pub fn byte(&self, message_available: bool) -> u8 {
        let bits = [
            (!self.errors.is_empty(), StatusByte::ERROR_QUEUE),
            (self.questionable.summary(), StatusByte::QUESTIONABLE),
            (message_available, StatusByte::MESSAGE_AVAILABLE),
            (self.events.0 & self.event_enable != 0, StatusByte::EVENT_STATUS),
            (self.operation.summary(), StatusByte::OPERATION),
        ];
        let byte = bits.into_iter().filter(|(is, _)| *is).fold(StatusByte::default(), |sum, (_, bit)| sum.with(bit));
        if byte.0 & self.service_enable == 0 { byte.0 } else { byte.with(StatusByte::MASTER_SUMMARY).0 }
    }

    /// `*OPC`
    pub fn complete(&mut self) {
        self.completing = true;
    }

    /// Nothing is pending: a waiting `*OPC` sets its bit.
    pub fn idle(&mut self) {
        if std::mem::take(&mut self.completing) {
            self.events = self.events.with(EventStatus::OPERATION_COMPLETE);
        }
    }

    /// The condition of a channel, from 1. A supply of one channel has it in the
    /// questionable register itself.
    pub fn see_channel(&mut self, number: u32, bits: u16) {
        if self.channels.len() < 2 {
            return self.questionable.see(bits);
        }
        let Some(register) = (number as usize).checked_sub(1).and_then(|at| self.channels.get_mut(at)) else { return };
        register.see(bits);
        // Bit 0 of the instrument summary extends to the next register; channel 1 is bit 1.
        let summary = self.channels.iter().zip(1..15).filter(|(r, _)| r.summary()).fold(0, |sum, (_, n)| sum | 1 << n);
        self.instruments.see(summary);
        let bit = if self.instruments.summary() { Questionable::INSTRUMENT_SUMMARY.0 } else { 0 };
        self.questionable.see(bit);
    }

    fn group(&mut self, group: Group, channel: u32) -> Option<&mut Register> {
        match group {
            Group::Operation => Some(&mut self.operation),
            Group::Questionable => Some(&mut self.questionable),
            Group::Instruments => Some(&mut self.instruments),
            Group::Channel => self.channels.get_mut((channel as usize).checked_sub(1)?),
        }
    }

    /// Asks for a register; `None`: there is no such channel.
    pub fn ask(&mut self, group: Group, part: Part, channel: u32) -> Option<u16> {
        self.group(group, channel).map(|register| register.ask(part))
    }

    /// Sets a register; `None`: there is no such channel.
    pub fn set(&mut self, group: Group, part: Part, channel: u32, value: u16) -> Option<()> {
        self.group(group, channel).map(|register| register.set(part, value))
    }
}
