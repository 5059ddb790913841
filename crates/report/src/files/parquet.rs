//! `advice.parquet`: the flat table with types.

use super::flat::{columns, rows};
use crate::error::ReportError;
use advise::Advice;
use arrow::array::{ArrayRef, Date32Array, Float64Array, StringArray, UInt64Array};
use arrow::datatypes::{DataType, Field as Column, Schema};
use arrow::record_batch::RecordBatch;
use jiff::civil::Date;
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use serde_json::Value;
use std::sync::Arc;

/// Bytes of `advice.parquet`. Dates are days since 1970-01-01, counts and years whole numbers.
///
/// # Errors
/// When the table cannot be encoded.
pub fn advice_parquet(advice: &Advice) -> Result<Vec<u8>, ReportError> {
    let rows = rows(advice)?;
    let (mut fields, mut arrays) = (Vec::new(), Vec::new());
    for (i, column) in columns().enumerate() {
        let cells: Vec<&Value> = rows.iter().filter_map(|row| row.get(i)).collect();
        let array = array(column.unit.english(), &cells);
        fields.push(Column::new(column.column, array.data_type().clone(), true));
        arrays.push(array);
    }
    let schema = Arc::new(Schema::new(fields));
    let batch = RecordBatch::try_new(Arc::clone(&schema), arrays)?;
    // The writer's own name carries a library version, which must not decide the bytes.
    let properties = WriterProperties::builder()
        .set_created_by("anacurve".to_owned())
        .set_compression(Compression::SNAPPY)
        .set_key_value_metadata(Some(vec![KeyValue::new(
            "anacurve.inputs".to_owned(),
            advice.inputs.clone(),
        )]))
        .build();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, schema, Some(properties))?;
    writer.write(&batch)?;
    writer.close()?;
    Ok(bytes)
}

fn array(unit: &str, cells: &[&Value]) -> ArrayRef {
    match storage(unit) {
        DataType::UInt64 => Arc::new(cells.iter().map(|v| v.as_u64()).collect::<UInt64Array>()),
        DataType::Date32 => {
            Arc::new(cells.iter().map(|v| v.as_str().and_then(epoch_day)).collect::<Date32Array>())
        }
        DataType::Float64 => Arc::new(cells.iter().map(|v| v.as_f64()).collect::<Float64Array>()),
        _ => Arc::new(cells.iter().map(|v| v.as_str()).collect::<StringArray>()),
    }
}

/// Storage type of a dictionary unit; words and lists of words are text.
fn storage(unit: &str) -> DataType {
    match unit {
        "count" | "year" | "whole number" => DataType::UInt64,
        "date" => DataType::Date32,
        "per cent" | "fraction 0 to 1" | "fraction" | "days before flush" | "probability"
        | "kg per tree" | "money per tree" => DataType::Float64,
        _ => DataType::Utf8,
    }
}

fn epoch_day(text: &str) -> Option<i32> {
    let day: Date = text.parse().ok()?;
    (day - Date::constant(1970, 1, 1)).get_days().into()
}
