//! A table of a TOML file, asked key by key.

use super::{Document, Problem, Problems};
use crate::units::{Quantity, parse_as};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A stretch of a file, in bytes.
pub type Span = std::ops::Range<usize>;

/// Where a table and its values stand, kept beside what was read so that later
/// checks can still point at them. Inner values are known by their dotted path:
/// `limit.running`, `voltages.2` (counted from 0).
#[derive(Clone, Debug, Default)]
pub struct Places {
    whole: Span,
    values: BTreeMap<String, Span>,
}

impl Places {
    /// Where the value of `key` stands, or else what it would stand in: `limit.running`
    /// is the whole `limit` where that is no table, and the table where there is none.
    pub fn of(&self, key: &str) -> Span {
        let mut key = key;
        loop {
            if let Some(span) = self.values.get(key) {
                return span.clone();
            }
            match key.rsplit_once('.') {
                Some((outer, _)) => key = outer,
                None => return self.whole.clone(),
            }
        }
    }

    /// Where the table stands.
    pub fn whole(&self) -> Span {
        self.whole.clone()
    }
}

/// A table that is being read.
pub struct Table<'a> {
    document: &'a Document,
    problems: &'a RefCell<Problems>,
    table: &'a DeTable<'a>,
    span: Span,
    name: String,
    asked: BTreeSet<String>,
}

impl<'a> Table<'a> {
    pub(super) fn new(
        document: &'a Document,
        problems: &'a RefCell<Problems>,
        table: &'a DeTable<'a>,
        span: Span,
        name: &str,
    ) -> Self {
        Self { document, problems, table, span, name: name.to_owned(), asked: BTreeSet::new() }
    }

    /// What messages call this table.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The document it stands in.
    pub fn document(&self) -> &Document {
        self.document
    }

    /// Where its values stand.
    pub fn places(&self) -> Places {
        let mut values = BTreeMap::new();
        for (key, value) in self.table.iter() {
            gather(key.get_ref().to_string(), value, &mut values);
        }
        Places { whole: self.span.clone(), values }
    }

    /// Every key, in the order of the alphabet, with none of them marked as asked for.
    pub fn keys(&self) -> Vec<String> {
        self.table.iter().map(|(k, _)| k.get_ref().to_string()).collect()
    }

    /// Whether the key is there.
    pub fn has(&self, key: &str) -> bool {
        self.table.iter().any(|(k, _)| k.get_ref().as_ref() == key)
    }

    /// Whether the key is there and a table.
    pub fn is_table(&self, key: &str) -> bool {
        self.table.iter().any(|(k, v)| k.get_ref().as_ref() == key && matches!(v.get_ref(), DeValue::Table(_)))
    }

    /// Whether the key is there and exactly this text.
    pub fn text_is(&self, key: &str, text: &str) -> bool {
        self.table
            .iter()
            .any(|(k, v)| k.get_ref().as_ref() == key && matches!(v.get_ref(), DeValue::String(s) if s.as_ref() == text))
    }

    /// Leaves a key unjudged.
    pub fn ignore(&mut self, key: &str) {
        self.asked.insert(key.to_owned());
    }

    fn value(&mut self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.insert(key.to_owned());
        self.table.iter().find(|(k, _)| k.get_ref().as_ref() == key).map(|(_, v)| v)
    }

    /// Reports a problem at the value of `key`, or at the table where there is none.
    pub fn problem(&self, key: &str, title: impl Into<String>, label: impl Into<String>, hint: Option<String>) {
        let span = self.table.iter().find(|(k, _)| k.get_ref().as_ref() == key).map_or(self.span.clone(), |(_, v)| v.span());
        self.report(span, title, label, hint);
    }

    fn report(&self, span: Span, title: impl Into<String>, label: impl Into<String>, hint: Option<String>) {
        let mut problem = Problem::at(self.document, span, title).label(label);
        problem.hint = hint;
        self.problems.borrow_mut().push(problem);
    }

    fn unexpected(&self, key: &str, value: &Spanned<DeValue<'_>>, expected: &str, hint: Option<String>) {
        let found = kind_of(value.get_ref());
        self.report(
            value.span(),
            format!("{key:?} in {}: expected {expected}, found {found}", self.name),
            format!("expected {expected}"),
            hint,
        );
    }

    /// Reports that `key` is missing, and returns `None` for `?`.
    pub fn missing<T>(&mut self, key: &str, hint: Option<String>) -> Option<T> {
        self.asked.insert(key.to_owned());
        self.report(self.span.clone(), format!("{} lacks {key:?}", self.name), format!("{key:?} is missing here"), hint);
        None
    }

    /// A quantity, if the key is there.
    pub fn quantity<Q: Quantity>(&mut self, key: &str) -> Option<Q> {
        let value = self.value(key)?;
        self.quantity_in(key, value)
    }

    /// A quantity that must be there.
    pub fn need<Q: Quantity>(&mut self, key: &str) -> Option<Q> {
        match self.value(key) {
            Some(value) => self.quantity_in(key, value),
            None => self.missing(key, Some(format!("write {key} = {}", Q::UNIT.examples()))),
        }
    }

    fn quantity_in<Q: Quantity>(&self, key: &str, value: &Spanned<DeValue<'_>>) -> Option<Q> {
        match value.get_ref() {
            DeValue::String(text) => match parse_as(text, Q::UNIT) {
                Ok(number) => Some(Q::of(number)),
                Err(error) => {
                    self.report(
                        value.span(),
                        format!("{key:?} in {}: {}", self.name, error.problem),
                        format!("expected {}", Q::UNIT.described()),
                        error.hint,
                    );
                    None
                }
            },
            DeValue::Integer(_) | DeValue::Float(_) => {
                let text = self.document.text.get(value.span()).unwrap_or("this").to_owned();
                self.report(
                    value.span(),
                    format!("{key:?} in {}: {text} is a bare number; {} needs its unit", self.name, Q::UNIT.described()),
                    "no unit",
                    Some(format!("write it in quotes with its unit, as {}", Q::UNIT.examples())),
                );
                None
            }
            _ => {
                self.unexpected(key, value, Q::UNIT.described(), Some(format!("write it as {}", Q::UNIT.examples())));
                None
            }
        }
    }

    /// A list of quantities, if the key is there; at least one.
    pub fn quantities<Q: Quantity>(&mut self, key: &str) -> Option<Vec<Q>> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::Array(items) if !items.is_empty() => {
                // Every item is looked at, so that every slip in the list is reported.
                let read: Vec<Option<Q>> = items.iter().map(|item| self.quantity_in(key, item)).collect();
                read.into_iter().collect()
            }
            _ => {
                self.unexpected(
                    key,
                    value,
                    "a list",
                    Some(format!("write it as [{}]", Q::UNIT.examples().replace(" or ", ", "))),
                );
                None
            }
        }
    }

    /// Two quantities, the lower first.
    pub fn band<Q: Quantity>(&mut self, key: &str) -> Option<(Q, Q)> {
        let list = self.quantities::<Q>(key)?;
        match list[..] {
            [low, high] if low.value() < high.value() => Some((low, high)),
            _ => {
                self.problem(
                    key,
                    format!("{key:?} in {}: expected two values, the lower first", self.name),
                    "expected [lower, upper]",
                    None,
                );
                None
            }
        }
    }

    /// A text, if the key is there.
    pub fn text(&mut self, key: &str) -> Option<String> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::String(text) => Some(text.to_string()),
            _ => {
                self.unexpected(key, value, "a text in quotes", None);
                None
            }
        }
    }

    /// A text that must be there.
    pub fn need_text(&mut self, key: &str) -> Option<String> {
        if self.has(key) { self.text(key) } else { self.missing(key, None) }
    }

    /// A text or a list of texts, if the key is there.
    pub fn texts(&mut self, key: &str) -> Option<Vec<String>> {
        let value = self.value(key)?;
        let read = match value.get_ref() {
            DeValue::String(text) => Some(vec![text.to_string()]),
            DeValue::Array(items) => items
                .iter()
                .map(|i| match i.get_ref() {
                    DeValue::String(text) => Some(text.to_string()),
                    _ => None,
                })
                .collect(),
            _ => None,
        };
        if read.is_none() {
            self.unexpected(key, value, "a text or a list of texts", None);
        }
        read
    }

    /// A whole number from `least` to `most`, if the key is there.
    pub fn count(&mut self, key: &str, least: u64, most: u64) -> Option<u64> {
        let value = self.value(key)?;
        let number = match value.get_ref() {
            DeValue::Integer(integer) => u64::from_str_radix(&integer.as_str().replace('_', ""), integer.radix()).ok(),
            _ => None,
        };
        let read = number.filter(|n| (least..=most).contains(n));
        if read.is_none() {
            self.unexpected(key, value, &format!("a whole number from {least} to {most}"), None);
        }
        read
    }

    /// A plain number without a unit, if the key is there.
    pub fn number(&mut self, key: &str) -> Option<f64> {
        let value = self.value(key)?;
        let number = match value.get_ref() {
            DeValue::Integer(i) => i.as_str().replace('_', "").parse::<f64>().ok(),
            DeValue::Float(f) => f.as_str().replace('_', "").parse::<f64>().ok(),
            _ => None,
        };
        let read = number.filter(|n| n.is_finite());
        if read.is_none() {
            self.unexpected(key, value, "a number", None);
        }
        read
    }

    /// Yes or no, if the key is there.
    pub fn flag(&mut self, key: &str) -> Option<bool> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::Boolean(flag) => Some(*flag),
            _ => {
                self.unexpected(key, value, "true or false", None);
                None
            }
        }
    }

    /// A date as TOML writes it (2027-03-31), if the key is there.
    pub fn date(&mut self, key: &str) -> Option<String> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::Datetime(d) if d.date.is_some() && d.time.is_none() => Some(d.to_string()),
            _ => {
                self.unexpected(key, value, "a date", Some("write it without quotes, as 2027-03-31".into()));
                None
            }
        }
    }

    /// One of a few words, if the key is there.
    pub fn choice<T: Copy>(&mut self, key: &str, choices: &[(&str, T)]) -> Option<T> {
        let text = self.text(key)?;
        let found = choices.iter().find(|(word, _)| *word == text).map(|(_, t)| *t);
        if found.is_none() {
            let words: Vec<&str> = choices.iter().map(|(w, _)| *w).collect();
            let known = words.iter().map(|w| format!("{w:?}")).collect::<Vec<_>>().join(", ");
            let hint = nearest(&text, &words)
                .map_or(format!("known here: {known}"), |n| format!("did you mean {n:?}? Known here: {known}"));
            self.problem(
                key,
                format!("{key:?} in {}: {text:?} is not known", self.name),
                "not one of the known words",
                Some(hint),
            );
        }
        found
    }

    /// A table inside this one, if the key is there. The caller must `finish` it.
    pub fn table(&mut self, key: &str) -> Option<Table<'a>> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::Table(table) => Some(self.inner(table, value.span(), &format!("[{key}]"))),
            _ => {
                self.unexpected(key, value, "a table", Some(format!("write [{key}] on a line of its own, or {key} = {{ … }}")));
                None
            }
        }
    }

    /// A table that must be there.
    pub fn need_table(&mut self, key: &str) -> Option<Table<'a>> {
        if self.has(key) { self.table(key) } else { self.missing(key, Some(format!("add a [{key}] table"))) }
    }

    /// An array of tables (`[[key]]`), empty where the key is missing. Each must be finished.
    pub fn tables(&mut self, key: &str) -> Vec<Table<'a>> {
        let Some(value) = self.value(key) else { return Vec::new() };
        let DeValue::Array(items) = value.get_ref() else {
            self.unexpected(key, value, &format!("[[{key}]] tables"), Some(format!("write [[{key}]] with two brackets")));
            return Vec::new();
        };
        let mut tables = Vec::new();
        for (i, item) in items.iter().enumerate() {
            match item.get_ref() {
                DeValue::Table(table) => tables.push(self.inner(table, item.span(), &format!("[[{key}]] number {}", i + 1))),
                _ => self.unexpected(key, item, "a table", None),
            }
        }
        tables
    }

    fn inner(&self, table: &'a DeTable<'a>, span: Span, name: &str) -> Table<'a> {
        Table::new(self.document, self.problems, table, span, name)
    }

    /// Another reader of the same table, which judges its keys instead of this one.
    pub fn again(&mut self) -> Table<'a> {
        self.asked.extend(self.keys());
        Table::new(self.document, self.problems, self.table, self.span.clone(), &self.name)
    }

    /// Adds what somebody else has found in the same document.
    pub fn note(&self, found: Problems) {
        self.problems.borrow_mut().extend(found);
    }

    /// Gives the table a better name for messages.
    pub fn rename(&mut self, name: impl Into<String>) {
        self.name = name.into();
    }

    /// Ends the reading: every key that nobody asked for is a mistake.
    pub fn finish(self) {
        let known: Vec<&str> = self.asked.iter().map(String::as_str).collect();
        for (key, _) in self.table.iter() {
            let text = key.get_ref().as_ref();
            if self.asked.contains(text) {
                continue;
            }
            let list = known.join(", ");
            let hint = nearest(text, &known)
                .map_or(format!("known here: {list}"), |n| format!("did you mean {n:?}? Known here: {list}"));
            self.report(key.span(), format!("{} has no key {text:?}", self.name), "unknown key", Some(hint));
        }
    }
}

/// Notes where a value and all that is in it stand.
fn gather(path: String, value: &Spanned<DeValue<'_>>, values: &mut BTreeMap<String, Span>) {
    match value.get_ref() {
        DeValue::Table(table) => {
            for (key, inner) in table.iter() {
                gather(format!("{path}.{}", key.get_ref()), inner, values);
            }
        }
        DeValue::Array(items) => {
            for (i, inner) in items.iter().enumerate() {
                gather(format!("{path}.{i}"), inner, values);
            }
        }
        _ => {}
    }
    values.insert(path, value.span());
}

fn nearest<'w>(word: &str, known: &[&'w str]) -> Option<&'w str> {
    known
        .iter()
        .map(|k| (strsim::jaro_winkler(word, k), *k))
        .filter(|(score, _)| *score > 0.8)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

fn kind_of(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(s) => format!("the text {:?}", s.as_ref()),
        DeValue::Integer(i) => format!("the number {}", i.as_str()),
        DeValue::Float(f) => format!("the number {}", f.as_str()),
        DeValue::Boolean(b) => b.to_string(),
        DeValue::Datetime(d) => format!("the date {d}"),
        DeValue::Array(_) => "a list".into(),
        DeValue::Table(_) => "a table".into(),
    }
}
