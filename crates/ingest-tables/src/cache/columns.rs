//! Typed rows of one file as Arrow IPC bytes, and back.

use arrow::array::{
    Array, ArrayRef, AsArray, BooleanArray, Float64Array, Int32Array, Int64Array, LargeStringArray,
    UInt32Array, UInt64Array,
};
use arrow::datatypes::{Float64Type, Int32Type, Int64Type, UInt32Type, UInt64Type};
use arrow::ipc::reader::FileReader;
use arrow::ipc::writer::FileWriter;
use arrow::record_batch::RecordBatch;
use polars::prelude::{Column, DataFrame, DataType};
use records::{ColumnKind, TableSpec};
use std::error::Error;
use std::io::Cursor;
use std::sync::Arc;

const LINE: &str = ".line";
const KEY: &str = ".key";
const REST: &str = ".rest";

/// The bytes of a file's rows and hashes.
pub(super) fn write(
    rows: &DataFrame,
    hashes: &[(u64, u64)],
    spec: &TableSpec,
) -> Result<Vec<u8>, Box<dyn Error + Send + Sync>> {
    let mut arrays: Vec<(&str, ArrayRef, bool)> = Vec::new();
    for column in spec.columns {
        let values = rows.column(column.name)?;
        let array: ArrayRef = match column.kind {
            ColumnKind::Text | ColumnKind::Word(_) => {
                Arc::new(values.str()?.iter().collect::<LargeStringArray>())
            }
            ColumnKind::Date | ColumnKind::DateOrYear => {
                let days = values.cast(&DataType::Int32)?;
                Arc::new(days.i32()?.iter().collect::<Int32Array>())
            }
            ColumnKind::Number => Arc::new(values.f64()?.iter().collect::<Float64Array>()),
            ColumnKind::Count => Arc::new(values.i64()?.iter().collect::<Int64Array>()),
            ColumnKind::Flag => Arc::new(values.bool()?.iter().collect::<BooleanArray>()),
        };
        arrays.push((column.name, array, true));
    }
    let lines = rows.column(LINE)?.u32()?.iter().collect::<UInt32Array>();
    let keys = UInt64Array::from_iter_values(hashes.iter().map(|(key, _)| *key));
    let rests = UInt64Array::from_iter_values(hashes.iter().map(|(_, rest)| *rest));
    arrays.push((LINE, Arc::new(lines), true));
    arrays.push((KEY, Arc::new(keys), false));
    arrays.push((REST, Arc::new(rests), false));
    let batch = RecordBatch::try_from_iter_with_nullable(arrays)?;
    let mut writer = FileWriter::try_new(Vec::new(), &batch.schema())?;
    writer.write(&batch)?;
    writer.finish()?;
    Ok(writer.into_inner()?)
}

/// The rows and hashes of such bytes; `None` when they are of another shape.
pub(super) fn read(bytes: &[u8], spec: &TableSpec) -> Option<(DataFrame, Vec<(u64, u64)>)> {
    let mut reader = FileReader::try_new(Cursor::new(bytes), None).ok()?;
    let batch = reader.next()?.ok()?;
    let mut columns = Vec::new();
    for column in spec.columns {
        let array = batch.column_by_name(column.name)?;
        columns.push(of_kind(column.name, column.kind, array)?);
    }
    let lines = batch.column_by_name(LINE)?.as_primitive_opt::<UInt32Type>()?;
    columns.push(Column::new(LINE.into(), lines.values().to_vec()));
    let keys = batch.column_by_name(KEY)?.as_primitive_opt::<UInt64Type>()?;
    let rests = batch.column_by_name(REST)?.as_primitive_opt::<UInt64Type>()?;
    let hashes = keys.values().iter().copied().zip(rests.values().iter().copied()).collect();
    let rows = DataFrame::new(batch.num_rows(), columns).ok()?;
    Some((rows, hashes))
}

fn of_kind(name: &'static str, kind: ColumnKind, array: &ArrayRef) -> Option<Column> {
    let column = match kind {
        ColumnKind::Text | ColumnKind::Word(_) => {
            let texts = array.as_string_opt::<i64>()?;
            Column::new(name.into(), texts.iter().collect::<Vec<Option<&str>>>())
        }
        ColumnKind::Date | ColumnKind::DateOrYear => {
            let days = array.as_primitive_opt::<Int32Type>()?;
            let days = Column::new(name.into(), days.iter().collect::<Vec<Option<i32>>>());
            days.cast(&DataType::Date).ok()?
        }
        ColumnKind::Number => {
            let numbers = array.as_primitive_opt::<Float64Type>()?;
            Column::new(name.into(), numbers.iter().collect::<Vec<Option<f64>>>())
        }
        ColumnKind::Count => {
            let counts = array.as_primitive_opt::<Int64Type>()?;
            Column::new(name.into(), counts.iter().collect::<Vec<Option<i64>>>())
        }
        ColumnKind::Flag => {
            let flags = array.as_boolean_opt()?;
            Column::new(name.into(), flags.iter().collect::<Vec<Option<bool>>>())
        }
    };
    (column.len() == array.len()).then_some(column)
}
