//! To come.
/// A finding.
#[derive(Clone, Debug)]
pub struct Finding;
