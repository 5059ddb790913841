//! Posterior draws as an Arrow file: one column per parameter, meta columns first.

use crate::yield_model::YieldModel;
use arrow::array::{ArrayRef, Float64Array, RecordBatch, UInt32Array};
use arrow::datatypes::{DataType, Field, Schema};
use arrow::ipc::writer::FileWriter;
use std::fs::File;
use std::io;
use std::path::Path;
use std::sync::Arc;
use thiserror::Error;

/// The draws could not be written.
#[derive(Debug, Error)]
pub enum DrawsFileError {
    /// The file system refused.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// The Arrow writer refused.
    #[error(transparent)]
    Arrow(#[from] arrow::error::ArrowError),
}

impl YieldModel {
    /// Writes the posterior draws: column `.draw` (from 0), then theta, sigma, coefficients and the
    /// regions' deviations, on the model's response scale; region levels carry the region id.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn write_draws(&self, path: &Path) -> Result<(), DrawsFileError> {
        let values = self.draws.values();
        let mut fields = vec![Field::new(".draw", DataType::UInt32, false)];
        let mut columns: Vec<ArrayRef> =
            vec![Arc::new(UInt32Array::from_iter_values(0..self.draws.len() as u32))];
        for (position, name) in self.draws.names().iter().enumerate() {
            fields.push(Field::new(self.named_level(name), DataType::Float64, false));
            columns.push(Arc::new(Float64Array::from(values.column(position))));
        }
        let schema = Arc::new(Schema::new(fields));
        let batch = RecordBatch::try_new(schema.clone(), columns)?;
        let mut writer = FileWriter::try_new(File::create(path)?, &schema)?;
        writer.write(&batch)?;
        writer.finish()?;
        Ok(())
    }

    /// `region.hump[2]` with the region's id in place of its code.
    fn named_level(&self, name: &str) -> String {
        let level = name.strip_prefix("region.").and_then(|rest| {
            let (term, code) = rest.strip_suffix(']')?.split_once('[')?;
            let region = self.regions.get(code.parse::<usize>().ok()?)?;
            Some(format!("region.{term}[{}]", region.region))
        });
        level.unwrap_or_else(|| name.to_owned())
    }
}
