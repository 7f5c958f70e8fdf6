//! Resource strings as in VPP-4.3: which way an instrument is reached.

use super::LinkError;

/// An address that this tool can open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Address {
    /// `TCPIP::host::port::SOCKET`: a byte stream over TCP.
    Tcp {
        /// Name or number; an IPv6 number without its brackets.
        host: String,
        /// Port.
        port: u16,
    },
    /// `ASRL/dev/ttyUSB0::INSTR`: a serial port.
    Serial {
        /// The port's path or name.
        path: String,
    },
}

const KNOWN: &str = "known here: TCPIP::host::port::SOCKET and ASRL/dev/…::INSTR";

impl std::str::FromStr for Address {
    type Err = LinkError;

    fn from_str(text: &str) -> Result<Self, LinkError> {
        let wrong = |problem: String| LinkError::Address { address: text.to_owned(), problem };
        let parts = split(text.trim());
        let first = parts.first().map(|p| p.to_ascii_uppercase()).unwrap_or_default();
        let last = parts.last().map(|p| p.to_ascii_uppercase()).unwrap_or_default();
        if let Some(board) = first.strip_prefix("TCPIP")
            && board.bytes().all(|b| b.is_ascii_digit())
        {
            return match parts.as_slice() {
                [_, host, port, _] if last == "SOCKET" && !host.is_empty() => match port.parse::<u16>() {
                    Ok(port) if port > 0 => Ok(Address::Tcp { host: (*host).to_owned(), port }),
                    _ => Err(wrong(format!("{port:?} is not a port from 1 to 65535"))),
                },
                _ if last == "INSTR" => Err(wrong(format!("this kind of LAN address is not spoken by this version; {KNOWN}"))),
                _ => Err(wrong(format!("expected TCPIP::host::port::SOCKET; {KNOWN}"))),
            };
        }
        if first.starts_with("ASRL") {
            let path = parts.first().and_then(|p| p.get(4..)).unwrap_or("");
            return match parts.as_slice() {
                [_] if !path.is_empty() => Ok(Address::Serial { path: path.to_owned() }),
                [_, _] if last == "INSTR" && !path.is_empty() => Ok(Address::Serial { path: path.to_owned() }),
                _ => Err(wrong(format!("expected ASRL, the port's path, and ::INSTR, as ASRL/dev/ttyUSB0::INSTR; {KNOWN}"))),
            };
        }
        for kind in ["USB", "GPIB", "VXI", "PXI"] {
            if first.starts_with(kind) {
                return Err(wrong(format!("{kind} is not spoken by this version; {KNOWN}")));
            }
        }
        Err(wrong(KNOWN.to_owned()))
    }
}

/// Splits at `::`, but not inside the brackets of an IPv6 number.
fn split(text: &str) -> Vec<&str> {
    match (text.find('['), text.find(']')) {
        (Some(open), Some(close)) if open < close => {
            let mut parts: Vec<&str> = text[..open].trim_end_matches("::").split("::").collect();
            parts.push(&text[open + 1..close]);
            parts.extend(text[close + 1..].trim_start_matches("::").split("::"));
            parts
        }
        _ => text.split("::").collect(),
    }
}

impl std::fmt::Display for Address {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Address::Tcp { host, port } if host.contains(':') => write!(f, "TCPIP::[{host}]::{port}::SOCKET"),
            Address::Tcp { host, port } => write!(f, "TCPIP::{host}::{port}::SOCKET"),
            Address::Serial { path } => write!(f, "ASRL{path}::INSTR"),
        }
    }
}
