//! Why a layout cannot be made, with the arithmetic and what to change.

use thiserror::Error;

/// A request that cannot be laid out. Every message is followed by `hint`.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LayoutError {
    /// A part of the request is missing, contradicts another, or is out of range.
    #[error("{part}: {problem}")]
    Request {
        /// The entry of the request, as written there.
        part: &'static str,
        /// Which one of a list, from 0, where one of them is at fault.
        entry: Option<usize>,
        /// What is wrong with it.
        problem: String,
        /// What to change.
        hint: String,
    },
    /// The plots, blocks or trees do not suffice or do not divide.
    #[error("{arithmetic}")]
    DoesNotFit {
        /// The count that fails.
        arithmetic: String,
        /// What to change.
        hint: String,
    },
    /// No layout was found that honours the restrictions.
    #[error("no layout honours the restrictions: {problem}")]
    Restriction {
        /// What was tried.
        problem: String,
        /// What to change.
        hint: String,
    },
}

impl LayoutError {
    pub(super) fn request(
        part: &'static str,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self::Request { part, entry: None, problem: problem.into(), hint: hint.into() }
    }

    /// One of a list at fault.
    pub(super) fn entry(
        part: &'static str,
        entry: usize,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self::Request { part, entry: Some(entry), problem: problem.into(), hint: hint.into() }
    }

    pub(super) fn fit(arithmetic: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::DoesNotFit { arithmetic: arithmetic.into(), hint: hint.into() }
    }

    /// What to change, for people.
    #[must_use]
    pub fn hint(&self) -> &str {
        match self {
            Self::Request { hint, .. }
            | Self::DoesNotFit { hint, .. }
            | Self::Restriction { hint, .. } => hint,
        }
    }
}
