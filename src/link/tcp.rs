//! A link over TCP.

use super::{Address, Framing, Link, LinkError, StreamLink};
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout_at};

/// Connects, with small messages sent at once.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason, or that the deadline came first.
pub(super) async fn open(address: &Address, framing: Framing, deadline: Instant) -> Result<Box<dyn Link>, LinkError> {
    let Address::Tcp { host, port } = address else {
        return Err(LinkError::Address { address: address.to_string(), problem: "not a TCP address".into() });
    };
    let failed = |source| LinkError::Open { address: address.to_string(), source };
    let stream = match timeout_at(deadline, TcpStream::connect((host.as_str(), *port))).await {
        Err(_) => return Err(failed(std::io::Error::new(std::io::ErrorKind::TimedOut, "no answer in time"))),
        Ok(result) => result.map_err(failed)?,
    };
    stream.set_nodelay(true).map_err(failed)?;
    Ok(Box::new(StreamLink::new(stream, framing)))
}
