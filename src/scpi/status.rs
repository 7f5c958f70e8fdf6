//! The status registers: bytes and words whose bits have names.
//!
//! Status byte and standard event status register as in IEEE 488.2 chapter 11;
//! OPERation and QUEStionable as in SCPI-99 volume 1 chapter 9 (names of the
//! questionable bits other than 0, 1 and 4 from memory). Which bit an instrument
//! uses for constant current differs by model: that belongs to its profile.
//! Holds always: a reply that does not fit the register is none.

use super::response::Datum;

macro_rules! register {
    ($(#[$doc:meta])* $name:ident($bits:ty) highest $highest:expr; $($(#[$bit_doc:meta])* $bit:ident $at:literal $text:literal;)*) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
        pub struct $name(pub $bits);

        impl $name {
            $($(#[$bit_doc])* pub const $bit: Self = Self(1 << $at);)*

            /// Whether every bit of `other` is set here.
            pub fn contains(self, other: Self) -> bool {
                self.0 & other.0 == other.0
            }

            /// This register with the bits of `other` set.
            #[must_use]
            pub fn with(self, other: Self) -> Self {
                Self(self.0 | other.0)
            }

            /// This register with the bits of `other` cleared.
            #[must_use]
            pub fn without(self, other: Self) -> Self {
                Self(self.0 & !other.0)
            }

            /// The register from the answer to its query: a whole number that fits.
            pub fn read(datum: &Datum) -> Option<Self> {
                let value = <$bits>::try_from(datum.register()?).ok()?;
                (value <= $highest).then_some(Self(value))
            }

            /// The names of the bits that are set, lowest first; a bit without a name is left out.
            pub fn names(self) -> impl Iterator<Item = &'static str> {
                [$(($name::$bit, $text)),*].into_iter().filter(move |(bit, _)| self.contains(*bit)).map(|(_, name)| name)
            }
        }
    };
}

register! {
    /// The status byte, the answer to `*STB?` (IEEE 488.2 11.2; SCPI-99 9.1 for bits 2, 3 and 7).
    StatusByte(u8) highest u8::MAX;
    /// The error queue is not empty.
    ERROR_QUEUE 2 "error queue not empty";
    /// A bit of the questionable register that is enabled is set.
    QUESTIONABLE 3 "questionable";
    /// A message is available.
    MESSAGE_AVAILABLE 4 "message available";
    /// A bit of the event status register that is enabled is set.
    EVENT_STATUS 5 "event status";
    /// Master summary (`*STB?`); request for service when polled.
    MASTER_SUMMARY 6 "master summary";
    /// A bit of the operation register that is enabled is set.
    OPERATION 7 "operation";
}

register! {
    /// The standard event status register, the answer to `*ESR?` (IEEE 488.2 11.5.1).
    EventStatus(u8) highest u8::MAX;
    /// Operation complete.
    OPERATION_COMPLETE 0 "operation complete";
    /// Request control.
    REQUEST_CONTROL 1 "request control";
    /// Query error.
    QUERY_ERROR 2 "query error";
    /// Device-dependent error.
    DEVICE_ERROR 3 "device-dependent error";
    /// Execution error.
    EXECUTION_ERROR 4 "execution error";
    /// Command error.
    COMMAND_ERROR 5 "command error";
    /// User request.
    USER_REQUEST 6 "user request";
    /// Power on: the instrument was switched on since the register was last read.
    POWER_ON 7 "power on";
}

register! {
    /// The operation status register (SCPI-99 9.3). Bit 15 is never used.
    Operation(u16) highest 0x7fff;
    /// Calibrating.
    CALIBRATING 0 "calibrating";
    /// Settling.
    SETTLING 1 "settling";
    /// Ranging.
    RANGING 2 "ranging";
    /// Sweeping.
    SWEEPING 3 "sweeping";
    /// Measuring.
    MEASURING 4 "measuring";
    /// Waiting for a trigger.
    WAITING_FOR_TRIGGER 5 "waiting for trigger";
    /// Waiting to be armed.
    WAITING_FOR_ARM 6 "waiting for arm";
    /// Correcting.
    CORRECTING 7 "correcting";
    /// Summary of the instruments in a multiple instrument.
    INSTRUMENT_SUMMARY 13 "instrument summary";
    /// A program is running.
    PROGRAM_RUNNING 14 "program running";
}

register! {
    /// The questionable status register (SCPI-99 9.4): what a set bit makes doubtful. Bit 15 is
    /// never used.
    Questionable(u16) highest 0x7fff;
    /// The voltage is not regulated.
    VOLTAGE 0 "voltage";
    /// The current is not regulated.
    CURRENT 1 "current";
    /// Time.
    TIME 2 "time";
    /// Power.
    POWER 3 "power";
    /// Temperature.
    TEMPERATURE 4 "temperature";
    /// Frequency.
    FREQUENCY 5 "frequency";
    /// Phase.
    PHASE 6 "phase";
    /// Modulation.
    MODULATION 7 "modulation";
    /// Calibration.
    CALIBRATION 8 "calibration";
    /// Summary of the instruments in a multiple instrument.
    INSTRUMENT_SUMMARY 13 "instrument summary";
    /// A command was taken in a way that may surprise.
    COMMAND_WARNING 14 "command warning";
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scpi::response::parse_one;

    #[test]
    fn bits_have_the_weights_of_the_standard() {
        // CHECKS 1.4: IEEE 488.2 chapter 11, SCPI-99 chapter 9
        assert_eq!((StatusByte::ERROR_QUEUE.0, StatusByte::QUESTIONABLE.0, StatusByte::MESSAGE_AVAILABLE.0), (4, 8, 16));
        assert_eq!((StatusByte::EVENT_STATUS.0, StatusByte::MASTER_SUMMARY.0, StatusByte::OPERATION.0), (32, 64, 128));
        let esr = [
            EventStatus::OPERATION_COMPLETE,
            EventStatus::REQUEST_CONTROL,
            EventStatus::QUERY_ERROR,
            EventStatus::DEVICE_ERROR,
            EventStatus::EXECUTION_ERROR,
            EventStatus::COMMAND_ERROR,
            EventStatus::USER_REQUEST,
            EventStatus::POWER_ON,
        ];
        assert_eq!(esr.map(|bit| bit.0), [1, 2, 4, 8, 16, 32, 64, 128]);
        let operation = [
            Operation::CALIBRATING,
            Operation::SETTLING,
            Operation::RANGING,
            Operation::SWEEPING,
            Operation::MEASURING,
            Operation::WAITING_FOR_TRIGGER,
            Operation::WAITING_FOR_ARM,
            Operation::CORRECTING,
        ];
        assert_eq!(operation.map(|bit| bit.0), [1, 2, 4, 8, 16, 32, 64, 128]);
        assert_eq!((Operation::INSTRUMENT_SUMMARY.0, Operation::PROGRAM_RUNNING.0), (8192, 16384));
        // bits 2, 3, 5 to 8 from memory
        let questionable = [
            Questionable::VOLTAGE,
            Questionable::CURRENT,
            Questionable::TIME,
            Questionable::POWER,
            Questionable::TEMPERATURE,
            Questionable::FREQUENCY,
            Questionable::PHASE,
            Questionable::MODULATION,
            Questionable::CALIBRATION,
        ];
        assert_eq!(questionable.map(|bit| bit.0), [1, 2, 4, 8, 16, 32, 64, 128, 256]);
        assert_eq!((Questionable::INSTRUMENT_SUMMARY.0, Questionable::COMMAND_WARNING.0), (8192, 16384));
    }

    #[test]
    fn a_bad_command_with_operation_complete_reads_33() {
        // CHECKS 1.4, worked example
        let register = EventStatus::read(&parse_one(b"33").unwrap()).unwrap();
        assert_eq!(register, EventStatus::COMMAND_ERROR.with(EventStatus::OPERATION_COMPLETE));
        assert_eq!(register.names().collect::<Vec<_>>(), ["operation complete", "command error"]);
        assert_eq!(register.without(EventStatus::COMMAND_ERROR).0, 1);
    }

    #[test]
    fn what_does_not_fit_is_no_register() {
        for reply in ["256", "-1", "33.5", "9.91E37", "CV", "#H100"] {
            assert_eq!(EventStatus::read(&parse_one(reply.as_bytes()).unwrap()), None, "{reply}");
        }
        assert_eq!(Operation::read(&parse_one(b"32768").unwrap()), None);
        assert_eq!(Operation::read(&parse_one(b"+256").unwrap()), Some(Operation(256)));
        assert_eq!(EventStatus::read(&parse_one(b"#H21").unwrap()), Some(EventStatus(33)));
    }
}
