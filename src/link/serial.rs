//! A link over a serial port.

use super::{Address, Framing, Link, LinkError, StreamLink};
use tokio::io::{AsyncRead, AsyncWrite};
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

impl Level {
    /// As a profile says it.
    pub fn name(self) -> &'static str {
        match self {
            Level::High => "high",
            Level::Low => "low",
            Level::Leave => "left alone",
        }
    }
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

/// The control lines of a port that this end drives.
pub trait ControlLines {
    /// Sets DTR.
    ///
    /// # Errors
    /// The system's.
    fn set_dtr(&mut self, high: bool) -> std::io::Result<()>;
    /// Sets RTS.
    ///
    /// # Errors
    /// The system's.
    fn set_rts(&mut self, high: bool) -> std::io::Result<()>;
}

impl ControlLines for tokio_serial::SerialStream {
    fn set_dtr(&mut self, high: bool) -> std::io::Result<()> {
        self.write_data_terminal_ready(high).map_err(Into::into)
    }
    fn set_rts(&mut self, high: bool) -> std::io::Result<()> {
        self.write_request_to_send(high).map_err(Into::into)
    }
}

/// A link over a port that is open: sets its control lines first.
///
/// # Errors
/// The system's.
pub fn over<P>(mut port: P, line: &Line, framing: Framing) -> std::io::Result<StreamLink<P>>
where
    P: AsyncRead + AsyncWrite + Unpin + Send + ControlLines,
{
    set_lines(&mut port, line)?;
    Ok(StreamLink::new(port, framing))
}

/// A port that has no control lines, as a pseudo-terminal, goes without.
fn set_lines(port: &mut impl ControlLines, line: &Line) -> std::io::Result<()> {
    let set = [
        wanted(line.dtr).map(|high| port.set_dtr(high)),
        // With RTS and CTS as the handshake the system drives RTS.
        wanted(line.rts).filter(|_| line.flow != Flow::Hardware).map(|high| port.set_rts(high)),
    ];
    for done in set.into_iter().flatten() {
        match done {
            Err(error) if !lacks_control_lines(&error) => return Err(error),
            _ => {}
        }
    }
    Ok(())
}

fn wanted(level: Level) -> Option<bool> {
    match level {
        Level::High => Some(true),
        Level::Low => Some(false),
        Level::Leave => None,
    }
}

/// Opens a port, sets its control lines, and throws away what had arrived before.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason.
pub(super) fn open(address: &Address, path: &str, line: &Line, framing: Framing) -> Result<Box<dyn Link>, LinkError> {
    let failed = |source: std::io::Error| LinkError::Open { address: address.to_string(), source };
    let mut port = tokio_serial::new(path, line.baud)
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
        })
        .preserve_dtr_on_open()
        .open_native_async()
        .map_err(|e| failed(e.into()))?;
    set_lines(&mut port, line).map_err(failed)?;
    port.clear(ClearBuffer::Input).map_err(|e| failed(e.into()))?;
    Ok(Box::new(StreamLink::new(port, framing)))
}

impl std::fmt::Display for Line {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let data = if self.data_bits == DataBits::Seven { 7 } else { 8 };
        let stop = if self.stop_bits == StopBits::Two { 2 } else { 1 };
        let parity = match self.parity {
            Parity::None => "no",
            Parity::Even => "even",
            Parity::Odd => "odd",
        };
        let flow = match self.flow {
            Flow::None => "no handshake",
            Flow::Software => "XON/XOFF",
            Flow::Hardware => "RTS/CTS",
        };
        write!(f, "{} baud, {data} data bits, {parity} parity, stop bits {stop}, {flow}", self.baud)
    }
}

/// "Not a typewriter" (ENOTTY) is what a pseudo-terminal says of DTR and RTS.
fn lacks_control_lines(error: &std::io::Error) -> bool {
    const NOT_A_TYPEWRITER: i32 = 25;
    let text = error.to_string().to_lowercase();
    error.raw_os_error() == Some(NOT_A_TYPEWRITER) || text.contains("not a typewriter") || text.contains("inappropriate ioctl")
}
