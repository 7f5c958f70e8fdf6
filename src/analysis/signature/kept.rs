//! The courses of some starts of many, in bounded memory: spread evenly over the run,
//! whatever its length.

use crate::analysis::start::Look;

/// At most so many courses, evenly spread over all that have come.
#[derive(Clone, Debug)]
pub struct Kept {
    most: usize,
    /// Each so many-th is kept.
    stride: u64,
    come: u64,
    courses: Vec<(u32, Vec<Look>)>,
}

impl Default for Kept {
    /// As many as an envelope takes.
    fn default() -> Self {
        Self::at_most(super::envelope::MOST)
    }
}

impl Kept {
    /// None yet; `most` is at least 2.
    pub fn at_most(most: usize) -> Self {
        Self { most: most.max(2), stride: 1, come: 0, courses: Vec::new() }
    }

    /// One more start, by its number.
    pub fn add(&mut self, number: u32, looks: impl IntoIterator<Item = Look>) {
        let due = self.come.is_multiple_of(self.stride);
        self.come += 1;
        if !due {
            return;
        }
        self.courses.push((number, looks.into_iter().collect()));
        if self.courses.len() > self.most {
            // Every second one goes, and from now on half as many are kept.
            let mut place = 0_usize;
            self.courses.retain(|_| {
                place += 1;
                place % 2 == 1
            });
            self.stride *= 2;
        }
    }

    /// How many have come.
    pub fn come(&self) -> u64 {
        self.come
    }

    /// The numbers of those that are kept.
    pub fn numbers(&self) -> impl Iterator<Item = u32> + '_ {
        self.courses.iter().map(|(number, _)| *number)
    }

    /// The courses that are kept.
    pub fn courses(&self) -> Vec<&[Look]> {
        self.courses.iter().map(|(_, looks)| looks.as_slice()).collect()
    }
}
