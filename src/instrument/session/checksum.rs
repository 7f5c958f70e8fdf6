//! Checksums behind messages and answers.

use super::Session;
use crate::instrument::error::Fault;
use crate::instrument::profile::{Checksum, ChecksumKind};

impl Checksum {
    /// What stands behind a text.
    fn of(&self, text: &str) -> String {
        let bytes = text.as_bytes();
        match self.kind {
            ChecksumKind::Sum => format!("{}{:02X}", self.before, bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte))),
            ChecksumKind::Xor => format!("{}{:02X}", self.before, bytes.iter().fold(0_u8, |sum, byte| sum ^ byte)),
            ChecksumKind::Crc16 => format!("{}{:04X}", self.before, crc_16(bytes)),
        }
    }

    /// The text without its checksum; `None` where that is missing or wrong.
    fn strip<'t>(&self, line: &'t str) -> Option<&'t str> {
        let length = self.before.len() + if self.kind == ChecksumKind::Crc16 { 4 } else { 2 };
        let (text, sum) = line.split_at_checked(line.len().checked_sub(length)?)?;
        sum.eq_ignore_ascii_case(&self.of(text)).then_some(text)
    }
}

/// Polynomial 0x8005, reflected; from 0xFFFF on; nothing added at the end (Modbus over serial
/// line V1.02, 6.2.2, from memory).
fn crc_16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xA001 } else { crc >> 1 })
    })
}

impl Session {
    /// A message as it is sent.
    pub(super) fn with_checksum(&self, message: &str) -> String {
        let sum = self.wire.checksum.as_ref().map_or_else(String::new, |checksum| checksum.of(message));
        message.to_owned() + &sum
    }

    /// A line without its checksum.
    pub(super) fn checked(&self, line: String) -> Result<String, Fault> {
        let Some(checksum) = &self.wire.checksum else { return Ok(line) };
        match checksum.strip(line.trim()) {
            Some(text) => Ok(text.to_owned()),
            None => Err(Fault::Garbled {
                command: self.open.clone().unwrap_or_default(),
                reply: line,
                expected: "a line with its checksum behind it".into(),
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checksums_are_the_published_ones() {
        let made = |kind, text: &str| Checksum { kind, before: "*".into() }.of(text);
        // The check value of the catalogues of CRCs for CRC-16/MODBUS (from memory).
        assert_eq!(made(ChecksumKind::Crc16, "123456789"), "*4B37");
        // By hand: 0x31 + ... + 0x39 = 477 = 0x1DD; 0x31 ^ ... ^ 0x39 = 0x31.
        assert_eq!(made(ChecksumKind::Sum, "123456789"), "*DD");
        assert_eq!(made(ChecksumKind::Xor, "123456789"), "*31");
    }

    #[test]
    fn a_line_with_one_bit_changed_is_no_line() {
        for kind in [ChecksumKind::Sum, ChecksumKind::Xor, ChecksumKind::Crc16] {
            let checksum = Checksum { kind, before: "*".into() };
            let line = format!("+1.234E-02{}", checksum.of("+1.234E-02"));
            assert_eq!(checksum.strip(&line), Some("+1.234E-02"));
            for at in 0..line.len() {
                for bit in 0..7 {
                    let mut bytes = line.clone().into_bytes();
                    bytes[at] ^= 1 << bit;
                    let changed = String::from_utf8(bytes).unwrap();
                    // Small letters in a checksum are as good as capitals.
                    let same = changed.eq_ignore_ascii_case(&line) && at > 10;
                    assert!(same || checksum.strip(&changed).is_none(), "{kind:?} {changed}");
                }
            }
            for short in ["", "*", "*A", "é"] {
                assert_eq!(checksum.strip(short), None);
            }
        }
    }
}
