//! Changes to a text or to bytes, drawn from a seed.

use rand::seq::IndexedRandom;
use rand::{Rng, RngExt};

/// What people and wires put where it does not belong.
const TOKENS: [&[u8]; 36] = [
    b"\"1e999 V\"",
    b"\"-1 V\"",
    b"\"NaN V\"",
    b"\"inf A\"",
    b"\"0 V\"",
    b"\"1e-320 s\"",
    b"\"9 kV\"",
    b"\"1 mV\"",
    b"9",
    b"-9223372036854775808",
    b"[[stage]]\n",
    b"[unit]\n",
    b"[supply]\n",
    b"do = \"start\"\n",
    b"times = 4294967295\n",
    b"times = 1000000\n",
    b"\"\"",
    b"'''",
    b"\"\"\"",
    b"{",
    b"}",
    b"[",
    b"]",
    b"=",
    b"#",
    b"\n",
    b"\r\n",
    b"\0",
    b"\x7f",
    b"\xff\xfe",
    "µΩ½".as_bytes(),
    b"{channel}",
    b"{value}",
    b"{",
    b"{{{{{{{{{{",
    b",,,,,,,,",
];

/// Changes it in one to four places.
pub fn mutate(random: &mut impl Rng, original: &[u8], other: &[u8]) -> Vec<u8> {
    let mut bytes = original.to_vec();
    if random.random_bool(0.5) {
        // Still a text that can be read: it gets further in.
        for _ in 0..random.random_range(1..=3) {
            number(random, &mut bytes);
        }
        return bytes;
    }
    for _ in 0..random.random_range(1..=4) {
        once(random, &mut bytes, other);
    }
    // Longer files are not read.
    bytes.truncate(1 << 18);
    bytes
}

/// Another number in the place of one.
fn number(random: &mut impl Rng, bytes: &mut Vec<u8>) {
    const OTHERS: [&str; 14] =
        ["0", "1", "2", "-1", "7", "0.5", "1000", "65536", "4294967296", "1e300", "1e-300", "0.000001", "NaN", "inf"];
    let digits: Vec<usize> = (0..bytes.len()).filter(|at| bytes[*at].is_ascii_digit()).collect();
    let Some(from) = digits.choose(random).copied() else { return };
    let end = bytes[from..].iter().position(|b| !b.is_ascii_digit() && *b != b'.').map_or(bytes.len(), |at| from + at);
    let other = OTHERS.choose(random).copied().unwrap_or_default();
    drop(bytes.splice(from..end, other.bytes()));
}

fn span(random: &mut impl Rng, len: usize) -> (usize, usize) {
    let from = random.random_range(0..=len);
    (from, (from + random.random_range(0..64)).min(len))
}

fn once(random: &mut impl Rng, bytes: &mut Vec<u8>, other: &[u8]) {
    let (from, to) = span(random, bytes.len());
    match random.random_range(0..10) {
        0 if from < bytes.len() => bytes[from] ^= 1 << random.random_range(0..8),
        1 => drop(bytes.drain(from..to)),
        2 => {
            let piece = bytes[from..to].to_vec();
            drop(bytes.splice(from..from, piece));
        }
        3 | 4 => {
            let token = TOKENS.choose(random).copied().unwrap_or_default();
            drop(bytes.splice(from..from, token.iter().copied()));
        }
        5 => {
            let token = TOKENS.choose(random).copied().unwrap_or_default();
            drop(bytes.splice(from..to, token.iter().copied()));
        }
        6 => {
            let (start, end) = span(random, other.len());
            drop(bytes.splice(from..to, other[start..end].iter().copied()));
        }
        7 => bytes.truncate(from),
        8 => {
            // A line, again and again.
            let start = bytes[..from].iter().rposition(|b| *b == b'\n').map_or(0, |at| at + 1);
            let end = bytes[from..].iter().position(|b| *b == b'\n').map_or(bytes.len(), |at| from + at + 1);
            let line = bytes[start..end].to_vec();
            let times = random.random_range(1..300).min((1 << 18) / line.len().max(1));
            drop(bytes.splice(start..start, line.repeat(times)));
        }
        _ => {
            // A key gets another's value: what stands after '=' in two lines.
            let lines: Vec<Vec<u8>> = bytes.split(|b| *b == b'\n').map(<[u8]>::to_vec).collect();
            let (Some(a), Some(b)) = (lines.choose(random), lines.choose(random)) else { return };
            let key = a.split(|c| *c == b'=').next().unwrap_or_default();
            let value = b.splitn(2, |c| *c == b'=').nth(1).unwrap_or_default();
            let made = [key, b"=", value, b"\n"].concat();
            drop(bytes.splice(from..from, made));
        }
    }
}
