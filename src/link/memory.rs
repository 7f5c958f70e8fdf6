//! A link inside the process, for rehearsal: exact under a paused clock.

use super::{Framing, StreamLink};
use tokio::io::{DuplexStream, duplex};

/// Bytes that may be under way in each direction.
const CAPACITY: usize = 64 * 1024;

/// A link and the far end of it.
pub fn pair(framing: Framing) -> (StreamLink<DuplexStream>, DuplexStream) {
    let (near, far) = duplex(CAPACITY);
    (StreamLink::new(near, framing), far)
}
