//! Opening a record for reading, also in a folder that cannot be written.

use super::{FILE, RecordError, VERSION};
use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};

/// Opens the record in a folder for reading; one of another version is refused.
pub(super) fn open_record(folder: &Path) -> Result<(Connection, PathBuf), RecordError> {
    let path = folder.join(FILE);
    let what = format!("{} cannot be read", path.display());
    let failed = RecordError::store(&what);
    if !path.is_file() {
        return Err(RecordError::NoRun(format!("{} holds no {FILE}", folder.display())));
    }
    let store = open_store(&path).map_err(&failed)?;
    let version: i64 = store.pragma_query_value(None, "user_version", |r| r.get(0)).map_err(&failed)?;
    if version == VERSION {
        return Ok((store, path));
    }
    let why = format!("it is of version {version}; this tool reads version {VERSION}");
    Err(RecordError::Store { what: what.clone(), why })
}

/// Read-only, and still with the log that a killed run leaves; in a folder that
/// cannot be written, as it stands.
fn open_store(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let store = Connection::open_with_flags(path, flags)?;
    match store.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0)) {
        Ok(_) => Ok(store),
        Err(error) => {
            // What stands in a log beside it would be passed over unseen.
            let beside = path.with_extension("sqlite-wal");
            if std::fs::metadata(&beside).is_ok_and(|log| log.len() > 0) {
                let why = format!(
                    "{} belongs to it, and can be read only in a folder that can be written: copy them",
                    beside.display()
                );
                return Err(rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(14), Some(why)));
            }
            let path = path.display().to_string().replace('%', "%25").replace('?', "%3f").replace('#', "%23");
            let uri = format!("file:{path}?immutable=1");
            let flags = flags | OpenFlags::SQLITE_OPEN_URI;
            Connection::open_with_flags(uri, flags).map_err(|_| error)
        }
    }
}

/// Whether the file is as long as its own head says (SQLite's file format, 1.3: bytes 16
/// and 28); with a log beside it, only SQLite knows.
///
/// # Errors
/// In words: it is shorter, or no record at all.
pub(super) fn whole(folder: &Path) -> Result<(), String> {
    use std::io::Read;
    let path = folder.join(FILE);
    let words = |e: std::io::Error| format!("{}: {e}", path.display());
    let mut head = [0; 32];
    let mut file = std::fs::File::open(&path).map_err(words)?;
    let length = file.metadata().map_err(words)?.len();
    // A log beside it may hold all of a record that was just begun.
    if path.with_extension("sqlite-wal").exists() {
        return Ok(());
    }
    file.read_exact(&mut head).map_err(|_| format!("{} has {length} bytes, and is no record", path.display()))?;
    let [.., p, q, _, _, _, _, _, _, _, _, _, _, a, b, c, d] = head;
    let page = match u64::from(u16::from_be_bytes([p, q])) {
        1 => 65_536,
        page => page,
    };
    let pages = u64::from(u32::from_be_bytes([a, b, c, d]));
    if pages * page > length {
        return Err(format!("{} is shorter than it was written: {length} of {} bytes", path.display(), pages * page));
    }
    Ok(())
}
