//! Whether a record is as it was written: every row against its seal, every batch
//! against its hash and the one before.

use super::seal::{self, Hash, RowDigest, SEAL, TABLES};
use super::{RecordError, SCHEMA, open};
use rusqlite::{Connection, OptionalExtension, Row, Rows};
use sha2::{Digest, Sha256};
use std::path::Path;

/// How many damages are named; the others are counted.
const NAMED: usize = 20;
/// Columns that say which row it is, where a table has them.
const TELLING: [&str; 14] = [
    "trial",
    "position",
    "stage",
    "number",
    "start",
    "step",
    "part",
    "role",
    "measurand",
    "what",
    "kind",
    "code",
    "at_s",
    "asked_s",
];

/// What a look at the whole chain has found.
#[derive(Clone, Debug)]
pub struct Integrity {
    /// How many rows are there.
    pub rows: u64,
    /// How many batches were committed.
    pub batches: i64,
    /// What is not as it was written, in sentences; empty: everything is.
    pub damage: Vec<String>,
    pub(super) hash: Hash,
}

impl Integrity {
    /// The hash over everything, in hexadecimal.
    pub fn fingerprint(&self) -> String {
        seal::hexadecimal(&self.hash)
    }
}

/// Checks the record in a run's folder, without changing it.
///
/// # Errors
/// There is none, or it cannot be read at all.
pub fn verify(folder: &Path) -> Result<Integrity, RecordError> {
    let (store, path) = open::open_record(folder)?;
    let what = format!("{} cannot be read", path.display());
    check(&store).map_err(RecordError::store(&what))
}

/// How many batches came since the chain last had a hash that begins with these
/// hexadecimal digits, in lower case; `None`: it never had.
///
/// # Errors
/// There is no record, or it cannot be read at all.
pub fn batches_since(folder: &Path, digits: &str) -> Result<Option<u32>, RecordError> {
    let (store, path) = open::open_record(folder)?;
    let what = format!("{} cannot be read", path.display());
    let sql = "SELECT (SELECT count(*) FROM batch WHERE number > had.number) FROM batch AS had
               WHERE substr(sha256, 1, length(?1)) = ?1 ORDER BY number DESC LIMIT 1";
    store.query_row(sql, [digits], |r| r.get(0)).optional().map_err(RecordError::store(&what))
}

/// A table that is read row by row, in the order in which it was written.
struct Cursor<'s> {
    table: &'static str,
    rows: Rows<'s>,
    /// The next row: its batch, its digest, and what is wrong with it.
    next: Option<(i64, Hash, Option<String>)>,
}

impl Cursor<'_> {
    fn advance(&mut self) -> rusqlite::Result<()> {
        let table = self.table;
        self.next = match self.rows.next()? {
            None => None,
            Some(row) => {
                let values = row.as_ref().column_count() - 2;
                let mut digest = RowDigest::of(table);
                for column in 1..values {
                    digest.value(row.get_ref(column)?);
                }
                let (batch, seal): (i64, Vec<u8>) = (row.get(values)?, row.get(values + 1)?);
                let digest = digest.end();
                let same = digest.get(..SEAL) == Some(seal.as_slice());
                let wrong = if same { None } else { Some(describe(table, row)?) };
                Some((batch, digest, wrong))
            }
        };
        Ok(())
    }
}

fn describe(table: &str, row: &Row<'_>) -> rusqlite::Result<String> {
    let names: Vec<&str> = row.as_ref().column_names().collect();
    let mut words = Vec::new();
    for name in TELLING.iter().filter(|n| names.contains(*n)) {
        match row.get_ref(*name)? {
            rusqlite::types::ValueRef::Integer(i) => words.push(format!("{name} {i}")),
            rusqlite::types::ValueRef::Real(r) => words.push(format!("{name} {r}")),
            rusqlite::types::ValueRef::Text(t) => words.push(format!("{name} {:.40}", String::from_utf8_lossy(t))),
            _ => {}
        }
    }
    let number: i64 = row.get(0)?;
    Ok(format!("{table}, row {number} ({}): it is not what was recorded", words.join(", ")))
}

/// Walks all tables side by side, batch by batch.
pub(super) fn check(store: &Connection) -> rusqlite::Result<Integrity> {
    let mut seen = Integrity { rows: 0, batches: 0, damage: Vec::new(), hash: Hash::default() };
    let mut more = 0u64;
    let mut say = |damage: &mut Vec<String>, what: String| {
        if damage.len() < NAMED { damage.push(what) } else { more += 1 }
    };
    // The tables' indexes, by which starts and steps are found, are SQLite's to check.
    let mut whole = store.prepare("PRAGMA integrity_check(5)")?;
    let words = whole.query_map([], |r| r.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
    for word in words.into_iter().filter(|w| w != "ok") {
        say(&mut seen.damage, format!("the file: {word}"));
    }
    if described(store)? != described_new()? {
        say(&mut seen.damage, "the tables and views are not those that this tool makes".into());
        seen.damage.truncate(NAMED);
        return Ok(seen);
    }
    let select = |table: &&str| store.prepare(&format!("SELECT rowid, * FROM {table} ORDER BY rowid"));
    let mut statements = TABLES.iter().map(select).collect::<rusqlite::Result<Vec<_>>>()?;
    let mut cursors = Vec::new();
    for (statement, table) in statements.iter_mut().zip(TABLES) {
        let mut cursor = Cursor { table, rows: statement.query([])?, next: None };
        cursor.advance()?;
        cursors.push(cursor);
    }
    let mut batches = store.prepare("SELECT number, rows, sha256 FROM batch ORDER BY number")?;
    let mut batches = batches.query([])?;
    while let Some(row) = batches.next()? {
        let (number, count, hash): (i64, i64, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
        if number != seen.batches + 1 {
            let (first, last) = (seen.batches + 1, number - 1);
            let which = if first == last { format!("batch {first}") } else { format!("batches {first} to {last}") };
            say(&mut seen.damage, format!("{which}: not there"));
        }
        let mut hasher: Sha256 = seal::batch_begin(&seen.hash, number);
        let (mut found, mut changed) = (0i64, false);
        for cursor in &mut cursors {
            while let Some((batch, digest, wrong)) = &cursor.next
                && *batch <= number
            {
                if *batch < number {
                    say(
                        &mut seen.damage,
                        format!("{}: a row of batch {batch} stands among those of batch {number}", cursor.table),
                    );
                    changed = true;
                }
                if let Some(wrong) = wrong {
                    say(&mut seen.damage, wrong.clone());
                    changed = true;
                }
                hasher.update(digest);
                found += 1;
                cursor.advance()?;
            }
        }
        let made: Hash = hasher.finalize().into();
        if found != count {
            let (more, word) = (found.abs_diff(count), if found < count { "missing" } else { "too many" });
            say(&mut seen.damage, format!("batch {number}: {more} of its {count} rows {word}"));
        } else if seal::hexadecimal(&made) != hash && !changed {
            say(
                &mut seen.damage,
                format!(
                    "batch {number}: its hash does not follow from its rows and the batch before; rows were changed together with their seals, moved, or exchanged"
                ),
            );
        }
        seen.rows += found.unsigned_abs();
        seen.batches = number;
        // By the hash that stands there, so that one damage is told once.
        seen.hash = unhexed(&hash).unwrap_or(made);
    }
    for cursor in &mut cursors {
        while let Some((batch, ..)) = &cursor.next {
            say(&mut seen.damage, format!("{}: a row of batch {batch}, which was never committed", cursor.table));
            cursor.advance()?;
        }
    }
    if seen.batches == 0 {
        say(&mut seen.damage, "nothing was ever committed".into());
    }
    if more > 0 {
        seen.damage.push(format!("and {more} more"));
    }
    Ok(seen)
}

fn unhexed(text: &str) -> Option<Hash> {
    let mut hash = Hash::default();
    if text.len() != 2 * hash.len() {
        return None;
    }
    for (place, byte) in hash.iter_mut().enumerate() {
        *byte = u8::from_str_radix(text.get(2 * place..2 * place + 2)?, 16).ok()?;
    }
    Some(hash)
}

/// Every table and view, as it was made.
fn described(store: &Connection) -> rusqlite::Result<Vec<(String, Option<String>)>> {
    let mut statement = store.prepare("SELECT name, sql FROM sqlite_schema ORDER BY name")?;
    let rows = statement.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?;
    rows.collect()
}

fn described_new() -> rusqlite::Result<Vec<(String, Option<String>)>> {
    let store = Connection::open_in_memory()?;
    store.execute_batch(SCHEMA)?;
    described(&store)
}
