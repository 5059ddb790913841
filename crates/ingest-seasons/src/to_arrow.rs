//! The linked tables as Arrow record batches.

use crate::frame::{flags, floats, ints, texts};
use arrow::array::{ArrayRef, BooleanArray, Date32Array, Float64Array, Int32Array, StringArray};
use arrow::datatypes::{DataType, Field, Schema, SchemaRef};
use arrow::error::ArrowError;
use arrow::record_batch::RecordBatch;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season::{LinkedColumn, Storage};
use records::{frame_count, tree_season};
use std::sync::Arc;

/// Schema of the linked table: every column of [`records::tree_season::COLUMNS`] in order, its unit
/// and meaning in the field metadata `unit` and `doc`.
#[must_use]
pub fn schema() -> SchemaRef {
    schema_of(tree_season::COLUMNS)
}

/// Schema of the linked frame counts, from [`records::frame_count::COLUMNS`] in the same way.
#[must_use]
pub fn frame_schema() -> SchemaRef {
    schema_of(frame_count::COLUMNS)
}

fn schema_of(columns: &[LinkedColumn]) -> SchemaRef {
    Arc::new(Schema::new(columns.iter().map(field).collect::<Vec<_>>()))
}

fn field(column: &LinkedColumn) -> Field {
    let storage = match column.storage {
        Storage::Text => DataType::Utf8,
        Storage::Int => DataType::Int32,
        Storage::Float => DataType::Float64,
        Storage::Date => DataType::Date32,
        Storage::Flag => DataType::Boolean,
    };
    let metadata = [("unit", column.unit), ("doc", column.doc)];
    Field::new(column.name, storage, column.nullable)
        .with_metadata(metadata.map(|(key, text)| (key.to_owned(), text.to_owned())))
}

/// The wanted columns of a frame, in order.
pub(crate) fn arrays(frame: &DataFrame, columns: &[LinkedColumn]) -> PolarsResult<Vec<ArrayRef>> {
    columns.iter().map(|column| array(frame, column)).collect()
}

/// A record batch; a null where the schema allows none is an error.
pub(crate) fn batch(schema: SchemaRef, arrays: Vec<ArrayRef>) -> Result<RecordBatch, ArrowError> {
    RecordBatch::try_new(schema, arrays)
}

fn array(linked: &DataFrame, column: &LinkedColumn) -> PolarsResult<ArrayRef> {
    let name = column.name;
    Ok(match column.storage {
        Storage::Text => Arc::new(texts(linked, name)?.iter().collect::<StringArray>()),
        Storage::Int => Arc::new(ints(linked, name)?.iter().collect::<Int32Array>()),
        Storage::Float => Arc::new(floats(linked, name)?.iter().collect::<Float64Array>()),
        Storage::Date => {
            let days = linked.column(name)?.cast(&polars::prelude::DataType::Int32)?;
            Arc::new(days.i32()?.iter().collect::<Date32Array>())
        }
        Storage::Flag => Arc::new(flags(linked, name)?.iter().collect::<BooleanArray>()),
    })
}
