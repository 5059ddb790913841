//! Helpers shared by the workspace-level tests.

use anacurve::console::{Failure, Stages};
use anacurve::pipeline::advice::{Advised, Decided, Wanted, advise};
use anacurve::pipeline::{Checked, check};
use std::path::{Path, PathBuf};

/// A path below the repository root.
#[must_use]
pub fn repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(path)
}

/// A JSON document below the repository root.
///
/// # Errors
/// When it cannot be read or parsed.
pub fn json(path: &str) -> Result<serde_json::Value, Box<dyn std::error::Error>> {
    Ok(serde_json::from_str(&std::fs::read_to_string(repository(path))?)?)
}

/// Checks, fits and advises for a record book below the repository root.
///
/// # Errors
/// As the stages do, and when the records are too thin for a fit.
pub fn run(book: &str, seed: u64) -> Result<(Checked, Advised), Failure> {
    run_at(&repository(book), seed)
}

/// As [`run`], for a folder anywhere.
///
/// # Errors
/// As [`run`].
pub fn run_at(book: &Path, seed: u64) -> Result<(Checked, Advised), Failure> {
    let stages = Stages::new();
    let checked = check(book, &stages)?;
    match advise(&checked, Wanted::whole(seed), &stages)? {
        Decided::Fitted(advised) => Ok((checked, *advised)),
        Decided::Unfitted(run) => Err(Failure::new(run.why, "")),
    }
}
