//! A stand-in's end of the conversation: from the bytes of a message to what a device
//! is asked, and from its answers to the bytes of a response.
//!
//! A dialect with an error queue after SCPI speaks its profile's messages and the
//! standard's beside them; the others speak their profile's, and the thirteen common
//! commands of IEEE 488.2. Leaves to others: what a device does (`supply`, `meter`),
//! and how the bytes travel (`serve`).
//! Holds always: a message is parsed once; the answers of one message are one response;
//! after a command error the rest of its message is thrown away.

mod common;
mod dress;
pub mod order;
mod slot;
mod standard;
mod status;
mod table;
mod template;
mod words;

pub use order::{Filled, Order};
pub use status::Status;

use super::world::World;
use crate::instrument::profile::{Kind, Profile};
use crate::plan::Quirks;
use crate::scpi::error_queue::codes;
use crate::scpi::header::Pattern;
use crate::scpi::program::{self, Limits, Unit};
use dress::Dress;
use order::Common;
use std::collections::VecDeque;
use table::Table;

/// The longest message that a stand-in takes, in bytes.
pub const LONGEST: usize = 4096;
/// The longest response that it has room for, in bytes.
const LONGEST_RESPONSE: usize = 8 * 1024;
const LIMITS: Limits = Limits { bytes: LONGEST, units: 256, parameters: 256 };

/// What a device does with a message.
#[derive(Clone, Debug, PartialEq)]
pub enum Does {
    /// Something was set; nothing is answered.
    Sets,
    /// An answer.
    Answers(String),
    /// An answer that is no text: a block.
    Sends(Vec<u8>),
    /// A measurement that goes on for `first` seconds; then it answers, and takes no
    /// other for `then` seconds.
    Measures {
        /// Until the answer.
        first: f64,
        /// After it.
        then: f64,
    },
    /// An error in place of an answer.
    Complains(String),
    /// Nothing at all.
    Ignores,
}

/// What stands behind the messages.
pub trait Device {
    /// Its end of the conversation.
    fn dialogue(&mut self) -> &mut Dialogue;
    /// Carries out an order at the moment at which `world` stands.
    fn obey(&mut self, order: Order, filled: &Filled, world: &mut World) -> Does;
    /// The answer of a measurement whose time is over.
    fn measured(&mut self, world: &World) -> Does;
    /// As after power-on, as far as `*RST` goes.
    fn reset(&mut self, world: &mut World);
    /// Brings the condition registers up to now.
    fn look(&mut self, world: &World);
    /// Seconds until what goes on beside the messages is over; zero when nothing does.
    fn pending(&self, world: &World) -> f64;
}

/// What goes on between two calls.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Waiting {
    #[default]
    Nothing,
    /// For the answer of a measurement.
    Measurement,
    /// Until nothing is pending.
    Idle,
}

/// A stand-in's end of the conversation.
#[derive(Clone, Debug)]
pub struct Dialogue {
    table: Table,
    /// Whether it speaks SCPI.
    standard: bool,
    has_queue: bool,
    in_band: Option<String>,
    identity: String,
    /// Event registers and errors.
    pub status: Status,
    /// Whether it obeys messages that set something.
    pub remote: bool,
    needs_remote: bool,
    /// Whether it answers while it is not under remote control.
    answers_in_local: bool,
    /// Somebody else holds its lock.
    locked: bool,
    /// The lock that is asked for: the answer that means yes, whether nothing goes without
    /// it, and whether it is held now.
    lock: Option<(String, bool, bool)>,
    dress: Dress,
    /// What is left of the message in hand, and the error at its end.
    units: VecDeque<Unit>,
    fault: Option<i32>,
    response: Option<Vec<u8>>,
    /// The response has ended, though its message has not (IEEE 488.2 8.7.11).
    ended: bool,
    waiting: Waiting,
    /// The order whose measurement it waits for.
    measuring: Order,
}

impl Dialogue {
    /// As after power-on.
    pub fn new(profile: &Profile, serial: &str, quirks: &Quirks) -> Self {
        // By SCPI-99 volume 2, 21.8: that is what tells a dialect of SCPI from others.
        let asks = Pattern::new("SYSTem:ERRor[:NEXT]?");
        let standard = profile.errors.ask.as_ref().is_some_and(|ask| asks.is_ok_and(|p| p.matches(ask.trim()).is_some()));
        let (channels, answers_in_local) = match &profile.kind {
            Kind::Supply(supply) => (supply.channels, true),
            Kind::Meter(_) => (1, false),
        };
        let needs_remote = !profile.remote.is_empty() || quirks.needs_remote;
        let mut status = Status::new(profile.errors.depth, channels);
        for _ in 0..quirks.errors_before {
            status.err(codes::UNDEFINED_HEADER, true);
        }
        Self {
            table: Table::new(profile, standard),
            standard,
            has_queue: profile.errors.ask.is_some(),
            in_band: profile.errors.in_band.first().cloned(),
            identity: quirks.identity.clone().unwrap_or_else(|| format!("STAND-IN,{},{serial},1.0", profile.name)),
            status,
            remote: !needs_remote,
            needs_remote,
            locked: quirks.locked,
            lock: profile.lock.as_ref().map(|l| (l.granted.first().cloned().unwrap_or_default(), l.required, false)),
            dress: Dress::new(profile, quirks),
            answers_in_local,
            units: VecDeque::new(),
            fault: None,
            response: None,
            ended: false,
            waiting: Waiting::Nothing,
            measuring: Order::Common(Common::Wait),
        }
    }

    /// Back at its front panel: it obeys nothing before it is told to be under remote control.
    pub fn fall_to_local(&mut self) {
        (self.remote, self.needs_remote) = (false, true);
    }

    /// Whoever spoke has gone: the lock is free again.
    pub fn hang_up(&mut self) {
        if let Some((.., held)) = &mut self.lock {
            *held = false;
        }
    }

    /// Who asks for the lock gets it, unless somebody else has it.
    fn take_lock(&mut self) -> String {
        match &mut self.lock {
            Some((yes, _, held)) if !self.locked => {
                *held = true;
                yes.clone()
            }
            // -1, as those say that answer 1 for yes.
            _ => "-1".into(),
        }
    }

    /// Nothing is set without the lock, where that is needed, or against somebody else's.
    fn is_shut(&self) -> bool {
        self.locked || matches!(self.lock, Some((_, true, false)))
    }

    /// Whether it speaks SCPI, and so has one message and one response at a time.
    pub fn is_standard(&self) -> bool {
        self.standard
    }

    /// Notes an error, as its dialect does.
    pub fn complain(&mut self, code: i32) -> Does {
        self.status.err(code, self.has_queue);
        match (self.has_queue, &self.in_band) {
            (true, _) => Does::Sets,
            // An error in band: the dialect's first pattern, filled in; else silence.
            (false, Some(pattern)) => Does::Complains(pattern.replace('*', &format!("{:02}", code.rem_euclid(100)))),
            (false, None) => Does::Ignores,
        }
    }

    /// After its mains were away.
    pub fn restart(&mut self, profile: &Profile) {
        let channels = profile.supply().map_or(1, |s| s.channels);
        self.status = Status::new(profile.errors.depth, channels);
        self.remote = !self.needs_remote;
        self.forget();
    }

    /// Throws away the message in hand and its response.
    fn forget(&mut self) {
        self.units.clear();
        self.fault = None;
        self.response = None;
        self.ended = false;
        self.waiting = Waiting::Nothing;
    }

    /// Device clear (IEEE 488.2 5.8): nothing is under way any more.
    pub fn clear(&mut self) {
        self.forget();
    }

    /// A new message came before the response to the last was sent (IEEE 488.2 6.3.2.3).
    pub fn interrupt(&mut self) {
        self.forget();
        self.complain(codes::QUERY_INTERRUPTED);
    }

    /// Who spoke wants an answer, and has not ended the question (IEEE 488.2 6.3.2.2).
    pub fn leave_unterminated(&mut self) {
        self.forget();
        self.complain(codes::QUERY_UNTERMINATED);
    }

    /// More came than there is room for.
    pub fn overrun(&mut self) -> Does {
        self.forget();
        self.complain(codes::INPUT_BUFFER_OVERRUN)
    }

    /// Adds to the response.
    fn answer(&mut self, bytes: &[u8]) {
        let response = self.response.get_or_insert_default();
        if !response.is_empty() {
            response.push(b';');
        }
        response.extend_from_slice(bytes);
        if response.len() > LONGEST_RESPONSE {
            // Nobody can read and nobody can be heard (IEEE 488.2 6.3.1.7).
            self.forget();
            self.complain(codes::QUERY_DEADLOCKED);
        }
    }
}

/// What a device does with a message at the moment at which `world` stands.
pub fn handle(device: &mut impl Device, message: &[u8], world: &mut World) -> Does {
    look(device, world);
    let dialogue = device.dialogue();
    dialogue.forget();
    if let Some((order, filled)) = dialogue.table.own(&String::from_utf8_lossy(message)) {
        return begun(device, order, &filled, world);
    }
    if !dialogue.standard && message.trim_ascii_start().first() != Some(&b'*') {
        if message.trim_ascii().is_empty() {
            return Does::Ignores;
        }
        return refused(device, codes::UNDEFINED_HEADER);
    }
    let program = program::parse(message, &LIMITS);
    dialogue.units = program.units.into();
    dialogue.fault = program.fault.map(|fault| fault.code);
    proceed(device, world)
}

/// An order that is a message of its own.
fn begun(device: &mut impl Device, order: Order, filled: &Filled, world: &mut World) -> Does {
    let does = perform(device, order, filled, world);
    if matches!(does, Does::Measures { .. }) {
        let dialogue = device.dialogue();
        (dialogue.waiting, dialogue.measuring) = (Waiting::Measurement, order);
    }
    does
}

/// A meter that speaks unasked begins its next measurement.
pub fn stream(device: &mut impl Device, world: &mut World) -> Does {
    look(device, world);
    device.dialogue().forget();
    begun(device, Order::Meter(order::MeterOrder::Read), &Filled::default(), world)
}

/// What it does when the time of a measurement is over.
pub fn finish(device: &mut impl Device, world: &mut World) -> Does {
    look(device, world);
    if device.dialogue().waiting == Waiting::Measurement {
        // What it does by itself may have taken longer than was known.
        let first = device.pending(world);
        if first > 0.0 {
            return Does::Measures { first, then: 0.0 };
        }
        let measured = device.measured(world);
        let dialogue = device.dialogue();
        match measured {
            Does::Answers(text) => {
                let text = dialogue.dress.put_on(dialogue.measuring, text);
                dialogue.answer(text.as_bytes());
            }
            Does::Sends(bytes) => dialogue.answer(&bytes),
            Does::Sets | Does::Measures { .. } | Does::Complains(_) | Does::Ignores => {}
        }
    }
    device.dialogue().waiting = Waiting::Nothing;
    proceed(device, world)
}

/// The status byte, as it is read beside the messages.
pub fn poll(device: &mut impl Device, world: &World, message_available: bool) -> u8 {
    look(device, world);
    device.dialogue().status.byte(message_available)
}

fn look(device: &mut impl Device, world: &World) {
    device.look(world);
    if device.pending(world) <= 0.0 {
        device.dialogue().status.idle();
    }
}

/// Goes on with the message in hand.
fn proceed(device: &mut impl Device, world: &mut World) -> Does {
    while let Some(unit) = device.dialogue().units.pop_front() {
        let dialogue = device.dialogue();
        if unit.query && dialogue.ended {
            dialogue.units.clear();
            dialogue.complain(codes::QUERY_UNTERMINATED_AFTER_INDEFINITE_RESPONSE);
            break;
        }
        let (order, filled) = match dialogue.table.understand(&unit) {
            Ok(understood) => understood,
            Err(code) => {
                if let Some(does) = failed(device, code) {
                    return does;
                }
                continue;
            }
        };
        if matches!(order, Order::Common(Common::Wait | Common::AskComplete)) {
            let first = device.pending(world);
            if first > 0.0 {
                let dialogue = device.dialogue();
                dialogue.units.push_front(unit);
                dialogue.waiting = Waiting::Idle;
                return Does::Measures { first, then: 0.0 };
            }
        }
        match perform(device, order, &filled, world) {
            Does::Sets | Does::Ignores => {}
            Does::Answers(text) => {
                let dialogue = device.dialogue();
                dialogue.answer(text.as_bytes());
                // Arbitrary ASCII ends only where the message does (IEEE 488.2 8.7.11, 10.14).
                dialogue.ended |= order == Order::Common(Common::Identity);
            }
            Does::Sends(bytes) => device.dialogue().answer(&bytes),
            Does::Measures { first, then } => {
                let dialogue = device.dialogue();
                (dialogue.waiting, dialogue.measuring) = (Waiting::Measurement, order);
                return Does::Measures { first, then };
            }
            Does::Complains(text) => {
                device.dialogue().forget();
                return Does::Complains(text);
            }
        }
    }
    let dialogue = device.dialogue();
    if let Some(code) = dialogue.fault.take()
        && let Some(does) = failed(device, code)
    {
        return does;
    }
    match device.dialogue().response.take() {
        Some(bytes) => String::from_utf8(bytes).map_or_else(|error| Does::Sends(error.into_bytes()), Does::Answers),
        None => Does::Sets,
    }
}

/// A unit that cannot be carried out. A command error ends its message.
fn failed(device: &mut impl Device, code: i32) -> Option<Does> {
    let does = refused(device, code);
    let dialogue = device.dialogue();
    if (-199..=-100).contains(&code) {
        dialogue.units.clear();
        dialogue.fault = None;
    }
    matches!(does, Does::Complains(_) | Does::Ignores).then(|| {
        dialogue.forget();
        does
    })
}

fn refused(device: &mut impl Device, code: i32) -> Does {
    let dialogue = device.dialogue();
    let hears = dialogue.remote || dialogue.answers_in_local || code != codes::UNDEFINED_HEADER;
    dialogue.complain(if hears { code } else { codes::INVALID_WHILE_IN_LOCAL })
}

fn perform(device: &mut impl Device, order: Order, filled: &Filled, world: &mut World) -> Does {
    let dialogue = device.dialogue();
    match order {
        Order::Common(order) => common::perform(device, order, filled, world),
        Order::Remote => {
            dialogue.remote = true;
            Does::Sets
        }
        Order::Local => {
            dialogue.remote = !dialogue.needs_remote;
            Does::Sets
        }
        Order::TakeLock => Does::Answers(dialogue.take_lock()),
        Order::FreeLock => {
            dialogue.hang_up();
            Does::Sets
        }
        _ if order.sets() && !dialogue.remote => dialogue.complain(codes::INVALID_WHILE_IN_LOCAL),
        _ if order.sets() && dialogue.is_shut() => dialogue.complain(codes::COMMAND_PROTECTED),
        _ => match device.obey(order, filled, world) {
            Does::Answers(text) if order.is_number() => Does::Answers(device.dialogue().dress.put_on(order, text)),
            does => does,
        },
    }
}
