//! The digest of a row, and the chain of hashes over all rows.
//!
//! A row's digest is SHA-256 (FIPS 180-4) over its table's name and every value
//! but `batch` and `seal`, each as a letter for its type, its length, and its
//! bytes. A batch's hash is SHA-256 over the hash before it, its number and the
//! digests of its rows, table by table in the order of [`TABLES`]. So a row that
//! was changed, left out, added or moved changes every hash from there on.
//!
//! Leaves to others: whether somebody has made the whole chain anew. Only the last
//! hash, noted elsewhere, tells that.

use rusqlite::ToSql;
use rusqlite::types::{ToSqlOutput, Value, ValueRef};
use sha2::{Digest, Sha256};

/// The tables that hold rows, in the order in which a batch counts them.
pub(super) const TABLES: [&str; 26] = [
    "begun",
    "resumed",
    "ended",
    "file",
    "instrument",
    "stage_begin",
    "stage_end",
    "preflight",
    "setting",
    "reading",
    "start_begin",
    "start_end",
    "leakage",
    "event",
    "finding",
    "lot",
    "drawn",
    "trial_begin",
    "trial_end",
    "measure",
    "acknowledged",
    "skipped",
    "control",
    "doubted",
    "lot_end",
    "mark",
];

/// A SHA-256.
pub(super) type Hash = [u8; 32];

/// How many bytes of a digest stand beside its row.
pub(super) const SEAL: usize = 8;

/// The digest of a row that is being read or written. Its bytes are gathered and
/// hashed in one go, which takes a fraction of the time of as many small pieces.
pub(super) struct RowDigest(Vec<u8>);

impl RowDigest {
    pub(super) fn of(table: &str) -> Self {
        let mut bytes = Vec::with_capacity(256);
        part(&mut bytes, b'n', table.as_bytes());
        Self(bytes)
    }

    pub(super) fn value(&mut self, value: ValueRef<'_>) {
        let bytes = &mut self.0;
        match value {
            ValueRef::Null => part(bytes, b'0', &[]),
            ValueRef::Integer(i) => part(bytes, b'i', &i.to_le_bytes()),
            // SQLite stores what is not a number as NULL, and no sign of zero.
            ValueRef::Real(r) if r.is_nan() => part(bytes, b'0', &[]),
            ValueRef::Real(r) => part(bytes, b'r', &(r + 0.0).to_le_bytes()),
            ValueRef::Text(text) => part(bytes, b't', text),
            ValueRef::Blob(blob) => part(bytes, b'b', blob),
        }
    }

    pub(super) fn bound(&mut self, value: &dyn ToSql) -> rusqlite::Result<()> {
        match value.to_sql()? {
            ToSqlOutput::Borrowed(value) => self.value(value),
            ToSqlOutput::Owned(value) => self.value(ValueRef::from(&value)),
            _ => self.value(ValueRef::from(&Value::Null)),
        }
        Ok(())
    }

    pub(super) fn end(self) -> Hash {
        Sha256::digest(&self.0).into()
    }
}

fn part(row: &mut Vec<u8>, kind: u8, bytes: &[u8]) {
    row.push(kind);
    row.extend_from_slice(&(bytes.len() as u64).to_le_bytes());
    row.extend_from_slice(bytes);
}

/// The hash of a batch, from the digests of its rows in order.
pub(super) fn batch<'d>(before: &Hash, number: i64, digests: impl Iterator<Item = &'d Hash>) -> Hash {
    let mut hasher = batch_begin(before, number);
    for digest in digests {
        hasher.update(digest);
    }
    hasher.finalize().into()
}

/// The same, to be fed row by row.
pub(super) fn batch_begin(before: &Hash, number: i64) -> Sha256 {
    let mut hasher = Sha256::new();
    hasher.update(before);
    hasher.update(number.to_le_bytes());
    hasher
}

/// The SHA-256 of a text, in hexadecimal.
pub fn sha256(text: &str) -> String {
    hexadecimal(&Sha256::digest(text.as_bytes()))
}

/// In hexadecimal.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    let digit = |half: u8| char::from_digit(half.into(), 16).unwrap_or_default();
    bytes.iter().flat_map(|b| [digit(b >> 4), digit(b & 15)]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rusqlite::params;

    fn digest(table: &str, values: &[&dyn ToSql]) -> String {
        let mut digest = RowDigest::of(table);
        values.iter().for_each(|v| digest.bound(*v).unwrap());
        hexadecimal(&digest.end())
    }

    /// Checked against Python's hashlib (CPython's SHA-256) over the bytes that the
    /// module's text describes: `h.update(kind + struct.pack("<Q", len(b)) + b)`.
    #[test]
    fn a_digest_is_what_another_program_computes() {
        assert_eq!(
            digest("event", params![3.0, "off", None::<i64>, 7]),
            "17bdee68a56c840fec8e8082209c29886b657b16804cb46ebfb540b2839f1eb9"
        );
    }

    #[test]
    fn the_border_between_values_counts() {
        assert_ne!(digest("event", params!["ab", "c"]), digest("event", params!["a", "bc"]));
        assert_ne!(digest("event", params![1]), digest("event", params![1.0]));
        assert_eq!(digest("event", params![f64::NAN, -0.0]), digest("event", params![None::<f64>, 0.0]));
    }
}
