//! A minimal supply on the independent parser: it notes which command came,
//! with which value.
//!
//! SOURce is not a default node here. When a default node was left out, that
//! crate goes on from inside it, while ours goes on from what was written; the
//! standard's examples do not decide between them, so drivers spell it out.

use scpi::error::{Error, ErrorQueue, Result};
use scpi::parser::expression::channel_list::{ChannelList, Token as Channel};
use scpi::parser::format::{Arbitrary, Binary, Hex, Octal};
use scpi::tree::prelude::*;
use scpi::units::uom::si::electric_current::ampere;
use scpi::units::uom::si::electric_potential::volt;
use scpi::units::uom::si::electrical_resistance::ohm;
use scpi::units::uom::si::f64::{ElectricCurrent, ElectricPotential, ElectricalResistance, Frequency, Time};
use scpi::units::uom::si::frequency::hertz;
use scpi::units::uom::si::time::second;
use scpi::{Branch, Leaf, Root};
use scpi_contrib::ieee488::prelude::*;
use scpi_contrib::scpi1999::prelude::*;
use scpi_contrib::{
    ieee488_cls, ieee488_ese, ieee488_esr, ieee488_idn, ieee488_opc, ieee488_rst, ieee488_sre, ieee488_stb, ieee488_tst,
    ieee488_wai, scpi_status, scpi_system,
};
use std::collections::VecDeque;

/// The commands that are noted, with the pattern that our side has for each.
pub const COMMANDS: [(&str, &str); 5] = [
    ("SOUR:VOLT", "SOURce:VOLTage[:LEVel]"),
    ("SOUR:VOLT:PROT", "SOURce:VOLTage:PROTection"),
    ("SOUR:CURR", "SOURce:CURRent"),
    ("OUTP", "OUTPut[:STATe]"),
    ("NUMB", "NUMBer"),
];

#[derive(Default)]
pub struct Supply {
    pub calls: Vec<&'static str>,
    pub numbers: Vec<f64>,
    pub strings: Vec<String>,
    pub blocks: Vec<Vec<u8>>,
    pub channels: Vec<usize>,
    pub on: bool,
    pub level: f64,
    pub name: String,
    pub data: Vec<u8>,
    pub count: i64,
    pub esr: u8,
    pub ese: u8,
    pub sre: u8,
    pub operation: EventRegister,
    pub questionable: EventRegister,
    pub errors: VecDeque<Error>,
}

/// Runs a message that the device has to take.
pub fn tell(supply: &mut Supply, message: &str) {
    run(supply, message.as_bytes()).unwrap_or_else(|e| panic!("{message}: {e}"));
}

/// Runs a message that the device has to refuse.
pub fn refuse(supply: &mut Supply, message: &str) {
    run(supply, message.as_bytes()).expect_err(message);
}

/// Runs a query; the answer has its newline.
pub fn ask(supply: &mut Supply, message: &str) -> Vec<u8> {
    run(supply, message.as_bytes()).unwrap_or_else(|e| panic!("{message}: {e}"))
}

pub fn run(supply: &mut Supply, message: &[u8]) -> Result<Vec<u8>> {
    let mut response = Vec::new();
    TREE.run(message, supply, &mut Context::default(), &mut response)?;
    Ok(response)
}

/// A command that notes its name and one value.
struct Note(&'static str, fn(&mut Supply, &mut Parameters) -> Result<()>, fn(&Supply, ResponseUnit) -> Result<()>);

impl Command<Supply> for Note {
    fn event(&self, supply: &mut Supply, _: &mut Context, mut parameters: Parameters) -> Result<()> {
        supply.calls.push(self.0);
        (self.1)(supply, &mut parameters)
    }
    fn query(&self, supply: &mut Supply, _: &mut Context, _: Parameters, response: ResponseUnit) -> Result<()> {
        supply.calls.push(self.0);
        (self.2)(supply, response)
    }
}

fn level(supply: &Supply, mut response: ResponseUnit) -> Result<()> {
    response.data(supply.level).finish()
}

fn volts(supply: &mut Supply, parameters: &mut Parameters) -> Result<()> {
    supply.numbers.push(parameters.next_data::<ElectricPotential>()?.get::<volt>());
    Ok(())
}

const VOLTAGE: Note = Note("SOUR:VOLT", volts, level);
const PROTECTION: Note = Note("SOUR:VOLT:PROT", volts, level);
const CURRENT: Note = Note(
    "SOUR:CURR",
    |supply, parameters| {
        supply.numbers.push(parameters.next_data::<ElectricCurrent>()?.get::<ampere>());
        Ok(())
    },
    level,
);
const LOAD: Note = Note(
    "LOAD",
    |supply, parameters| {
        supply.numbers.push(parameters.next_data::<ElectricalResistance>()?.get::<ohm>());
        Ok(())
    },
    level,
);
const RATE: Note = Note(
    "RATE",
    |supply, parameters| {
        supply.numbers.push(parameters.next_data::<Frequency>()?.get::<hertz>());
        Ok(())
    },
    level,
);
const HOLD: Note = Note(
    "HOLD",
    |supply, parameters| {
        supply.numbers.push(parameters.next_data::<Time>()?.get::<second>());
        Ok(())
    },
    level,
);
const OUTPUT: Note = Note(
    "OUTP",
    |supply, parameters| {
        supply.on = parameters.next_data()?;
        Ok(())
    },
    |supply, mut response| response.data(supply.on).finish(),
);
const NUMBER: Note = Note(
    "NUMB",
    |supply, parameters| {
        supply.numbers.push(parameters.next_data()?);
        Ok(())
    },
    level,
);
const NAME: Note = Note(
    "NAME",
    |supply, parameters| {
        let text: &str = parameters.next_data()?;
        supply.strings.push(text.to_owned());
        Ok(())
    },
    level,
);
const DATA: Note = Note(
    "DATA",
    |supply, parameters| {
        let Arbitrary(bytes) = parameters.next_data()?;
        supply.blocks.push(bytes.to_vec());
        Ok(())
    },
    level,
);
const CHANNELS: Note = Note(
    "CHAN",
    |supply, parameters| {
        for channel in parameters.next_data::<ChannelList>()? {
            match channel? {
                Channel::ChannelSpec(spec) => supply.channels.push(spec.try_into()?),
                _ => return Err(ErrorCode::InvalidExpression.into()),
            }
        }
        Ok(())
    },
    level,
);
/// Everything that a response may hold.
const ALL: Note = Note(
    "ALL",
    |_, _| Ok(()),
    |supply, mut response| {
        response.data(supply.name.as_bytes()).data(Arbitrary(&supply.data)).data(supply.count);
        let bits = supply.count as u64;
        response.data(Hex(bits)).data(Octal(bits)).data(Binary(bits)).finish()
    },
);

const TREE: Node<Supply> = Root![
    ieee488_cls!(),
    ieee488_ese!(),
    ieee488_esr!(),
    ieee488_idn!(b"ORCHARD WORKS", b"FROST", b"0", b"0"),
    ieee488_opc!(),
    ieee488_rst!(),
    ieee488_sre!(),
    ieee488_stb!(),
    ieee488_tst!(),
    ieee488_wai!(),
    scpi_status!(),
    scpi_system!(),
    Branch![b"SOURce";
        Branch![b"VOLTage"; Leaf!(default b"LEVel" => &VOLTAGE), Leaf!(b"PROTection" => &PROTECTION)],
        Leaf!(b"CURRent" => &CURRENT)
    ],
    Branch![b"OUTPut"; Leaf!(default b"STATe" => &OUTPUT)],
    Leaf!(b"NUMBer" => &NUMBER),
    Leaf!(b"NAME" => &NAME),
    Leaf!(b"DATA" => &DATA),
    Leaf!(b"CHANnels" => &CHANNELS),
    Leaf!(b"LOAD" => &LOAD),
    Leaf!(b"RATE" => &RATE),
    Leaf!(b"HOLD" => &HOLD),
    Leaf!(b"ALL" => &ALL)
];

impl Device for Supply {
    fn handle_error(&mut self, error: Error) {
        self.push_error(error);
    }
}

impl IEEE4882 for Supply {
    fn stb(&self) -> u8 {
        self.scpi_stb()
    }
    fn sre(&self) -> u8 {
        self.sre
    }
    fn set_sre(&mut self, value: u8) {
        self.sre = value;
    }
    fn esr(&self) -> u8 {
        self.esr
    }
    fn set_esr(&mut self, value: u8) {
        self.esr = value;
    }
    fn ese(&self) -> u8 {
        self.ese
    }
    fn set_ese(&mut self, value: u8) {
        self.ese = value;
    }
    fn tst(&mut self) -> Result<()> {
        Ok(())
    }
    fn rst(&mut self) -> Result<()> {
        Ok(())
    }
    fn cls(&mut self) -> Result<()> {
        self.scpi_cls()
    }
    fn opc(&mut self) -> Result<()> {
        self.scpi_opc()
    }
}

impl GetEventRegister<Operation> for Supply {
    fn register(&self) -> &EventRegister {
        &self.operation
    }
    fn register_mut(&mut self) -> &mut EventRegister {
        &mut self.operation
    }
}

impl GetEventRegister<Questionable> for Supply {
    fn register(&self) -> &EventRegister {
        &self.questionable
    }
    fn register_mut(&mut self) -> &mut EventRegister {
        &mut self.questionable
    }
}

impl ErrorQueue for Supply {
    fn push_back_error(&mut self, error: Error) {
        self.errors.push_back(error);
    }
    fn pop_front_error(&mut self) -> Option<Error> {
        self.errors.pop_front()
    }
    fn num_errors(&self) -> usize {
        self.errors.len()
    }
    fn clear_errors(&mut self) {
        self.errors.clear();
    }
}

impl ScpiDevice for Supply {}
