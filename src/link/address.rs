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
    /// `TCPIP::host::inst0::INSTR`: VXI-11.
    Vxi11 {
        /// Name or number.
        host: String,
        /// The device's name there.
        device: String,
        /// The core channel's port, written `inst0,1024`, where no portmapper is to be asked.
        port: Option<u16>,
    },
    /// `TCPIP::host::hislip0::INSTR`: HiSLIP.
    Hislip {
        /// Name or number.
        host: String,
        /// The device's name there.
        device: String,
        /// Another port than 4880, written `hislip0,5000`.
        port: Option<u16>,
    },
    /// `ASRL/dev/ttyUSB0::INSTR`: a serial port.
    Serial {
        /// The port's path or name.
        path: String,
    },
    /// `USB::vendor::product::serial::INSTR`: USBTMC.
    Usb(Usb),
}

/// A device on the USB.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Usb {
    /// The vendor's number.
    pub vendor: u16,
    /// The product's number.
    pub product: u16,
    /// The serial number.
    pub serial: String,
    /// The interface, where it is not the first for test and measurement.
    pub interface: Option<u8>,
}

const KNOWN: &str = "known here: TCPIP::host::port::SOCKET, TCPIP::host::inst0::INSTR (VXI-11), TCPIP::host::hislip0::INSTR (HiSLIP), ASRL/dev/…::INSTR and USB::0x1234::0x5678::serial::INSTR";

impl std::str::FromStr for Address {
    type Err = LinkError;

    fn from_str(text: &str) -> Result<Self, LinkError> {
        let wrong = |problem: String| LinkError::Address { address: text.to_owned(), problem };
        let parts = split(text.trim());
        let first = parts.first().map(|p| p.to_ascii_uppercase()).unwrap_or_default();
        let last = parts.last().map(|p| p.to_ascii_uppercase()).unwrap_or_default();
        let is_board = |prefix: &str| first.strip_prefix(prefix).is_some_and(|board| board.bytes().all(|b| b.is_ascii_digit()));
        if is_board("TCPIP") {
            return match parts.as_slice() {
                [_, host, port, _] if last == "SOCKET" && !host.is_empty() => match port.parse::<u16>() {
                    Ok(port) if port > 0 => Ok(Address::Tcp { host: (*host).to_owned(), port }),
                    _ => Err(wrong(format!("{port:?} is not a port from 1 to 65535"))),
                },
                // VPP-4.3, 4.1.3: without a name it is inst0.
                [_, host, _] if last == "INSTR" && !host.is_empty() => lan(host, "inst0").map_err(wrong),
                [_, host, device, _] if last == "INSTR" && !host.is_empty() => lan(host, device).map_err(wrong),
                _ => Err(wrong(format!("expected a host, and ::port::SOCKET or ::INSTR; {KNOWN}"))),
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
        if is_board("USB") {
            return usb(&parts).ok_or_else(|| {
                wrong(format!("expected USB, vendor and product in numbers, the serial number and ::INSTR; {KNOWN}"))
            });
        }
        for kind in ["GPIB", "VXI", "PXI"] {
            if first.starts_with(kind) {
                return Err(wrong(format!("{kind} is not spoken by this version; {KNOWN}")));
            }
        }
        Err(wrong(KNOWN.to_owned()))
    }
}

/// A device on the LAN by its name, with a port behind a comma.
fn lan(host: &str, device: &str) -> Result<Address, String> {
    let (name, port) = match device.split_once(',') {
        None => (device, None),
        Some((name, port)) => match port.parse::<u16>() {
            Ok(port) if port > 0 => (name, Some(port)),
            _ => return Err(format!("{port:?} is not a port from 1 to 65535")),
        },
    };
    if name.is_empty() || !name.bytes().all(|b| b.is_ascii_graphic()) {
        return Err(format!("{name:?} is no name of a device, as inst0 or hislip0"));
    }
    let (host, device) = (host.to_owned(), name.to_owned());
    Ok(if name.to_ascii_lowercase().starts_with("hislip") {
        Address::Hislip { host, device, port }
    } else {
        Address::Vxi11 { host, device, port }
    })
}

fn usb(parts: &[&str]) -> Option<Address> {
    let number = |text: &str| match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(hex) => u16::from_str_radix(hex, 16).ok(),
        None => text.parse().ok(),
    };
    let (vendor, product, serial, interface) = match parts {
        [_, vendor, product, serial, last] if last.eq_ignore_ascii_case("INSTR") => (vendor, product, serial, None),
        [_, vendor, product, serial, interface, last] if last.eq_ignore_ascii_case("INSTR") => {
            (vendor, product, serial, Some(interface.parse().ok()?))
        }
        _ => return None,
    };
    if serial.is_empty() {
        return None;
    }
    Some(Address::Usb(Usb { vendor: number(vendor)?, product: number(product)?, serial: (*serial).to_owned(), interface }))
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
        let on_lan = |f: &mut std::fmt::Formatter<'_>, host: &str| {
            if host.contains(':') { write!(f, "TCPIP::[{host}]") } else { write!(f, "TCPIP::{host}") }
        };
        match self {
            Address::Tcp { host, port } => {
                on_lan(f, host)?;
                write!(f, "::{port}::SOCKET")
            }
            Address::Vxi11 { host, device, port } | Address::Hislip { host, device, port } => {
                on_lan(f, host)?;
                write!(f, "::{device}")?;
                if let Some(port) = port {
                    write!(f, ",{port}")?;
                }
                f.write_str("::INSTR")
            }
            Address::Serial { path } => write!(f, "ASRL{path}::INSTR"),
            Address::Usb(Usb { vendor, product, serial, interface }) => {
                write!(f, "USB::0x{vendor:04X}::0x{product:04X}::{serial}")?;
                if let Some(interface) = interface {
                    write!(f, "::{interface}")?;
                }
                f.write_str("::INSTR")
            }
        }
    }
}
