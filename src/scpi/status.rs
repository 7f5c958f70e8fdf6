//! The status registers (IEEE 488.2 11, SCPI-1999 9) as named bits.

macro_rules! register {
    ($(#[$doc:meta])* $name:ident: $inner:ty { $($(#[$bit_doc:meta])* $bit:ident = $value:expr;)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
        pub struct $name(pub $inner);

        impl $name {
            $($(#[$bit_doc])* pub const $bit: Self = Self($value);)*

            /// Whether every bit of `other` is set.
            pub fn has(self, other: Self) -> bool {
                self.0 & other.0 == other.0
            }

            /// With the bits of `other` set too.
            #[must_use]
            pub fn with(self, other: Self) -> Self {
                Self(self.0 | other.0)
            }
        }
    };
}

register! {
    /// The status byte (`*STB?`; IEEE 488.2 11.2).
    StatusByte: u8 {
        /// The error queue is not empty (SCPI-1999 9.1).
        ERROR_QUEUE = 1 << 2;
        /// Summary of the questionable status.
        QUESTIONABLE = 1 << 3;
        /// A message is available.
        MESSAGE_AVAILABLE = 1 << 4;
        /// Summary of the event status register.
        EVENT_STATUS = 1 << 5;
        /// Master summary.
        MASTER_SUMMARY = 1 << 6;
        /// Summary of the operation status.
        OPERATION = 1 << 7;
    }
}

register! {
    /// The event status register (`*ESR?`; IEEE 488.2 11.5.1.1).
    EventStatus: u8 {
        /// Operation complete.
        OPERATION_COMPLETE = 1 << 0;
        /// Request control.
        REQUEST_CONTROL = 1 << 1;
        /// Query error.
        QUERY_ERROR = 1 << 2;
        /// Device-dependent error.
        DEVICE_ERROR = 1 << 3;
        /// Execution error.
        EXECUTION_ERROR = 1 << 4;
        /// Command error.
        COMMAND_ERROR = 1 << 5;
        /// User request.
        USER_REQUEST = 1 << 6;
        /// Power on.
        POWER_ON = 1 << 7;
    }
}

register! {
    /// The operation status register (SCPI-1999 9.3).
    Operation: u16 {
        /// Calibrating.
        CALIBRATING = 1 << 0;
        /// Settling.
        SETTLING = 1 << 1;
        /// Ranging.
        RANGING = 1 << 2;
        /// Sweeping.
        SWEEPING = 1 << 3;
        /// Measuring.
        MEASURING = 1 << 4;
        /// Waiting for a trigger.
        WAITING_FOR_TRIGGER = 1 << 5;
        /// Waiting for arming.
        WAITING_FOR_ARM = 1 << 6;
        /// Correcting.
        CORRECTING = 1 << 7;
    }
}

register! {
    /// The questionable status register (SCPI-1999 9.4; bits 2, 3 and 5 to 8 from memory).
    Questionable: u16 {
        /// Voltage.
        VOLTAGE = 1 << 0;
        /// Current.
        CURRENT = 1 << 1;
        /// Time.
        TIME = 1 << 2;
        /// Power.
        POWER = 1 << 3;
        /// Temperature.
        TEMPERATURE = 1 << 4;
        /// Frequency.
        FREQUENCY = 1 << 5;
        /// Phase.
        PHASE = 1 << 6;
        /// Modulation.
        MODULATION = 1 << 7;
        /// Calibration.
        CALIBRATION = 1 << 8;
    }
}
