//! What can go wrong while writing a report.

use std::path::PathBuf;

/// Why the outputs could not be written. None is recoverable within the run.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A file could not be written.
    #[error("cannot write {path}")]
    Write {
        /// Which file.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// A plot could not be drawn.
    #[error("cannot draw plot {plot}: {reason}")]
    Plot {
        /// Which plot.
        plot: String,
        /// Why.
        reason: String,
    },
    /// The page could not be filled in.
    #[error("cannot fill in the page")]
    Page(#[from] askama::Error),
    /// `advice.json` could not be encoded.
    #[error("cannot encode advice.json")]
    Json(#[from] serde_json::Error),
    /// A file would not give back what was written: a value is not a finite number.
    #[error(
        "a value of the results is not a finite number: {0}; this is a defect of the program, please report it"
    )]
    NotFinite(String),
    /// `advice.parquet` could not be encoded.
    #[error("cannot encode advice.parquet")]
    Parquet(#[from] parquet::errors::ParquetError),
    /// The columns of `advice.parquet` do not fit together.
    #[error("cannot lay out advice.parquet")]
    Arrow(#[from] arrow::error::ArrowError),
    /// `workplan.xlsx` could not be encoded.
    #[error("cannot encode workplan.xlsx")]
    Sheet(#[from] rust_xlsxwriter::XlsxError),
    /// `calendar.ics` could not be encoded.
    #[error("cannot encode calendar.ics")]
    Calendar(#[from] std::fmt::Error),
}
