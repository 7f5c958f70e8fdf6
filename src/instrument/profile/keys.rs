//! Every key that a profile can have, once: from these tables the reader knows names,
//! kinds, defaults and what is unknown, and the reference page and the JSON Schema are made.
//!
//! Leaves to others: what the values become (`read`), and whether they go together.

mod common;
mod meter;
mod page;
mod schema;
mod supply;

pub use page::page;
pub use schema::schema;

use crate::units::Unit;

/// What stands behind a key.
#[derive(Clone, Copy, Debug)]
pub enum Is {
    /// A text.
    Text,
    /// A text or a list of texts.
    Texts,
    /// `true` or `false`.
    Flag,
    /// A whole number from the one to the other.
    Count(u64, u64),
    /// One of these words.
    Word(&'static [&'static str]),
    /// A quantity of this unit.
    Quantity(Unit),
    /// A quantity in the unit of what is set or measured.
    Amount,
    /// A table.
    Table(&'static Section),
    /// Tables, one or more.
    Tables(&'static Section),
}

/// What holds where a key is left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unless {
    /// It may not be left out.
    Needed,
    /// This value, as the file would have it.
    Is(&'static str),
    /// In words.
    So(&'static str),
}

/// A key.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    /// As it is written.
    pub name: &'static str,
    /// What stands behind it.
    pub is: Is,
    /// What holds where it is left out.
    pub unless: Unless,
    /// Which of the ways in which instruments differ it answers, by their numbers.
    pub rows: &'static [u8],
    /// What it says.
    pub meaning: &'static str,
}

/// The keys of a table.
#[derive(Debug)]
pub struct Section {
    /// What such a table is.
    pub title: &'static str,
    /// What has to be known of it beside its keys.
    pub about: &'static str,
    /// It has the keys of these, too, where it has none of the same name.
    pub like: Option<&'static Section>,
    /// Its own keys.
    pub keys: &'static [Key],
}

impl Section {
    /// Every key, those of what it is like in front.
    pub fn all(&self) -> impl Iterator<Item = &'static Key> {
        let own = self.keys;
        let like = self.like.map_or(&[][..], |like| like.keys);
        like.iter().filter(|key| own.iter().all(|o| o.name != key.name)).chain(own)
    }

    /// The key of this name.
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.all().find(|key| key.name == name)
    }
}

/// The whole file.
pub static ROOT: Section = Section {
    title: "top level",
    about: "In messages `{channel}`, `{value}`, `{voltage}`, `{current}`, `{range}`, `{rate}` and `{function}` are replaced. \
            In patterns `*` stands for anything, and case does not matter.",
    like: None,
    keys: common::ROOT,
};

/// Of a serial line: a bench file's seat has such a table, too.
pub(super) fn line() -> &'static Section {
    &common::LINE
}

const fn key(name: &'static str, is: Is, unless: Unless, rows: &'static [u8], meaning: &'static str) -> Key {
    Key { name, is, unless, rows, meaning }
}

/// Every section with the paths under which it stands, in the order of the file.
pub fn sections() -> Vec<(Vec<String>, &'static Section)> {
    fn visit(path: &str, section: &'static Section, found: &mut Vec<(Vec<String>, &'static Section)>) {
        match found.iter_mut().find(|(_, known)| std::ptr::eq(*known, section)) {
            Some((paths, _)) => paths.push(path.to_owned()),
            None => found.push((vec![path.to_owned()], section)),
        }
        for key in section.all() {
            let inner = if path.is_empty() { key.name.to_owned() } else { format!("{path}.{}", key.name) };
            if let Is::Table(section) | Is::Tables(section) = key.is {
                visit(&inner, section, found);
            }
        }
    }
    let mut found = Vec::new();
    visit("", &ROOT, &mut found);
    found
}

#[cfg(test)]
mod tests;
