//! TOML files that a person wrote, read so that every mistake can be pointed at.
//!
//! A [`Table`] hands out values by key and kind, notes which keys were asked
//! for, and gathers what is wrong in [`Problems`]: file, line, column, the line
//! itself, what was expected, a hint. All mistakes of a file are found in one
//! reading. Profiles, bench files, plans and unit files are read through it.
//!
//! Holds always: a key that nobody asked for is a mistake; a value is read in
//! one place only; reading never panics, whatever the text.

mod problem;
mod table;
#[cfg(test)]
mod tests;

pub use problem::{Problem, Problems, Severity};
pub use table::{Places, Span, Table};

use std::path::Path;
use toml::de::DeTable;

/// The longest file that is read, in bytes. A plan of a quarter of a megabyte is a mistake.
pub const LONGEST_FILE: u64 = 1 << 18;

/// A file's name as shown to the person, and its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Document {
    /// The name as the person gave it.
    pub name: String,
    /// The whole text.
    pub text: String,
}

impl Document {
    /// From a text that is already here.
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self { name: name.into(), text: text.into() }
    }

    /// Reads a file.
    ///
    /// # Errors
    /// A problem that names the file: it is missing, unreadable, too long or not UTF-8.
    pub fn open(path: &Path) -> Result<Self, Problems> {
        let name = path.display().to_string();
        let refuse = |why: String| Problems::from(Problem::of_file(&name, format!("cannot read {name}: {why}")));
        let length = std::fs::metadata(path).map_err(|e| refuse(e.to_string()))?.len();
        if length > LONGEST_FILE {
            return Err(refuse(format!("{length} bytes, more than {LONGEST_FILE}")));
        }
        let text = std::fs::read_to_string(path).map_err(|e| refuse(e.to_string()))?;
        Ok(Self { name, text })
    }

    /// Parses the TOML and lets `read` take from its root table.
    ///
    /// Returns what `read` made of it, or every problem that was found. `read`
    /// returns `None` only after it has reported a problem.
    ///
    /// # Errors
    /// The problems, at least one.
    pub fn read<T>(&self, read: impl FnOnce(&mut Table<'_>) -> Option<T>) -> Result<T, Problems> {
        let problems = std::cell::RefCell::new(Problems::default());
        let parsed = DeTable::parse(&self.text).map_err(|error| {
            let span = error.span().unwrap_or(0..0);
            Problems::from(Problem::at(self, span, format!("this is not TOML: {}", error.message())))
        })?;
        let mut root = Table::new(self, &problems, parsed.get_ref(), parsed.span(), "the file");
        let made = read(&mut root);
        root.finish();
        let mut found = problems.into_inner();
        match made {
            Some(value) if !found.any_errors() => Ok(value),
            Some(_) => Err(found),
            None => {
                if !found.any_errors() {
                    found.push(Problem::of_file(&self.name, "the file could not be understood".into()));
                }
                Err(found)
            }
        }
    }
}
