//! Whether the computer slept, and asking it not to.

use std::process::{Child, Command, Stdio};
use std::time::{Instant, SystemTime};

/// What the computer's clocks say at one moment, in seconds from moments of their own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Times {
    /// Stands still while the computer sleeps; never set.
    pub monotonic: f64,
    /// Goes on while the computer sleeps; never set. Where the system has none, the
    /// wall clock.
    pub boot: f64,
    /// Goes on while the computer sleeps; may be set.
    pub wall: f64,
}

/// The clocks, now.
pub fn times() -> Times {
    static START: std::sync::OnceLock<Instant> = std::sync::OnceLock::new();
    let monotonic = START.get_or_init(Instant::now).elapsed().as_secs_f64();
    let wall = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).map_or(0.0, |t| t.as_secs_f64());
    Times { monotonic, boot: boot().unwrap_or(wall), wall }
}

#[cfg(any(target_os = "linux", target_os = "android"))]
fn boot() -> Option<f64> {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    // Seconds since the computer started: far below 2^53.
    #[allow(clippy::cast_precision_loss)]
    Some(time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9)
}

#[cfg(not(any(target_os = "linux", target_os = "android")))]
fn boot() -> Option<f64> {
    None
}

/// A request to the system not to fall asleep by itself, for as long as this lives;
/// it goes with the process, whatever ends that.
#[derive(Debug)]
pub struct KeepAwake {
    /// Ends when its input is closed.
    asker: Child,
}

impl KeepAwake {
    /// Asks, where the system has a program for that. A person who closes the lid or
    /// chooses sleep still gets it, where the system lets them.
    ///
    /// # Errors
    /// In words: it was not asked.
    pub fn ask() -> Result<Self, String> {
        let why = "--why=an output may be on";
        let mut command = if cfg!(target_os = "linux") {
            let mut command = Command::new("systemd-inhibit");
            command.args(["--what=sleep:idle", "--who=rampart", why, "--mode=block", "cat"]);
            command
        } else if cfg!(target_os = "macos") {
            let mut command = Command::new("caffeinate");
            command.args(["-i", "-s", "cat"]);
            command
        } else {
            return Err("this system has no program that asks for it".into());
        };
        let asker = command.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
        let mut asker = asker.map_err(|e| format!("{:?} cannot be started: {e}", command.get_program()))?;
        // Refused, it ends at once.
        std::thread::sleep(std::time::Duration::from_millis(50));
        match asker.try_wait() {
            Ok(None) => Ok(Self { asker }),
            _ => Err(format!("{:?} was refused", command.get_program())),
        }
    }
}

impl Drop for KeepAwake {
    fn drop(&mut self) {
        drop(self.asker.stdin.take());
        self.asker.wait().ok();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the kernel's own account, /proc/uptime (proc(5)): seconds since boot,
    /// sleep included.
    #[cfg(target_os = "linux")]
    #[test]
    fn the_boot_clock_is_the_kernels() {
        let kernel: f64 = std::fs::read_to_string("/proc/uptime").unwrap().split(' ').next().unwrap().parse().unwrap();
        let boot = times().boot;
        assert!((boot - kernel).abs() < 1.0, "{boot} {kernel}");
    }

    #[test]
    fn the_clocks_run_together() {
        let (first, second) = (times(), times());
        assert!(second.monotonic >= first.monotonic && second.boot >= first.boot);
    }
}
