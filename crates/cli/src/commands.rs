//! One module per command.

pub mod check;
pub mod demo;
pub mod explain;
pub mod fit_moments;
pub mod layout;
pub mod manual;
pub mod plan;
pub mod review;
pub mod run;
pub mod schema;
pub mod size;
pub mod sql;
pub mod trial;
pub mod whatif;
pub mod zones;

use crate::console::Failure;
use report::{PublishError, Standing, Writer};
use std::convert::Infallible;
use std::path::Path;

/// Refuses, before any work, a folder of --out that holds what another command or a person put there.
fn free_for(out: &Path, writer: Writer) -> Result<(), Failure> {
    report::replaceable::<Infallible>(out, writer).map_err(|error| from_publish(&error))
}

/// Refuses a folder for what an option writes that is a record book: what is written would stand among its tables.
fn no_book(dir: &Path, option: &str, what: &str) -> Result<(), Failure> {
    if !dir.join("book.toml").is_file() {
        return Ok(());
    }
    Err(Failure::new(
        format!(
            "{} is a record book, and {what} of {option} would be found among its own files",
            dir.display()
        ),
        format!("nothing was written; name with {option} a folder of its own"),
    ))
}

/// Refuses a cache in a record book or in a folder that a command wrote and replaces.
fn cache_apart(cache: Option<&Path>) -> Result<(), Failure> {
    let Some(dir) = cache else { return Ok(()) };
    no_book(dir, "--cache", "the rows")?;
    match report::standing(dir) {
        Ok(Standing::Written(writer)) => Err(Failure::new(
            PublishError::<Infallible>::OfAnother { folder: dir.to_owned(), writer },
            "nothing was written; name with --cache a folder of its own",
        )),
        _ => Ok(()),
    }
}

/// A folder that could not be put into place, with every cause.
fn from_publish<E: std::error::Error + 'static>(error: &PublishError<E>) -> Failure {
    if let PublishError::Busy { .. } = error {
        return Failure::new(error, "wait until it is done, or name another folder with --out");
    }
    if let PublishError::OfAnother { .. } = error {
        return Failure::new(
            error,
            "nothing was written; name another folder with --out, or move this one away first",
        );
    }
    if let PublishError::NotAReport(folder) = error {
        let shown = folder.display();
        let what = if folder.join("book.toml").is_file() {
            format!("{shown} is a record book, and the folder of --out is replaced as a whole")
        } else {
            error.to_string()
        };
        return Failure::new(
            what,
            "nothing was written; name with --out a folder that is new, empty or written by this command before",
        );
    }
    let mut what = error.to_string();
    let mut source = std::error::Error::source(error);
    while let Some(cause) = source {
        // Errors of libraries often repeat their cause in their own words.
        let cause_words = cause.to_string();
        if !what.ends_with(&cause_words) {
            what = format!("{what}: {cause_words}");
        }
        source = cause.source();
    }
    Failure::new(
        what,
        "what stood there, if anything, is as it was; check free space and permissions, or name another folder with --out",
    )
}
