//! Finding a profile: a file by its path, or one that is shipped by its name.

use super::Profile;
use crate::document::{Document, Problem, Problems};
use std::path::Path;

/// The shipped profiles: name and text.
pub const SHIPPED: [(&str, &str); 11] = [
    ("supply-channel-list", include_str!("../../../profiles/supply-channel-list.toml")),
    ("supply-channel-select", include_str!("../../../profiles/supply-channel-select.toml")),
    ("supply-index-in-header", include_str!("../../../profiles/supply-index-in-header.toml")),
    ("supply-acknowledged", include_str!("../../../profiles/supply-acknowledged.toml")),
    ("supply-packed-digits", include_str!("../../../profiles/supply-packed-digits.toml")),
    ("supply-plain", include_str!("../../../profiles/supply-plain.toml")),
    ("meter-plain", include_str!("../../../profiles/meter-plain.toml")),
    ("meter-units-in-reply", include_str!("../../../profiles/meter-units-in-reply.toml")),
    ("meter-echo", include_str!("../../../profiles/meter-echo.toml")),
    ("meter-streaming", include_str!("../../../profiles/meter-streaming.toml")),
    ("meter-decimal-comma", include_str!("../../../profiles/meter-decimal-comma.toml")),
];

/// Finds a profile by what a bench file says: a name that is shipped, or a path
/// ending in `.toml`, relative to `beside` (the bench file's folder).
///
/// # Errors
/// The file's mistakes, or that there is no such profile, with the known names.
pub fn find(named: &str, beside: &Path) -> Result<Profile, Problems> {
    if Path::new(named).extension().is_some_and(|e| e == "toml") {
        let path = beside.join(named);
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        return Profile::read(&stem, Document::open(&path)?);
    }
    match SHIPPED.iter().find(|(name, _)| *name == named) {
        Some((name, text)) => Profile::read(name, Document::new(format!("profiles/{name}.toml"), *text)),
        None => {
            let known = SHIPPED.map(|(name, _)| name).join(", ");
            Err(Problem::of_file(named, format!("there is no profile {named:?}"))
                .hint(format!("shipped: {known}; or give a path that ends in .toml, as \"profiles/mine.toml\""))
                .into())
        }
    }
}
