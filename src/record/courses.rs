//! What was read during each start, on the start's own time.

use super::{RecordError, Run};
use crate::analysis::start::Look;
use crate::units::Seconds;
use std::collections::BTreeMap;

impl Run {
    /// The looks of each start of a stage by its number, from its switching on. Whether
    /// the supply limited is not among them.
    ///
    /// # Errors
    /// SQLite's.
    pub fn courses(&self, stage: u32) -> Result<BTreeMap<u32, Vec<Look>>, RecordError> {
        let on: BTreeMap<u32, Seconds> = self.starts(stage)?.iter().filter_map(|s| Some((s.number, s.on?))).collect();
        let mut courses: BTreeMap<u32, Vec<Look>> = BTreeMap::new();
        for point in self.currents(stage)? {
            let Some((number, on)) = point.start.and_then(|n| Some((n, *on.get(&n)?))) else { continue };
            if point.at >= on {
                let look = Look { at: point.at - on, voltage: point.volts, current: point.current, limiting: None };
                courses.entry(number).or_default().push(look);
            }
        }
        Ok(courses)
    }
}
