//! The headers that the standards have for what an instrument can do, beside the
//! spelling of its dialect: IEEE 488.2 10, SCPI-99 volume 2 and volume 4 (the class
//! of DC supplies; option words from memory).

use super::order::{Common, Function, Group, Item, MeterOrder, Order, Over, Part, Setting, SupplyOrder};
use super::slot::Slot;
use crate::instrument::profile::{MeterProfile, SupplyProfile};
use crate::units::Unit;

/// A header, what may stand behind it, and what it asks for.
pub type Row = (String, Vec<Slot>, Order);

fn row(header: &str, slots: &[Slot], order: Order) -> Row {
    (header.to_owned(), slots.to_vec(), order)
}

/// The thirteen of IEEE 488.2, which every dialect has.
pub fn mandated() -> Vec<Row> {
    use Common as C;
    let bits = [Slot::Bits];
    [
        ("*CLS", &[][..], C::Clear),
        ("*ESE", &bits, C::EventEnable),
        ("*ESE?", &[], C::AskEventEnable),
        ("*ESR?", &[], C::AskEvents),
        ("*IDN?", &[], C::Identity),
        ("*OPC", &[], C::Complete),
        ("*OPC?", &[], C::AskComplete),
        ("*RST", &[], C::Reset),
        ("*SRE", &bits, C::ServiceEnable),
        ("*SRE?", &[], C::AskServiceEnable),
        ("*STB?", &[], C::AskStatus),
        ("*TST?", &[], C::Test),
        ("*WAI", &[], C::Wait),
    ]
    .into_iter()
    .map(|(header, slots, order)| row(header, slots, Order::Common(order)))
    .collect()
}

/// What SCPI requires (SCPI-99 volume 1, 4.2.1), and the rest of the registers.
pub fn required(channels: u32) -> Vec<Row> {
    use Common as C;
    let mut rows = vec![
        row("SYSTem:ERRor[:NEXT]?", &[], Order::Common(C::NextError)),
        row("SYSTem:ERRor:COUNt?", &[], Order::Common(C::CountErrors)),
        row("SYSTem:VERSion?", &[], Order::Common(C::Version)),
        row("STATus:PRESet", &[], Order::Common(C::Preset)),
    ];
    let mut groups = vec![("STATus:OPERation", Group::Operation), ("STATus:QUEStionable", Group::Questionable)];
    if channels > 1 {
        groups.push(("STATus:QUEStionable:INSTrument", Group::Instruments));
        groups.push(("STATus:QUEStionable:INSTrument:ISUMmary#", Group::Channel));
    }
    for (path, group) in groups {
        for (name, part) in [
            ("[:EVENt]", Part::Event),
            (":CONDition", Part::Condition),
            (":ENABle", Part::Enable),
            (":PTRansition", Part::Rising),
            (":NTRansition", Part::Falling),
        ] {
            rows.push(row(&format!("{path}{name}?"), &[], Order::Common(C::Ask(group, part))));
            if !matches!(part, Part::Event | Part::Condition) {
                rows.push(row(&format!("{path}{name}"), &[Slot::Bits], Order::Common(C::Set(group, part))));
            }
        }
    }
    rows
}

/// Those of a supply.
pub fn supply(profile: &SupplyProfile) -> Vec<Row> {
    use SupplyOrder as S;
    let mut rows = Vec::new();
    let mut add = |header: &str, slots: &[Slot], order: S| rows.push(row(header, slots, Order::Supply(order)));
    let list = [Slot::Channels];
    let flag = [Slot::Flag, Slot::Channels];
    let ask = [Slot::Extreme, Slot::Channels];
    let volts = [Slot::First(Unit::Volt), Slot::Channels];
    let level = "[:LEVel][:IMMediate][:AMPLitude]";
    for (name, unit, item) in [("VOLTage", Unit::Volt, Item::Voltage), ("CURRent", Unit::Ampere, Item::Current)] {
        add(&format!("[SOURce:]{name}{level}"), &[Slot::First(unit), Slot::Channels], S::Set(item));
        add(&format!("[SOURce:]{name}{level}?"), &ask, S::Ask(item));
    }
    for (protection, name, over) in
        [(&profile.over_voltage, "VOLTage", Over::Voltage), (&profile.over_current, "CURRent", Over::Current)]
    {
        let Some(protection) = protection else { continue };
        let path = format!("[SOURce:]{name}:PROTection");
        if over == Over::Voltage && protection.level.is_some() {
            add(&format!("{path}[:LEVel]"), &volts, S::Set(Item::OverVoltage));
            add(&format!("{path}[:LEVel]?"), &ask, S::Ask(Item::OverVoltage));
        }
        if over == Over::Current && protection.delay.is_some() {
            add(&format!("{path}:DELay"), &[Slot::First(Unit::Second), Slot::Channels], S::Set(Item::Delay));
            add(&format!("{path}:DELay?"), &ask, S::Ask(Item::Delay));
        }
        add(&format!("{path}:STATe"), &flag, S::Enable(over));
        add(&format!("{path}:STATe?"), &list, S::AskEnabled(over));
        add(&format!("{path}:TRIPped?"), &list, S::AskTripped(over));
        add(&format!("{path}:CLEar"), &list, S::Clear(over));
        add("OUTPut:PROTection:CLEar", &list, S::Clear(over));
    }
    add("OUTPut[:STATe]", &flag, S::State);
    add("OUTPut[:STATe]?", &list, S::AskState);
    for (name, voltage) in [("VOLTage", true), ("CURRent", false)] {
        add(&format!("MEASure[:SCALar]:{name}[:DC]?"), &list, S::Measure { voltage, current: !voltage });
    }
    if profile.channels > 1 {
        add("INSTrument:NSELect", &[Slot::Channel], S::Select);
        add("INSTrument:NSELect?", &[], S::AskSelected);
    }
    add("SYSTem:CAPability?", &[], S::Capability);
    rows
}

/// Those of a meter.
pub fn meter(profile: &MeterProfile) -> Vec<Row> {
    use MeterOrder as M;
    let mut rows = Vec::new();
    let mut add = |header: &str, slots: &[Slot], order: M| rows.push(row(header, slots, Order::Meter(order)));
    for (has, name, unit, function) in [
        (&profile.current, "CURRent[:DC]", Unit::Ampere, Function::Current),
        (&profile.voltage, "VOLTage[:DC]", Unit::Volt, Function::Voltage),
    ] {
        if has.is_none() {
            continue;
        }
        let range = |needed| Slot::Choice { unit: Some(unit), needed };
        // The second parameter is the resolution; what it asks for is the rate's affair.
        let expected = [range(false), Slot::SecondIfAny(unit)];
        add(&format!("CONFigure[:SCALar]:{name}"), &expected, M::Configure(function));
        add(&format!("MEASure[:SCALar]:{name}?"), &expected, M::Measure(function));
        add(&format!("[SENSe:]{name}:RANGe[:UPPer]"), &[range(true)], M::Range(Some(function)));
        add(&format!("[SENSe:]{name}:RANGe[:UPPer]?"), &[Slot::Extreme], M::AskRange(function));
        add(&format!("[SENSe:]{name}:NPLCycles"), &[Slot::Choice { unit: None, needed: true }], M::Rate);
        add(&format!("[SENSe:]{name}:NPLCycles?"), &[Slot::Extreme], M::AskRate);
    }
    add("CONFigure?", &[], M::AskConfigured);
    add("[SENSe:]FUNCtion[:ON]", &[Slot::Text], M::ChooseNamed);
    add("[SENSe:]FUNCtion[:ON]?", &[], M::AskFunction);
    add("INITiate[:IMMediate]", &[], M::Initiate);
    add("ABORt", &[], M::Abort);
    add("READ?", &[], M::Read);
    add("FETCh?", &[], M::Fetch);
    let word = Slot::Choice { unit: None, needed: true };
    let length = Slot::Choice { unit: None, needed: false };
    let mut keeps = |header: &str, slots: &[Slot], setting: Setting| {
        add(header, slots, M::Set(setting));
        add(&format!("{header}?"), &[], M::Ask(setting));
    };
    for (has, name, function) in
        [(&profile.current, "CURRent[:DC]", Function::Current), (&profile.voltage, "VOLTage[:DC]", Function::Voltage)]
    {
        if has.is_some() {
            keeps(&format!("[SENSe:]{name}:RANGe:AUTO"), std::slice::from_ref(&word), Setting::AutoRange(function));
        }
    }
    keeps("CALibration:ZERO:AUTO", std::slice::from_ref(&word), Setting::Zero);
    keeps("INITiate:CONTinuous", std::slice::from_ref(&word), Setting::Continuous);
    keeps("SAMPle:COUNt", std::slice::from_ref(&word), Setting::Samples);
    keeps("TRIGger[:SEQuence]:DELay", &[Slot::First(Unit::Second)], Setting::Delay);
    keeps("FORMat[:DATA]", &[word, length], Setting::Format);
    rows
}
