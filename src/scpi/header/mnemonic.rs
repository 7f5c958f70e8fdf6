//! One mnemonic: `VOLTage`, its capitals and digits being the short form
//! (SCPI-99 volume 1, 6.2.1).
//!
//! Holds always: matched by exactly its long or exactly its short form.

/// The longest mnemonic, in characters (IEEE 488.2 7.6.1.4.1).
pub const LONGEST: usize = 12;

/// A mnemonic with a long and a short form.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Mnemonic {
    long: String,
    short: usize,
}

impl Mnemonic {
    /// From the usual notation: capitals, digits and underscores first, the rest of the
    /// long form in small letters.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn new(text: &str) -> Result<Mnemonic, &'static str> {
        let short = text.find(|c: char| c.is_ascii_lowercase()).unwrap_or(text.len());
        let of_short = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_';
        let of_long = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
        match text {
            "" => Err("a mnemonic is missing between two colons"),
            _ if text.len() > LONGEST => Err("a mnemonic has at most 12 characters (IEEE 488.2 7.6.1.4.1)"),
            _ if !text.starts_with(|c: char| c.is_ascii_uppercase()) => Err("a mnemonic starts with a capital letter"),
            _ if !text[..short].chars().all(of_short) || !text[short..].chars().all(of_long) => {
                Err("a mnemonic is capitals (the short form), then small letters, as in VOLTage")
            }
            _ => Ok(Mnemonic { long: text.to_ascii_uppercase(), short }),
        }
    }

    /// Whether `word` is exactly the long or exactly the short form, in capitals or not.
    pub fn matches(&self, word: &str) -> bool {
        word.eq_ignore_ascii_case(&self.long) || word.eq_ignore_ascii_case(self.short())
    }

    /// The long form in capitals.
    pub fn long(&self) -> &str {
        &self.long
    }

    /// The short form in capitals, as responses have it.
    pub fn short(&self) -> &str {
        &self.long[..self.short]
    }
}
