//! Remote procedure calls with stubs that rpcgen made from a description of VXI-11's
//! channels: their client against our stand-in, our link against their server.

use crate::support::{StandIns, ask, deadline, open, say};
use rampart::link::{LinkError, Locked};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tokio::time::Instant;

/// Makes the stubs and a program with them; `None`, loudly, where rpcgen, its library
/// or a C compiler is not installed.
fn built(name: &str, sources: &[&str]) -> Option<(tempfile::TempDir, PathBuf)> {
    let folder = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/lan/rpc");
    let copy = |file: &str| std::fs::copy(from.join(file), folder.path().join(file)).unwrap();
    copy("vxi11.x");
    copy(&format!("{name}.c"));
    for (kind, file) in [("-h", "vxi11.h"), ("-c", "vxi11_xdr.c"), ("-l", "vxi11_clnt.c"), ("-m", "vxi11_svc.c")] {
        let made = Command::new("rpcgen").args([kind, "-o", file, "vxi11.x"]).current_dir(folder.path()).output();
        if !made.as_ref().is_ok_and(|m| m.status.success()) {
            eprintln!("NOT CHECKED: remote procedure calls with stubs of rpcgen (it is not installed): {made:?}");
            return None;
        }
    }
    let program = folder.path().join(name);
    let made = Command::new("cc")
        .args(["-w", "-I/usr/include/tirpc", "-o", name, &format!("{name}.c"), "vxi11_xdr.c"])
        .args(sources)
        .arg("-ltirpc")
        .current_dir(folder.path())
        .output();
    if !made.as_ref().is_ok_and(|m| m.status.success()) {
        eprintln!("NOT CHECKED: remote procedure calls with stubs of rpcgen (no C compiler, or no libtirpc): {made:?}");
        return None;
    }
    Some((folder, program))
}

/// Numbers of errors and reasons by VXI-11, B.5.2 and B.6.
#[test]
fn a_client_of_generated_stubs_is_served() {
    let Some((_folder, program)) = built("client", &["vxi11_clnt.c"]) else { return };
    let stand_ins = StandIns::start();
    let said = Command::new(program).arg(StandIns::port(&stand_ins.meter).to_string()).output().unwrap();
    let text = String::from_utf8_lossy(&said.stdout);
    let expected = "\
no such device 21
link 0 most 1024 abort yes
write 0 6
write 0 5
read 0 reason 1 [1999]
read 0 reason 4 [.0]
nothing to read 15
status 0
clear 0 trigger 0 remote 0 local 0
lock 0 other 11 write 11 unlock 0 again 12
abort 0
destroy 0 again 4
";
    assert_eq!(text, expected, "{}", String::from_utf8_lossy(&said.stderr));
}

struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

/// The server takes ten bytes a write at most, and at times fewer than it is given;
/// it gives 1500 a read, has no abort channel, and no locks.
#[tokio::test]
async fn a_server_of_generated_stubs_is_spoken_to() {
    let Some((_folder, program)) = built("server", &["vxi11_svc.c"]) else { return };
    let mut server = Ended(Command::new(program).stdout(Stdio::piped()).spawn().unwrap());
    let mut port = String::new();
    BufReader::new(server.0.stdout.take().unwrap()).read_line(&mut port).unwrap();
    let address = |device: &str| format!("TCPIP::127.0.0.1::{device},{}::INSTR", port.trim());
    let refused = open(&address("inst1")).await.err().unwrap().to_string();
    assert!(refused.contains("error 3: the device is not accessible"), "{refused}");
    let mut link = open(&address("inst0")).await.unwrap();
    assert_eq!(ask(&mut link, "a question of more than ten bytes?").await, "a question of more than ten bytes?!");
    assert_eq!(ask(&mut link, "long").await, "x".repeat(4000));
    say(&mut link, "mute").await;
    let soon = Instant::now() + Duration::from_millis(50);
    assert!(matches!(link.receive(soon).await, Err(LinkError::Timeout { .. })));
    say(&mut link, "status").await;
    assert_eq!(link.status_byte(deadline()).await.unwrap(), Some(16));
    assert!(link.clear(deadline()).await.unwrap());
    assert_eq!(link.status_byte(deadline()).await.unwrap(), Some(0));
    assert_eq!(link.lock(Duration::ZERO, deadline()).await.unwrap(), Locked::No);
    let told = link.unlock(deadline()).await.unwrap_err().to_string();
    assert!(told.contains("error 12: the lock was not held"), "{told}");
    assert_eq!(ask(&mut link, "still there?").await, "still there?!");
}
