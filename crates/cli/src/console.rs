//! Talking to the person or program at the other end.

mod stages;

pub use stages::Stages;

use records::Problem;
use std::io::{self, Write};
use std::process::ExitCode;
use thiserror::Error;

/// How a command ended when it did its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Done.
    Done,
    /// Done, and a person should look at something.
    Findings,
}

impl Outcome {
    /// 0 or 1.
    #[must_use]
    pub fn exit_code(self) -> ExitCode {
        ExitCode::from(u8::from(self == Self::Findings))
    }
}

/// Why a command could not do its work.
#[derive(Debug, Error)]
pub enum Failure {
    /// The record book cannot be used.
    #[error("the record book cannot be used")]
    Book(Vec<Problem>),
    /// Something else, with what to do about it.
    #[error("{what}")]
    Other {
        /// What happened.
        what: String,
        /// What to do.
        hint: String,
    },
}

impl Failure {
    /// A failure with its remedy.
    pub fn new(what: impl ToString, hint: impl Into<String>) -> Self {
        Self::Other { what: what.to_string(), hint: hint.into() }
    }
}

/// Prints a failure to standard error; exit code 2.
pub fn report_failure(failure: &Failure) -> ExitCode {
    eprintln!("error: {failure}");
    match failure {
        Failure::Book(problems) => {
            for problem in problems {
                eprintln!("\n{problem}");
            }
        }
        Failure::Other { hint, .. } if !hint.is_empty() => eprintln!("\nhint: {hint}"),
        Failure::Other { .. } => {}
    }
    ExitCode::from(2)
}

/// Writes data to standard output; a reader that stopped listening is no error.
///
/// # Errors
/// When standard output refuses for another reason.
pub fn print_data(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::new(format!("cannot write to standard output: {error}"), ""))
        }
        _ => Ok(()),
    }
}
