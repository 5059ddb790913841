//! What a book must state before a number can be given.

use serde::{Deserialize, Serialize};
use thiserror::Error;
use words::say;

/// A setting that is missing or cannot be right, with its key in `book.toml` and the remedy.
#[derive(Debug, Clone, PartialEq, Eq, Error, Serialize, Deserialize)]
#[error("{key}: {what}; {remedy}")]
pub struct SettingError {
    /// Key in `book.toml`, for example `[work] crew_size`.
    pub key: String,
    /// What is wrong, with the arithmetic where there is one.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl SettingError {
    /// From a key, what is wrong with it and the remedy.
    #[must_use]
    pub fn new(key: impl Into<String>, what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { key: key.into(), what: what.into(), remedy: remedy.into() }
    }
}

/// A value that must be finite and above zero.
///
/// # Errors
/// [`SettingError`] with the key and the remedy when it is not.
pub fn positive(key: impl Into<String>, value: f64, remedy: &str) -> Result<f64, SettingError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(SettingError::new(key, say!("{value} is not above zero"), remedy))
    }
}
