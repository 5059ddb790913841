//! A book's tree-seasons in several files, the sums of its yield model by DataFusion, and both fits.

mod equality;
mod simulated;

pub use equality::largest_differences;
pub use simulated::{Plan, simulated};

use arrow::array::RecordBatch;
use datafusion::error::DataFusionError;
use datafusion::prelude::{ParquetReadOptions, SessionContext};
use model::{
    Declaration, DeclareError, SumLine, SumsError, TableError, TreeSeasons, YieldSettings,
};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::errors::ParquetError;
use std::fs::File;
use std::path::Path;
use thiserror::Error;

/// What can go wrong on the way.
#[derive(Debug, Error)]
pub enum Failure {
    /// Files.
    #[error(transparent)]
    File(#[from] std::io::Error),
    /// Parquet.
    #[error(transparent)]
    Parquet(#[from] ParquetError),
    /// Record batches.
    #[error(transparent)]
    Arrow(#[from] arrow::error::ArrowError),
    /// The query engine.
    #[error(transparent)]
    Engine(#[from] DataFusionError),
    /// The linked table.
    #[error(transparent)]
    Table(#[from] TableError),
    /// The design.
    #[error(transparent)]
    Declare(#[from] DeclareError),
    /// The sums.
    #[error(transparent)]
    Sums(#[from] SumsError),
}

/// All rows of a Parquet file as one batch.
///
/// # Errors
/// Unreadable files.
pub fn batch_of(path: &Path) -> Result<RecordBatch, Failure> {
    let reader = ParquetRecordBatchReaderBuilder::try_new(File::open(path)?)?.build()?;
    let batches: Vec<RecordBatch> = reader.collect::<Result<_, _>>()?;
    let schema = batches.first().map_or_else(
        || std::sync::Arc::new(arrow::datatypes::Schema::empty()),
        |batch| batch.schema(),
    );
    Ok(arrow::compute::concat_batches(&schema, &batches)?)
}

/// The design that a table settles.
///
/// # Errors
/// Tables that allow none.
pub fn declare(batch: &RecordBatch, settings: &YieldSettings) -> Result<Declaration, Failure> {
    Ok(Declaration::of(&TreeSeasons::from_batch(batch)?, settings)?)
}

/// The sums of a declared model over a table cut into so many files, in the order of an engine that
/// reads them side by side.
///
/// # Errors
/// Queries that the engine refuses.
pub async fn sums(
    declared: &Declaration,
    batch: &RecordBatch,
    files: usize,
    folder: &Path,
) -> Result<Vec<SumLine>, Failure> {
    let seasons = folder.join("tree_seasons");
    std::fs::create_dir(&seasons)?;
    let rows = batch.num_rows();
    for part in 0..files {
        let (first, end) = (rows * part / files, rows * (part + 1) / files);
        write(&batch.slice(first, end - first), &seasons.join(format!("{part:03}.parquet")))?;
    }
    let engine = SessionContext::new();
    let path = |path: &Path| path.to_string_lossy().into_owned();
    let read = ParquetReadOptions::default;
    engine.register_parquet("tree_seasons", path(&seasons), read()).await?;
    let model_rows = folder.join("model_rows");
    let written = datafusion::dataframe::DataFrameWriteOptions::new();
    let found = engine.sql(&declared.rows_sql).await?;
    found.write_parquet(&path(&model_rows), written, None).await?;
    engine.register_parquet("model_rows", path(&model_rows), read()).await?;
    let sums = folder.join("sums.parquet");
    let written = datafusion::dataframe::DataFrameWriteOptions::new().with_single_file_output(true);
    engine.sql(&declared.moments_sql).await?.write_parquet(&path(&sums), written, None).await?;
    Ok(model::sum_lines_of_parquet(File::open(sums)?)?)
}

fn write(batch: &RecordBatch, path: &Path) -> Result<(), Failure> {
    let mut writer = ArrowWriter::try_new(File::create(path)?, batch.schema(), None)?;
    writer.write(batch)?;
    writer.close()?;
    Ok(())
}
