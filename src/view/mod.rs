//! What a person sees: while a run goes on, and the way to say anything at all.

mod terminal;

pub use terminal::Terminal;

/// A line on standard output. A reader that has gone is no reason to stop: the
/// work, above all switching off, goes on.
macro_rules! outln {
    ($($words:tt)*) => { $crate::view::say(std::io::stdout().lock(), format_args!("{}\n", format_args!($($words)*))) };
}

/// A line on standard error, on the same terms.
macro_rules! errln {
    ($($words:tt)*) => { $crate::view::say(std::io::stderr().lock(), format_args!("{}\n", format_args!($($words)*))) };
}

pub(crate) use {errln, outln};

pub(crate) fn say(mut to: impl std::io::Write, words: std::fmt::Arguments<'_>) {
    to.write_fmt(words).and_then(|()| to.flush()).unwrap_or_default();
}
