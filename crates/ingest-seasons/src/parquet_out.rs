//! Writes a record batch as Parquet, the same bytes for the same rows.

use arrow::record_batch::RecordBatch;
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why a Parquet file could not be written.
#[derive(Debug, Error)]
pub enum WriteError {
    /// The file could not be created.
    #[error("cannot create {}: {source}", path.display())]
    Create {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The rows could not be encoded or written.
    #[error("cannot write {}: {source}", path.display())]
    Encode {
        /// The file.
        path: PathBuf,
        /// What the encoder said.
        source: ParquetError,
    },
}

/// Writes a record batch with Snappy compression and, in the file's metadata as `anacurve.inputs`,
/// the fingerprint of the files it came from; an existing file is replaced.
///
/// # Errors
/// [`WriteError`] when the file cannot be created or written.
pub fn write_parquet(batch: &RecordBatch, inputs: &str, path: &Path) -> Result<(), WriteError> {
    let file = File::create(path)
        .map_err(|source| WriteError::Create { path: path.to_owned(), source })?;
    encode(batch, inputs, file)
        .map_err(|source| WriteError::Encode { path: path.to_owned(), source })
}

fn encode(batch: &RecordBatch, inputs: &str, file: File) -> Result<(), ParquetError> {
    // The default names the encoder's version, which would change the bytes with every update.
    let properties = WriterProperties::builder()
        .set_created_by("anacurve".to_owned())
        .set_compression(Compression::SNAPPY)
        .set_key_value_metadata(Some(vec![KeyValue::new(
            "anacurve.inputs".to_owned(),
            inputs.to_owned(),
        )]))
        .build();
    let mut writer = ArrowWriter::try_new(file, batch.schema(), Some(properties))?;
    writer.write(batch)?;
    writer.close()?;
    Ok(())
}
