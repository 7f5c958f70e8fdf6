//! What is wrong with a file, where, and what would be right.

use super::{Document, Span};
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet, renderer::DecorStyle};

/// Whether a problem forbids the run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// Nothing will be energised.
    Error,
    /// The run may go on; the person should know.
    Warning,
}

/// One thing that is wrong, and its place.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Whether it forbids the run.
    pub severity: Severity,
    /// The file's name.
    pub file: String,
    /// One sentence.
    pub title: String,
    /// A few words beside the caret.
    pub label: String,
    /// What would be right, where that can be said.
    pub hint: Option<String>,
    place: Option<(Span, String)>,
}

impl Problem {
    /// An error at a place in a document.
    pub fn at(document: &Document, span: Span, title: impl Into<String>) -> Self {
        Self {
            severity: Severity::Error,
            file: document.name.clone(),
            title: title.into(),
            label: String::new(),
            hint: None,
            place: Some((span, document.text.clone())),
        }
    }

    /// An error that concerns a file as a whole.
    pub fn of_file(file: &str, title: String) -> Self {
        Self { severity: Severity::Error, file: file.to_owned(), title, label: String::new(), hint: None, place: None }
    }

    /// With a few words beside the caret.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// With a hint.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// As a warning.
    #[must_use]
    pub fn warning(mut self) -> Self {
        self.severity = Severity::Warning;
        self
    }

    /// Line and column (in characters), both from 1.
    pub fn line_column(&self) -> Option<(usize, usize)> {
        let (span, text) = self.place.as_ref()?;
        let before = text.get(..span.start.min(text.len()))?;
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
        Some((line, column))
    }

    /// As a person reads it: the sentence, `file:line:column`, the line with a
    /// caret, the hint. Without colour.
    pub fn render(&self) -> String {
        let level = match self.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
        };
        let mut group = level.primary_title(self.title.as_str()).elements(None::<Snippet<'_, annotate_snippets::Annotation<'_>>>);
        if let Some((span, text)) = &self.place {
            group = group.element(
                Snippet::source(text.as_str())
                    .path(self.file.as_str())
                    .annotation(AnnotationKind::Primary.span(on_one_line(span, text)).label(self.label.as_str())),
            );
        }
        if let Some(hint) = &self.hint {
            group = group.element(Level::HELP.message(hint.as_str()));
        }
        Renderer::plain().decor_style(DecorStyle::Ascii).render(&[group])
    }
}

/// A caret under a whole table would fill the screen: its first line is enough.
fn on_one_line(span: &Span, text: &str) -> Span {
    let start = span.start.min(text.len());
    let end = span.end.clamp(start, text.len());
    let line = text.get(start..end).and_then(|t| t.find('\n')).map_or(end, |n| start + n);
    start..line
}

/// How many are kept; the others are counted. Nobody reads more in one go.
const KEPT: usize = 50;

/// Everything that is wrong with one or more files.
#[derive(Clone, Debug, Default)]
pub struct Problems {
    found: Vec<Problem>,
    /// How many more there were, and whether one of them was an error.
    more: usize,
    more_errors: bool,
}

impl Problems {
    /// Adds one.
    pub fn push(&mut self, problem: Problem) {
        if self.found.len() < KEPT {
            self.found.push(problem);
        } else {
            self.more += 1;
            self.more_errors |= problem.severity == Severity::Error;
        }
    }

    /// Adds those of another file.
    pub fn extend(&mut self, other: Problems) {
        self.more += other.more;
        self.more_errors |= other.more_errors;
        other.found.into_iter().for_each(|problem| self.push(problem));
    }

    /// Whether anything forbids the run.
    pub fn any_errors(&self) -> bool {
        self.more_errors || self.found.iter().any(|p| p.severity == Severity::Error)
    }

    /// In the order in which they were found.
    pub fn iter(&self) -> impl Iterator<Item = &Problem> {
        self.found.iter()
    }

    /// Whether there is nothing to say.
    pub fn is_empty(&self) -> bool {
        self.found.is_empty()
    }
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Self {
        Self { found: vec![problem], ..Self::default() }
    }
}

impl std::fmt::Display for Problems {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (i, problem) in self.found.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            writeln!(f, "{}", problem.render())?;
        }
        if self.more > 0 {
            writeln!(f, "\nand {} more", self.more)?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}
