//! Posterior draws as an Arrow file: one column per parameter, meta columns first.

use crate::yield_model::YieldModel;
use arrow::array::{ArrayRef, Float64Array, RecordBatch, StringArray, UInt32Array};
use arrow::datatypes::{DataType, Field, Schema};
use arrow::ipc::writer::FileWriter;
use std::collections::HashMap;
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
    /// Writes the posterior draws: columns `.draw` (from 0) and `.shape` (family of the intensity
    /// curve), then theta, sigma, coefficients and the regions' deviations, on the model's response
    /// scale and null where a family does not have them; region levels carry the region id. The
    /// schema's metadata holds `inputs`, the fingerprint of the input files, as `anacurve.inputs`.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn write_draws(&self, inputs: &str, path: &Path) -> Result<(), DrawsFileError> {
        let total: usize = self.draws.iter().map(|(_, draws)| draws.len()).sum();
        let mut names: Vec<String> = Vec::new();
        for name in self.draws.iter().flat_map(|(_, draws)| draws.names()) {
            if !names.contains(name) {
                names.push(name.clone());
            }
        }
        let mut fields = vec![
            Field::new(".draw", DataType::UInt32, false),
            Field::new(".shape", DataType::Utf8, false),
        ];
        let shapes = self
            .draws
            .iter()
            .flat_map(|(family, draws)| std::iter::repeat_n(family.name(), draws.len()));
        let mut columns: Vec<ArrayRef> = vec![
            Arc::new(UInt32Array::from_iter_values(0..total as u32)),
            Arc::new(StringArray::from_iter_values(shapes)),
        ];
        for name in &names {
            let mut values: Vec<Option<f64>> = Vec::with_capacity(total);
            for (_, draws) in &self.draws {
                match draws.names().iter().position(|own| own == name) {
                    Some(place) => {
                        values.extend(draws.values().column(place).into_iter().map(Some))
                    }
                    None => values.extend(std::iter::repeat_n(None, draws.len())),
                }
            }
            fields.push(Field::new(self.named_level(name), DataType::Float64, true));
            columns.push(Arc::new(Float64Array::from(values)));
        }
        let metadata = HashMap::from([("anacurve.inputs".to_owned(), inputs.to_owned())]);
        let schema = Arc::new(Schema::new(fields).with_metadata(metadata));
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
