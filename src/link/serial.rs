//! A link over a serial port.

use super::{Address, Framing, Link, LinkError, StreamLink};
use tokio_serial::{ClearBuffer, SerialPort, SerialPortBuilderExt};

/// Settings of a serial line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Bits per second.
    pub baud: u32,
    /// Data bits.
    pub data_bits: DataBits,
    /// Parity.
    pub parity: Parity,
    /// Stop bits.
    pub stop_bits: StopBits,
    /// Flow control.
    pub flow: Flow,
    /// DTR after opening.
    pub dtr: Level,
    /// RTS after opening.
    pub rts: Level,
}

/// Data bits of a character.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DataBits {
    /// Seven.
    Seven,
    /// Eight.
    Eight,
}

/// Parity bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parity {
    /// None.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// Stop bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopBits {
    /// One.
    One,
    /// Two.
    Two,
}

/// Flow control.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// None.
    None,
    /// XON/XOFF.
    Software,
    /// RTS/CTS.
    Hardware,
}

/// A control line's level after opening: an isolated interface may be fed from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// Asserted.
    High,
    /// Not asserted.
    Low,
    /// As the system leaves it.
    Leave,
}

impl Default for Line {
    fn default() -> Self {
        Self {
            baud: 9600,
            data_bits: DataBits::Eight,
            parity: Parity::None,
            stop_bits: StopBits::One,
            flow: Flow::None,
            dtr: Level::Leave,
            rts: Level::Leave,
        }
    }
}

/// Opens a port, sets its control lines, and throws away what had arrived before.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason.
pub(super) fn open(address: &Address, path: &str, line: &Line, framing: Framing) -> Result<Box<dyn Link>, LinkError> {
    let failed = |error: tokio_serial::Error| LinkError::Open { address: address.to_string(), source: error.into() };
    let mut builder = tokio_serial::new(path, line.baud)
        .data_bits(match line.data_bits {
            DataBits::Seven => tokio_serial::DataBits::Seven,
            DataBits::Eight => tokio_serial::DataBits::Eight,
        })
        .parity(match line.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(match line.stop_bits {
            StopBits::One => tokio_serial::StopBits::One,
            StopBits::Two => tokio_serial::StopBits::Two,
        })
        .flow_control(match line.flow {
            Flow::None => tokio_serial::FlowControl::None,
            Flow::Software => tokio_serial::FlowControl::Software,
            Flow::Hardware => tokio_serial::FlowControl::Hardware,
        });
    builder = match line.dtr {
        Level::High => builder.dtr_on_open(true),
        Level::Low => builder.dtr_on_open(false),
        Level::Leave => builder.preserve_dtr_on_open(),
    };
    let mut port = match builder.clone().open_native_async() {
        // A pseudo-terminal has no control lines: open it without touching them.
        Err(error) if lacks_control_lines(&error) => builder.preserve_dtr_on_open().open_native_async().map_err(failed)?,
        other => other.map_err(failed)?,
    };
    let level = match line.rts {
        Level::High => Some(true),
        Level::Low => Some(false),
        Level::Leave => None,
    };
    if let Some(level) = level {
        match port.write_request_to_send(level) {
            Err(error) if !lacks_control_lines(&error) => return Err(failed(error)),
            _ => {}
        }
    }
    port.clear(ClearBuffer::Input).map_err(failed)?;
    Ok(Box::new(StreamLink::new(port, framing)))
}

/// "Not a typewriter" (ENOTTY) is what a pseudo-terminal says of DTR and RTS.
fn lacks_control_lines(error: &tokio_serial::Error) -> bool {
    const NOT_A_TYPEWRITER: i32 = 25;
    let text = error.to_string().to_lowercase();
    std::io::Error::from(error.clone()).raw_os_error() == Some(NOT_A_TYPEWRITER)
        || text.contains("not a typewriter")
        || text.contains("inappropriate ioctl")
}
