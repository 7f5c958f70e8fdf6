//! Row 52, over TCP.

use super::*;

/// Whoever comes second is let go of at once, and the first goes on.
#[test]
fn a_second_client_is_refused_where_there_is_room_for_one() {
    use rampart::clock::Clock;
    use rampart::document::Document;
    use rampart::instrument::Role;
    use rampart::plan::Bench;
    use rampart::rehearsal::{Rig, UnitFile, serve_tcp};
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::{TcpListener, TcpStream};
    let text = format!("[supply]\nprofile = {LIST:?}\nstandin = {{ one_client = true }}\n");
    let bench = Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"));
    let file = UnitFile::read(&Document::new("unit.toml", unit(""))).unwrap_or_else(|p| panic!("{p}"));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let rig = Rig::build(&bench, &file, "unit", 1, Clock::start(1.0)).unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(serve_tcp(rig, Role::Supply, listener));
        let mut answer = [0; 2];
        let mut first = TcpStream::connect(address).await.unwrap();
        first.write_all(b"*OPC?\n").await.unwrap();
        first.read_exact(&mut answer).await.unwrap();
        let mut second = TcpStream::connect(address).await.unwrap();
        assert_eq!(second.read(&mut answer).await.unwrap_or(0), 0, "hung up");
        first.write_all(b"*OPC?\n").await.unwrap();
        first.read_exact(&mut answer).await.unwrap();
        assert_eq!(&answer, b"1\n");
    });
}
