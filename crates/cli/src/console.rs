//! Talking to the person or program at the other end.

mod stages;

pub use stages::Stages;

use records::{Problem, turns_direction};
use std::borrow::Cow;
use std::io::{self, Write};
use std::path::Path;
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

    /// The failure of what came after something was written, which it names.
    #[must_use]
    pub fn after(self, written: Option<&Path>) -> Self {
        match (self, written) {
            (Self::Other { what, hint }, Some(written)) => {
                Self::Other { what: format!("{what}; written before: {}", written.display()), hint }
            }
            (other, _) => other,
        }
    }
}

/// Prints a failure to standard error; exit code 2.
pub fn report_failure(failure: &Failure) -> ExitCode {
    let mut text = format!("error: {failure}\n");
    match failure {
        Failure::Book(problems) => {
            for problem in problems {
                text.push_str(&format!("\n{problem}\n"));
            }
        }
        Failure::Other { hint, .. } if !hint.is_empty() => {
            text.push_str(&format!("\nhint: {hint}\n"));
        }
        Failure::Other { .. } => {}
    }
    eprint!("{}", inert(&text));
    ExitCode::from(2)
}

/// A text in which the records' own control characters, and those that turn the direction of text,
/// stand as escapes: a terminal obeys none of them, and JSON means the same by the escape.
fn inert(text: &str) -> Cow<'_, str> {
    let acts = |c: char| (c.is_control() && c != '\n' && c != '\t') || turns_direction(c);
    if !text.contains(acts) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if acts(c) {
            out.push_str(&format!("\\u{:04x}", u32::from(c)));
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

/// Writes data to standard output; a reader that stopped listening is no error.
///
/// # Errors
/// When standard output refuses for another reason.
pub fn print_data(text: &str) -> Result<(), Failure> {
    print_after(text, None)
}

/// [`print_data`] of a command that has written a file or folder before, where it has: what is there is
/// told when standard output refuses.
///
/// # Errors
/// As [`print_data`].
pub fn print_after(text: &str, written: Option<&Path>) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(inert(text).as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            let failure = Failure::new(format!("cannot write to standard output: {error}"), "");
            Err(failure.after(written))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::inert;

    #[test]
    fn a_terminal_gets_nothing_to_obey() {
        assert_eq!(inert("plain\n\ttext é"), "plain\n\ttext é");
        assert_eq!(inert("\u{1b}[2J\r\u{202e}x\u{9b}"), "\\u001b[2J\\u000d\\u202ex\\u009b");
    }
}
