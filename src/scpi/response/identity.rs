//! The answer to `*IDN?` (IEEE 488.2 10.14): four fields of arbitrary text.
//!
//! It is not response data of the usual kind: its fields stand unquoted, with
//! blanks and dashes inside. Leaves to others: what a profile expects in them.

/// Who an instrument says it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// The maker.
    pub maker: String,
    /// The model.
    pub model: String,
    /// The serial number; `None` where the instrument sends `0` for unknown.
    pub serial: Option<String>,
    /// The firmware's version; `None` where the instrument sends `0` for unknown.
    pub firmware: Option<String>,
}

/// An identity that is not four fields.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("expected maker, model, serial number and firmware with commas between them, found {fields} field(s) in {text:?}")]
pub struct IdentityError {
    /// How many fields there are.
    pub fields: usize,
    /// What was sent.
    pub text: String,
}

impl Identity {
    /// Reads the four fields; a comma in the fourth belongs to it. Quotes around the
    /// whole are taken off.
    ///
    /// # Errors
    /// Fewer than four fields.
    pub fn parse(message: &[u8]) -> Result<Identity, IdentityError> {
        let text = super::super::element::text(message.trim_ascii().to_vec());
        let bare = text.strip_prefix('"').and_then(|t| t.strip_suffix('"')).unwrap_or(&text);
        let fields: Vec<&str> = bare.splitn(4, ',').map(str::trim).collect();
        let known = |field: &str| (field != "0" && !field.is_empty()).then(|| field.to_owned());
        match fields[..] {
            [maker, model, serial, firmware] => {
                Ok(Identity { maker: maker.into(), model: model.into(), serial: known(serial), firmware: known(firmware) })
            }
            _ => Err(IdentityError { fields: fields.len(), text }),
        }
    }
}

impl std::fmt::Display for Identity {
    /// As it is sent.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let known = |field: &Option<String>| field.clone().unwrap_or_else(|| "0".into());
        write!(f, "{},{},{},{}", self.maker, self.model, known(&self.serial), known(&self.firmware))
    }
}
