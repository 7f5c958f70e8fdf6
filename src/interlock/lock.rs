//! One run at an instrument: a lock that goes with the process, whatever ends it.

use crate::clock::Clock;
use crate::link::Address;
use crate::units::Seconds;
use sha2::{Digest, Sha256};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Read, Seek, Write};
use std::net::ToSocketAddrs;
use std::path::PathBuf;

/// Between two tries to take a lock.
const BETWEEN_TRIES: Seconds = Seconds(0.02);

/// Held for as long as it exists.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

/// Why there is no lock.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoLock {
    /// Somebody has it, in words.
    #[error("{0}")]
    Held(String),
    /// The system's reason.
    #[error("{0}")]
    Failed(String),
}

impl Lock {
    /// Takes the instrument at `address`. `holder` is who asks, for whoever comes
    /// while it is held.
    ///
    /// # Errors
    /// Who has it, or why no lock could be made.
    pub fn take(address: &str, holder: &str) -> Result<Self, NoLock> {
        let failed = |error: std::io::Error| NoLock::Failed(format!("no lock could be made for {address}: {error}"));
        let path = place(address);
        let open = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path);
        let mut file = match open {
            // Another user's: it locks as well.
            Err(error) if error.kind() == ErrorKind::PermissionDenied => File::open(&path),
            other => other,
        }
        .map_err(failed)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::Error(error)) => return Err(failed(error)),
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                file.read_to_string(&mut holder).map_err(failed)?;
                return Err(NoLock::Held(format!("{address} is in use: {}", holder.trim())));
            }
        }
        // Without these words the lock holds all the same.
        let words = format!("process {}, {holder}\n", std::process::id());
        if let Err(error) = file.set_len(0).and_then(|()| file.rewind()).and_then(|()| file.write_all(words.as_bytes())) {
            tracing::info!("{}: {error}", path.display());
        }
        Ok(Self { _file: file })
    }
}

impl Lock {
    /// The same, tried again for as long as somebody has it and `patience` lasts.
    ///
    /// # Errors
    /// As there.
    pub async fn take_within(address: &str, holder: &str, clock: Clock, patience: Seconds) -> Result<Self, NoLock> {
        let give_up = clock.now() + patience;
        loop {
            match Self::take(address, holder) {
                Err(NoLock::Held(_)) if clock.now() < give_up => clock.sleep(BETWEEN_TRIES).await,
                taken => return taken,
            }
        }
    }

    /// The process that holds the instrument at `address`, by its own words.
    pub fn holder(address: &str) -> Option<u32> {
        let words = std::fs::read_to_string(place(address)).ok()?;
        words.strip_prefix("process ")?.split(',').next()?.parse().ok()
    }
}

/// Where the lock of an address lies: one place for all working folders. A device
/// by any of its names is the same device.
fn place(address: &str) -> PathBuf {
    let same = match address.parse() {
        Ok(Address::Serial { path }) => std::fs::canonicalize(&path).map_or(path, |real| real.display().to_string()),
        Ok(Address::Tcp { host, port }) => resolved(&host, port),
        Ok(Address::Vxi11 { host, device, .. } | Address::Hislip { host, device, .. }) => {
            format!("{} {}", resolved(&host, 0), device.to_lowercase())
        }
        Ok(usb @ Address::Usb(_)) => usb.to_string(),
        Err(_) => address.to_owned(),
    };
    let hash = Sha256::digest(same.as_bytes());
    let name: String = hash.iter().take(8).map(|b| format!("{b:02x}")).collect();
    std::env::temp_dir().join(format!("rampart-{name}.lock"))
}

/// A host by any of its names.
fn resolved(host: &str, port: u16) -> String {
    match (host, port).to_socket_addrs().map(Iterator::min) {
        Ok(Some(resolved)) => resolved.to_string(),
        _ => format!("{}:{port}", host.to_lowercase()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_second_is_told_who_has_it_and_the_third_gets_it_afterwards() {
        let address = format!("TCPIP::{}.invalid::1::SOCKET", std::process::id());
        let first = Lock::take(&address, "one.toml").unwrap();
        let refused = Lock::take(&address.to_lowercase(), "two.toml").unwrap_err().to_string();
        assert!(refused.contains("is in use: process ") && refused.ends_with("one.toml"), "{refused}");
        drop(first);
        drop(Lock::take(&address, "three.toml").unwrap());
        std::fs::remove_file(place(&address)).unwrap();
    }
}
