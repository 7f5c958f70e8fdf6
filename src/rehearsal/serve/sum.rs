//! Checksums, as a device makes and checks them: from tables and slices of its own.

use crate::instrument::profile::{ChecksumKind, Wire};
use crate::plan::Quirks;

/// What a device puts behind its lines.
pub struct Sum {
    kind: ChecksumKind,
    before: Vec<u8>,
}

impl Sum {
    /// As the profile says, or a sum where the stand-in wants one without.
    pub fn of(wire: &Wire, quirks: &Quirks) -> Option<Self> {
        match &wire.checksum {
            Some(checksum) => Some(Self { kind: checksum.kind, before: checksum.before.clone().into_bytes() }),
            None if quirks.checksum => Some(Self { kind: ChecksumKind::Sum, before: b"*".to_vec() }),
            None => None,
        }
    }

    /// What stands behind a text.
    pub fn behind(&self, text: &[u8]) -> Vec<u8> {
        let total: u32 = text.iter().map(|b| u32::from(*b)).sum();
        let sum = match self.kind {
            ChecksumKind::Sum => format!("{:02X}", total % 256),
            ChecksumKind::Xor => format!("{:02X}", text.iter().copied().reduce(|a, b| a ^ b).unwrap_or(0)),
            ChecksumKind::Crc16 => format!("{:04X}", remainder(text)),
        };
        [&self.before[..], sum.as_bytes()].concat()
    }

    /// How long the text is before its checksum; `None` where that is not right.
    pub fn strip(&self, line: &[u8]) -> Option<usize> {
        let line = line.trim_ascii_end();
        let length = line.len().checked_sub(self.behind(&[]).len())?;
        let (text, sum) = line.split_at(length);
        sum.eq_ignore_ascii_case(&self.behind(text)).then_some(length)
    }
}

/// The remainder of a division by x^16 + x^15 + x^2 + 1, least bit first, a bit at a time
/// through a register of ones.
fn remainder(text: &[u8]) -> u16 {
    let mut register = u16::MAX;
    for bit in text.iter().flat_map(|byte| (0..8).map(move |n| (byte >> n) & 1)) {
        let carry = (register & 1) ^ u16::from(bit);
        register >>= 1;
        if carry == 1 {
            register ^= 0xA001;
        }
    }
    register
}
