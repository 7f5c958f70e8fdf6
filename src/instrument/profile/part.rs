//! A table of a profile, read by the keys that it can have: nothing is asked for that
//! stands in no table of `keys`, and nothing that stands there is forgotten.

use super::keys::{Is, Key, Section, Unless};
use crate::document::Table;
use crate::units::{Amperes, Quantity, Seconds, Unit, Volts, parse_as};
use std::collections::BTreeSet;

pub(super) struct Part<'a> {
    pub(super) table: Table<'a>,
    section: &'static Section,
    /// What is set or measured, in which amounts are.
    of: Unit,
    asked: BTreeSet<&'static str>,
}

/// What stands for a key that no table has: our own mistake, which a debug build stops at.
static NONE: Key = Key { name: "", is: Is::Text, unless: Unless::So("nothing"), rows: &[], meaning: "" };

impl<'a> Part<'a> {
    pub(super) fn new(table: Table<'a>, section: &'static Section, of: Unit) -> Self {
        Self { table, section, of, asked: BTreeSet::new() }
    }

    fn key(&mut self, name: &str) -> &'static Key {
        let key = self.section.key(name);
        debug_assert!(key.is_some(), "{:?} has no key {name:?}", self.section.title);
        let key = key.unwrap_or(&NONE);
        self.asked.insert(key.name);
        key
    }

    /// Whether there is anything to read; a key that is needed is reported.
    fn is_there(&mut self, key: &Key) -> bool {
        if self.table.has(key.name) {
            return true;
        }
        // Asked for, so that it is known where an unknown one is met.
        if key.unless == Unless::Needed {
            let hint = hint(key, self.of);
            self.table.missing::<()>(key.name, Some(hint));
        } else {
            self.table.ignore(key.name);
        }
        false
    }

    /// Not a matter of this profile: met, it is unknown.
    pub(super) fn passes_over(&mut self, name: &str) {
        self.key(name);
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.table.has(name)
    }

    pub(super) fn text(&mut self, name: &str) -> Option<String> {
        let key = self.key(name);
        match (self.is_there(key), key.unless) {
            (true, _) => self.table.text(name),
            (false, Unless::Is(text)) => Some(text.to_owned()),
            (false, _) => None,
        }
    }

    /// A text that says nothing where it is empty.
    pub(super) fn some_text(&mut self, name: &str) -> Option<String> {
        self.text(name).filter(|text| !text.is_empty())
    }

    /// Empty where the key is not there.
    pub(super) fn texts(&mut self, name: &str) -> Vec<String> {
        let key = self.key(name);
        match (self.is_there(key), key.unless) {
            (true, _) => self.table.texts(name).unwrap_or_default(),
            (false, Unless::Is(text)) => vec![text.to_owned()],
            (false, _) => Vec::new(),
        }
    }

    /// At least one.
    pub(super) fn some_texts(&mut self, name: &str) -> Option<Vec<String>> {
        let texts = self.texts(name);
        if texts.is_empty() && self.has(name) {
            self.table.problem(name, format!("{name:?} in {} is empty", self.table.name()), "nothing in it", None);
        }
        (!texts.is_empty()).then_some(texts)
    }

    pub(super) fn flag(&mut self, name: &str) -> bool {
        let key = self.key(name);
        let default = key.unless == Unless::Is("true");
        if self.is_there(key) { self.table.flag(name).unwrap_or(default) } else { default }
    }

    pub(super) fn count(&mut self, name: &str) -> Option<u64> {
        let key = self.key(name);
        let Is::Count(least, most) = key.is else { return self.mistaken(key) };
        match (self.is_there(key), key.unless) {
            (true, _) => self.table.count(name, least, most),
            (false, Unless::Is(text)) => text.parse().ok(),
            (false, _) => None,
        }
    }

    pub(super) fn size(&mut self, name: &str) -> Option<usize> {
        self.count(name).and_then(|count| usize::try_from(count).ok())
    }

    pub(super) fn small(&mut self, name: &str) -> Option<u32> {
        self.count(name).and_then(|count| u32::try_from(count).ok())
    }

    /// What its word means: the meanings in the order of the words.
    pub(super) fn choice<T: Copy>(&mut self, name: &str, meanings: &[T]) -> Option<T> {
        let key = self.key(name);
        let Is::Word(words) = key.is else { return self.mistaken(key) };
        debug_assert_eq!(words.len(), meanings.len(), "{name}");
        let pairs: Vec<(&str, T)> = words.iter().copied().zip(meanings.iter().copied()).collect();
        match (self.is_there(key), key.unless) {
            (true, _) => self.table.choice(name, &pairs),
            (false, Unless::Is(text)) => pairs.iter().find(|(word, _)| *word == text).map(|(_, meaning)| *meaning),
            (false, _) => None,
        }
    }

    /// Takes a value where its key is there; else what it was stays.
    pub(super) fn given<T>(&self, name: &str, value: Option<T>, into: &mut T) {
        if let Some(value) = value.filter(|_| self.has(name)) {
            *into = value;
        }
    }

    pub(super) fn quantity<Q: Quantity>(&mut self, name: &str) -> Option<Q> {
        let key = self.key(name);
        debug_assert!(matches!(key.is, Is::Quantity(unit) if unit == Q::UNIT), "{name} is no {:?}", Q::UNIT);
        match (self.is_there(key), key.unless) {
            (true, _) => self.table.quantity(name),
            (false, Unless::Is(text)) => parse_as(text, Q::UNIT).ok().map(Q::of),
            (false, _) => None,
        }
    }

    /// A quantity in the unit of what is set or measured.
    pub(super) fn amount(&mut self, name: &str) -> Option<f64> {
        let key = self.key(name);
        debug_assert!(matches!(key.is, Is::Amount), "{name} is no amount");
        if !self.is_there(key) {
            return None;
        }
        match self.of {
            Unit::Ampere => self.table.quantity::<Amperes>(name).map(|a| a.0),
            Unit::Second => self.table.quantity::<Seconds>(name).map(|t| t.0),
            _ => self.table.quantity::<Volts>(name).map(|v| v.0),
        }
    }

    /// A table, in which amounts are in the same unit.
    pub(super) fn part(&mut self, name: &str) -> Option<Part<'a>> {
        self.part_of(name, self.of)
    }

    pub(super) fn part_of(&mut self, name: &str, of: Unit) -> Option<Part<'a>> {
        let key = self.key(name);
        let Is::Table(section) = key.is else { return self.mistaken(key) };
        if self.is_there(key) { self.table.table(name).map(|table| Part::new(table, section, of)) } else { None }
    }

    pub(super) fn parts(&mut self, name: &str) -> Vec<Part<'a>> {
        let key = self.key(name);
        let Is::Tables(section) = key.is else { return self.mistaken(key).unwrap_or_default() };
        if !self.is_there(key) {
            return Vec::new();
        }
        let of = self.of;
        self.table.tables(name).into_iter().map(|table| Part::new(table, section, of)).collect()
    }

    fn mistaken<T>(&self, key: &Key) -> Option<T> {
        debug_assert!(false, "{:?} of {:?} is asked for as something else", key.name, self.section.title);
        None
    }

    pub(super) fn problem(&self, name: &str, title: impl Into<String>, label: impl Into<String>, hint: Option<&str>) {
        self.table.problem(name, title, label, hint.map(str::to_owned));
    }

    /// Ends the reading: what nobody asked for is a mistake in the file.
    pub(super) fn finish(self) {
        for key in self.section.all() {
            debug_assert!(self.asked.contains(key.name), "{:?} of {:?} is never read", key.name, self.section.title);
        }
        self.table.finish();
    }
}

/// What to write.
fn hint(key: &Key, of: Unit) -> String {
    let name = key.name;
    match key.is {
        Is::Text => format!("write {name} = \"…\": {}", key.meaning),
        Is::Texts => format!("write {name} = [\"…\"]: {}", key.meaning),
        Is::Flag => format!("write {name} = true or {name} = false"),
        Is::Count(least, _) => format!("write {name} = {least}"),
        Is::Word(words) => {
            let words: Vec<String> = words.iter().map(|word| format!("{name} = \"{word}\"")).collect();
            format!("write {}", words.join(" or "))
        }
        Is::Quantity(unit) => format!("write {name} = {}", unit.examples()),
        Is::Amount => format!("write {name} = {}", of.examples()),
        Is::Table(_) => format!("add a [{name}] table: {}", key.meaning),
        Is::Tables(_) => format!("add [[{name}]] tables: {}", key.meaning),
    }
}
