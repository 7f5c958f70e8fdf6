//! A netlist's lines and words, with their places.
//!
//! Comments (`*` in front, `;` and ` $` behind) and continuations (`+` in front)
//! are gone here. Parentheses and commas part words as blanks do; `=` is a word; what
//! stands in braces or single quotes is one. All words are in lower case.

use crate::document::Span;

/// A word and where it stands, in bytes of the document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Word {
    pub text: String,
    pub span: Span,
}

/// A line with its continuations; at least one word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    pub words: Vec<Word>,
}

impl Line {
    /// The first word's text.
    pub fn head(&self) -> &str {
        self.words.first().map_or("", |w| w.text.as_str())
    }

    /// From the first word to the last.
    pub fn span(&self) -> Span {
        let start = self.words.first().map_or(0, |w| w.span.start);
        start..self.words.last().map_or(start, |w| w.span.end)
    }

    /// Just behind the last word.
    pub fn end(&self) -> Span {
        let end = self.span().end;
        end.saturating_sub(1)..end
    }
}

/// Parts `text`, which begins at byte `offset` of its document, into lines.
pub fn lines(text: &str, offset: usize) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    let mut start = 0;
    for raw in text.split_inclusive('\n') {
        let at = offset + start;
        start += raw.len();
        let trimmed = raw.trim_start();
        let lead = raw.len() - trimmed.len();
        if trimmed.starts_with('*') {
            continue;
        }
        if let Some(more) = trimmed.strip_prefix('+') {
            let words = words(more, at + lead + 1);
            if let Some(last) = lines.last_mut() {
                last.words.extend(words);
                continue;
            }
        }
        let words = words(raw, at);
        if !words.is_empty() {
            lines.push(Line { words });
        }
    }
    lines
}

fn words(line: &str, offset: usize) -> Vec<Word> {
    let mut words: Vec<Word> = Vec::new();
    let mut begun: Option<usize> = None;
    let mut closes: Option<char> = None;
    let mut before = ' ';
    let mut end = line.len();
    let take = |words: &mut Vec<Word>, from: Option<usize>, to: usize| {
        if let Some(text) = from.and_then(|from| line.get(from..to)) {
            let start = offset + to - text.len();
            words.push(Word { text: text.to_ascii_lowercase(), span: start..offset + to });
        }
    };
    for (i, c) in line.char_indices() {
        if let Some(close) = closes {
            if c == close {
                take(&mut words, begun.take(), i + 1);
                closes = None;
            }
            before = c;
            continue;
        }
        let comment = c == ';' || (c == '$' && before.is_whitespace());
        if comment {
            end = i;
            break;
        }
        match c {
            '{' | '\'' => {
                take(&mut words, begun.take(), i);
                begun = Some(i);
                closes = Some(if c == '{' { '}' } else { '\'' });
            }
            '=' => {
                take(&mut words, begun.take(), i);
                take(&mut words, Some(i), i + 1);
            }
            '(' | ')' | ',' => take(&mut words, begun.take(), i),
            c if c.is_whitespace() => take(&mut words, begun.take(), i),
            _ => begun = begun.or(Some(i)),
        }
        before = c;
    }
    take(&mut words, begun, end);
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_and_continuations_are_gone_and_places_stay() {
        let text = "R1 a b 1K ; lead\n* a comment\n+ tc = 1 $ more\nV1 in 0 PULSE(0,5 {2*x} 'y' 1u)\n";
        let lines = lines(text, 10);
        let texts: Vec<Vec<&str>> = lines.iter().map(|l| l.words.iter().map(|w| w.text.as_str()).collect()).collect();
        let wanted: [&[&str]; 2] =
            [&["r1", "a", "b", "1k", "tc", "=", "1"], &["v1", "in", "0", "pulse", "0", "5", "{2*x}", "'y'", "1u"]];
        assert_eq!(texts, wanted);
        for word in lines.iter().flat_map(|l| &l.words) {
            assert!(text[word.span.start - 10..word.span.end - 10].eq_ignore_ascii_case(&word.text));
        }
    }
}
