//! What a message asks of a stand-in, whatever the words were.
//!
//! Holds always: an order and what fills it are all that a device gets to see of a
//! message.

use crate::scpi::program::Numeric;

pub use crate::rehearsal::world::Over;

/// A number that a supply keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Item {
    /// The set voltage.
    Voltage,
    /// The current limit.
    Current,
    /// The level of over-voltage protection.
    OverVoltage,
    /// The delay of over-current protection.
    Delay,
    /// The time of its own timer.
    Timer,
}

/// What a meter measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Function {
    /// Current.
    Current,
    /// Voltage.
    Voltage,
}

/// What a message asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// What every instrument of IEEE 488.2 and SCPI knows.
    Common(Common),
    /// Remote control.
    Remote,
    /// Back to the front panel.
    Local,
    /// The lock is asked for.
    TakeLock,
    /// The lock is let go of.
    FreeLock,
    /// A supply's.
    Supply(SupplyOrder),
    /// A meter's.
    Meter(MeterOrder),
}

/// What is asked of a supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SupplyOrder {
    /// Sets a number.
    Set(Item),
    /// Asks for it.
    Ask(Item),
    /// Sets voltage and limit.
    SetBoth,
    /// Switches on or off, as the dialect's own message does.
    Switch(bool),
    /// Switches on or off, as the parameter says.
    State,
    /// Every output off.
    AllOff,
    /// Asks for the output's state, in the dialect's words.
    AskOutput,
    /// The same, as 0 or 1.
    AskState,
    /// Constant voltage or constant current.
    AskMode,
    /// A protection is enabled, or as the parameter says.
    Enable(Over),
    /// Whether it is.
    AskEnabled(Over),
    /// Whether it has tripped, in the dialect's words.
    AskTripped(Over),
    /// Clears a trip.
    Clear(Over),
    /// Chooses the channel.
    Select,
    /// Which is chosen.
    AskSelected,
    /// Reads back.
    Measure {
        /// The voltage.
        voltage: bool,
        /// The current.
        current: bool,
    },
    /// Uncouples the channels.
    Uncouple,
    /// Whether they are coupled.
    AskCoupling,
    /// The output shall stay off when the mains come back.
    StayOff,
    /// What it does then.
    AskPowerOn,
    /// Where it senses.
    AskSense,
    /// Its timer is armed.
    Arm,
    /// Its timer is disarmed.
    Disarm,
    /// Its timer is cleared.
    ClearTimer,
    /// What class of instrument it is.
    Capability,
}

/// What is asked of a meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeterOrder {
    /// Function and range, everything else as after power-on.
    Configure(Function),
    /// What is configured.
    AskConfigured,
    /// The function alone.
    Choose(Function),
    /// The function alone, as the parameter says.
    ChooseNamed,
    /// Which function.
    AskFunction,
    /// The range of a function, or of the one in force.
    Range(Option<Function>),
    /// Which range.
    AskRange(Function),
    /// The rate.
    Rate,
    /// Which rate.
    AskRate,
    /// Starts a measurement.
    Initiate,
    /// Ends one.
    Abort,
    /// The dialect's message that starts one.
    Trigger,
    /// Measures and answers.
    Read,
    /// The dialect's message that asks for what its trigger has started.
    Collect,
    /// Answers with what was measured last.
    Fetch,
    /// Measures with the settings of power-on.
    Measure(Function),
    /// Something else is set.
    Set(Setting),
    /// How it stands.
    Ask(Setting),
}

/// What a meter is set to beside function, range and rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setting {
    /// Whether it chooses the range of a function by itself.
    AutoRange(Function),
    /// Whether it looks at its own zero.
    Zero,
    /// Whether it measures all the time.
    Continuous,
    /// Readings for a trigger.
    Samples,
    /// Time from a trigger to the first of them.
    Delay,
    /// How they are answered.
    Format,
}

/// The messages of IEEE 488.2 10 and SCPI-99 4.2.1, with a few beside them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Common {
    /// `*CLS`
    Clear,
    /// `*ESE`
    EventEnable,
    /// `*ESE?`
    AskEventEnable,
    /// `*ESR?`
    AskEvents,
    /// `*IDN?`
    Identity,
    /// `*OPC`
    Complete,
    /// `*OPC?`
    AskComplete,
    /// `*RST`
    Reset,
    /// `*SRE`
    ServiceEnable,
    /// `*SRE?`
    AskServiceEnable,
    /// `*STB?`
    AskStatus,
    /// `*TST?`
    Test,
    /// `*WAI`
    Wait,
    /// `SYSTem:ERRor[:NEXT]?`
    NextError,
    /// `SYSTem:ERRor:COUNt?`
    CountErrors,
    /// `SYSTem:VERSion?`
    Version,
    /// `STATus:PRESet`
    Preset,
    /// Something of a status register is asked for.
    Ask(Group, Part),
    /// Something of a status register is set.
    Set(Group, Part),
}

/// A group of status registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// `STATus:OPERation`
    Operation,
    /// `STATus:QUEStionable`
    Questionable,
    /// `STATus:QUEStionable:INSTrument`
    Instruments,
    /// `STATus:QUEStionable:INSTrument:ISUMmary<n>`
    Channel,
}

/// One register of a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// As it is now.
    Condition,
    /// What has happened.
    Event,
    /// What counts for the summary.
    Enable,
    /// Which rising bits are events.
    Rising,
    /// Which falling bits are.
    Falling,
}

/// What stood in a message beside its words.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filled {
    /// The channels that are meant; empty: the one that is chosen.
    pub channels: Vec<u32>,
    /// The first number, or a word in its place.
    pub first: Option<Numeric>,
    /// The second number.
    pub second: Option<Numeric>,
    /// A word: a range or a rate of the dialect, a function's name.
    pub word: Option<String>,
    /// A Boolean.
    pub flag: Option<bool>,
}

impl Order {
    /// Whether it changes something, which needs remote control.
    pub fn sets(self) -> bool {
        use SupplyOrder as S;
        match self {
            Order::Common(_) | Order::Remote | Order::Local | Order::TakeLock | Order::FreeLock => false,
            Order::Supply(order) => !matches!(
                order,
                S::Ask(_)
                    | S::AskOutput
                    | S::AskState
                    | S::AskMode
                    | S::AskEnabled(_)
                    | S::AskTripped(_)
                    | S::AskSelected
                    | S::Measure { .. }
                    | S::AskCoupling
                    | S::AskPowerOn
                    | S::AskSense
                    | S::Capability
            ),
            // A meter that is not under remote control answers nothing but who it is.
            Order::Meter(_) => true,
        }
    }

    /// Whether its answer is a number with a unit.
    pub fn is_number(self) -> bool {
        use MeterOrder as M;
        matches!(
            self,
            Order::Supply(SupplyOrder::Ask(_) | SupplyOrder::Measure { .. })
                | Order::Meter(M::Read | M::Collect | M::Fetch | M::Measure(_))
        )
    }
}
