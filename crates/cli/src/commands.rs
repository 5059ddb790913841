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
use report::PublishError;

/// A folder that could not be put into place, with every cause.
fn from_publish<E: std::error::Error + 'static>(error: &PublishError<E>) -> Failure {
    if let PublishError::Busy { .. } = error {
        return Failure::new(error, "wait until it is done, or name another folder with --out");
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
