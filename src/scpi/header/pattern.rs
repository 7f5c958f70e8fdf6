//! A whole header's pattern: compiling, matching and emitting.
//!
//! Holds always: at most [`MOST_NODES`] nodes, so that matching is bounded
//! however the brackets stand.

use super::{Mnemonic, PatternError};

/// The most nodes of a pattern.
const MOST_NODES: usize = 10;

/// The longest numeric suffix that is read, in digits.
const SUFFIX_DIGITS: usize = 9;

/// A command header with its variants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern {
    nodes: Vec<Node>,
    common: bool,
    query: bool,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Node {
    mnemonic: Mnemonic,
    optional: bool,
    indexed: bool,
}

impl Pattern {
    /// Compiles `[:SOURce]:VOLTage[:LEVel]`, `OUTPut#:STATe?` or `*IDN?`.
    ///
    /// With a question mark at its end the pattern is the query, without one the command.
    ///
    /// ```
    /// use rampart::scpi::header::Pattern;
    /// let pattern = Pattern::new("[:SOURce]:VOLTage[:LEVel]")?;
    /// assert_eq!(pattern.matches("sour:volt:lev"), Some(vec![]));
    /// assert_eq!(pattern.matches("VOLTA"), None);
    /// assert_eq!(pattern.short(&[]), "VOLT");
    /// # Ok::<(), rampart::scpi::header::PatternError>(())
    /// ```
    ///
    /// # Errors
    /// Brackets that do not pair or hold more than one node, a mnemonic that is none, no node that is
    /// required, or more than 10 nodes.
    pub fn new(text: &str) -> Result<Pattern, PatternError> {
        Self::compile(text).map_err(|problem| PatternError { pattern: text.to_owned(), problem })
    }

    fn compile(text: &str) -> Result<Pattern, &'static str> {
        let (header, query) = match text.trim().strip_suffix('?') {
            Some(header) => (header, true),
            None => (text.trim(), false),
        };
        if let Some(name) = header.strip_prefix('*') {
            let mnemonic = Mnemonic::new(name)?;
            return Ok(Pattern { nodes: vec![Node { mnemonic, optional: false, indexed: false }], common: true, query });
        }
        let mut nodes = Vec::new();
        let mut rest = header;
        // Guides print [:SOURce]:VOLTage and [SOURce:]VOLTage for the same.
        let mut colon_given = true;
        while !rest.is_empty() {
            let optional = rest.starts_with('[');
            let node = if optional {
                let (node, tail) = rest[1..].split_once(']').ok_or("a bracket is not closed")?;
                rest = tail;
                node
            } else {
                let start = usize::from(rest.starts_with(':'));
                let end = rest[start..].find([':', '[']).map_or(rest.len(), |at| start + at);
                let (node, tail) = rest.split_at(end);
                rest = tail;
                node
            };
            let name = match node.strip_prefix(':') {
                Some(name) => name,
                None if colon_given => node,
                None => return Err("a colon is missing before a node, as in :VOLTage[:LEVel]"),
            };
            let (name, colon_behind) = match name.strip_suffix(':') {
                Some(name) if optional => (name, true),
                _ => (name, false),
            };
            colon_given = colon_behind;
            if name.contains([':', '[', ']']) {
                return Err("a bracket holds one node, as in [:LEVel][:IMMediate]");
            }
            let (name, indexed) = match name.strip_suffix('#').or_else(|| name.strip_suffix("<n>")) {
                Some(name) => (name, true),
                None => (name, false),
            };
            nodes.push(Node { mnemonic: Mnemonic::new(name)?, optional, indexed });
            if nodes.len() > MOST_NODES {
                return Err("more than 10 nodes");
            }
        }
        match nodes.iter().all(|node| node.optional) {
            true => Err("at least one node has to stand outside brackets"),
            false => Ok(Pattern { nodes, common: false, query }),
        }
    }

    /// Whether this is the pattern of a query.
    pub fn is_query(&self) -> bool {
        self.query
    }

    /// The numeric suffixes, one for each `#` in order (1 where left out), if `header` is one
    /// of the pattern's variants. A colon in front is allowed; the question mark has to agree.
    pub fn matches(&self, header: &str) -> Option<Vec<u32>> {
        let (path, query) = match header.strip_suffix('?') {
            Some(path) => (path, true),
            None => (header, false),
        };
        (query == self.query).then(|| self.matches_path(path)).flatten()
    }

    /// As [`Pattern::matches`] for a header whose question mark was taken off: looks at the
    /// path alone.
    pub fn matches_path(&self, path: &str) -> Option<Vec<u32>> {
        if let Some(name) = path.strip_prefix('*') {
            return (self.common && self.nodes[0].mnemonic.matches(name)).then(Vec::new);
        }
        if self.common {
            return None;
        }
        let path = path.strip_prefix(':').unwrap_or(path);
        let words: Vec<&str> = path.split(':').take(MOST_NODES + 1).collect();
        let mut suffixes = Vec::new();
        walk(&self.nodes, &words, &mut suffixes).then_some(suffixes)
    }

    /// The shortest variant: short forms, no optional nodes. `suffixes` are those of the `#`
    /// in order; those not given are 1, and a 1 is not written.
    pub fn short(&self, suffixes: &[u32]) -> String {
        self.emit(suffixes, Mnemonic::short, false)
    }

    /// The longest variant: long forms, every node, every suffix.
    pub fn long(&self, suffixes: &[u32]) -> String {
        self.emit(suffixes, Mnemonic::long, true)
    }

    fn emit(&self, suffixes: &[u32], form: fn(&Mnemonic) -> &str, full: bool) -> String {
        let mut suffixes = suffixes.iter().copied();
        let mut out = String::from(if self.common { "*" } else { "" });
        let mut first = true;
        for node in &self.nodes {
            let suffix = if node.indexed { suffixes.next().unwrap_or(1) } else { 1 };
            let written = node.indexed && (full || suffix != 1);
            if node.optional && !full && !written {
                continue;
            }
            if !first {
                out.push(':');
            }
            first = false;
            out.push_str(form(&node.mnemonic));
            if written {
                out.push_str(&suffix.to_string());
            }
        }
        if self.query {
            out.push('?');
        }
        out
    }
}

impl Node {
    /// The suffix of `word` if it is this node; 1 where it has none.
    fn suffix(&self, word: &str) -> Option<u32> {
        if self.mnemonic.matches(word) {
            return Some(1);
        }
        if !self.indexed {
            return None;
        }
        [self.mnemonic.long(), self.mnemonic.short()].iter().find_map(|form| {
            let (name, digits) = word.split_at_checked(form.len())?;
            let number = (1..=SUFFIX_DIGITS).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
            (name.eq_ignore_ascii_case(form) && number).then(|| digits.parse().ok()).flatten()
        })
    }
}

fn walk(nodes: &[Node], words: &[&str], suffixes: &mut Vec<u32>) -> bool {
    let Some((node, others)) = nodes.split_first() else { return words.is_empty() };
    let mark = suffixes.len();
    if let Some((word, rest)) = words.split_first()
        && let Some(suffix) = node.suffix(word)
    {
        if node.indexed {
            suffixes.push(suffix);
        }
        if walk(others, rest, suffixes) {
            return true;
        }
        suffixes.truncate(mark);
    }
    if node.optional {
        if node.indexed {
            suffixes.push(1);
        }
        if walk(others, words, suffixes) {
            return true;
        }
        suffixes.truncate(mark);
    }
    false
}
