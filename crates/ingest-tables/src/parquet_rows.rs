//! Rows of a Parquet file.

use crate::archive::too_large;
use crate::guard::guarded;
use crate::rows::{Cell, Cells, Damage, Fault, Header, RawRow, RowSink, Rows};
use arrow::array::{
    Array, ArrayRef, AsArray, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch,
    StringArray,
};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Date32Type, Float64Type, Int64Type};
use jiff::civil::{Date, date};
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use parquet::file::metadata::{ColumnChunkMetaData, ParquetMetaData};
use records::Code;
use records::limits::{self, Limit};
use std::borrow::Cow;
use std::fs::File;
use std::path::Path;
use words::{say, text};

/// A Parquet file whose schema has been read.
pub(crate) struct ParquetRows {
    reader: ParquetRecordBatchReader,
    header: Header,
}

/// A column brought to one of the types that cells have.
enum CellColumn {
    Text(StringArray),
    Integer(Int64Array),
    Number(Float64Array),
    Date(Date32Array),
    Flag(BooleanArray),
    /// A type that no column takes, in words; the array says where it is null.
    Other(ArrayRef, String),
}

struct BatchRow<'a> {
    columns: &'a [CellColumn],
    row: usize,
}

fn unreadable(error: impl std::fmt::Display) -> Fault {
    Fault::new(
        Code::FileUnreadable,
        say!("the Parquet file cannot be read: {error}"),
        text!("write it again, or export the table as CSV"),
    )
}

impl CellColumn {
    fn new(array: &ArrayRef) -> Result<Self, Fault> {
        let to = |kind: &DataType| cast(array, kind).map_err(unreadable);
        Ok(match array.data_type() {
            DataType::Null | DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View => {
                Self::Text(to(&DataType::Utf8)?.as_string::<i32>().clone())
            }
            DataType::Dictionary(_, value)
                if matches!(**value, DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View) =>
            {
                Self::Text(to(&DataType::Utf8)?.as_string::<i32>().clone())
            }
            DataType::Int8
            | DataType::Int16
            | DataType::Int32
            | DataType::Int64
            | DataType::UInt8
            | DataType::UInt16
            | DataType::UInt32 => {
                Self::Integer(to(&DataType::Int64)?.as_primitive::<Int64Type>().clone())
            }
            DataType::UInt64
            | DataType::Float16
            | DataType::Float32
            | DataType::Float64
            | DataType::Decimal32(..)
            | DataType::Decimal64(..)
            | DataType::Decimal128(..)
            | DataType::Decimal256(..) => {
                Self::Number(to(&DataType::Float64)?.as_primitive::<Float64Type>().clone())
            }
            DataType::Date32 | DataType::Date64 | DataType::Timestamp(..) => {
                Self::Date(to(&DataType::Date32)?.as_primitive::<Date32Type>().clone())
            }
            DataType::Boolean => Self::Flag(array.as_boolean().clone()),
            other => Self::Other(array.clone(), say!("a Parquet value of type {other}")),
        })
    }

    fn cell(&self, row: usize) -> Cell<'_> {
        let array: &dyn Array = match self {
            Self::Text(array) => array,
            Self::Integer(array) => array,
            Self::Number(array) => array,
            Self::Date(array) => array,
            Self::Flag(array) => array,
            Self::Other(array, _) => array,
        };
        if row >= array.len() || array.is_null(row) {
            return Cell::Empty;
        }
        match self {
            Self::Text(array) => Cell::Text(Cow::Borrowed(array.value(row))),
            Self::Integer(array) => Cell::Integer(array.value(row)),
            Self::Number(array) => Cell::Number(array.value(row)),
            Self::Date(array) => day(array.value(row))
                .map_or(Cell::Broken(Cow::Borrowed(text!("a date out of reach"))), Cell::Date),
            Self::Flag(array) => Cell::Flag(array.value(row)),
            Self::Other(_, words) => Cell::Broken(Cow::Borrowed(words)),
        }
    }
}

/// The day of a number of days since 1970-01-01.
pub(crate) fn day(days: i32) -> Option<Date> {
    let span = jiff::SignedDuration::from_hours(24 * i64::from(days));
    date(1970, 1, 1).checked_add(span).ok()
}

impl Cells for BatchRow<'_> {
    fn len(&self) -> usize {
        self.columns.len()
    }

    fn cell(&self, index: usize) -> Cell<'_> {
        self.columns.get(index).map_or(Cell::Empty, |column| column.cell(self.row))
    }
}

/// Checks what a file says of its own size.
fn check_size(of: &ParquetMetaData, most_rows: Limit, most_bytes: Limit) -> Result<(), Fault> {
    let rows: i64 =
        of.row_groups().iter().map(|group| group.num_rows().max(0)).fold(0, i64::saturating_add);
    if !most_rows.holds(u64::try_from(rows).unwrap_or(0)) {
        let most = most_rows.words();
        return Err(too_large(say!("the file has {rows} rows; at most {most} are read")));
    }
    let chunks = || of.row_groups().iter().flat_map(|group| group.columns());
    // The reader takes these for places in the file without a look, and panics at a negative one.
    let is_placed = |chunk: &ColumnChunkMetaData| {
        chunk.dictionary_page_offset().unwrap_or(0) >= 0
            && chunk.data_page_offset() >= 0
            && chunk.compressed_size() >= 0
            && chunk.num_values() >= 0
    };
    if !chunks().all(is_placed) || of.row_groups().iter().any(|group| group.num_rows() < 0) {
        return Err(unreadable(text!("a size or place in it is negative")));
    }
    let largest = chunks().map(|chunk| chunk.uncompressed_size()).max().unwrap_or(0);
    if !most_bytes.holds(u64::try_from(largest).unwrap_or(0)) {
        let most = most_bytes.words();
        return Err(too_large(say!(
            "a column of a row group has {largest} bytes unpacked; at most {most} are read"
        )));
    }
    Ok(())
}

impl ParquetRows {
    pub(crate) fn open(path: &Path) -> Result<Self, Fault> {
        let file = File::open(path).map_err(unreadable)?;
        let builder = guarded(|| ParquetRecordBatchReaderBuilder::try_new(file));
        let builder = builder.map_err(unreadable)?.map_err(unreadable)?;
        check_size(builder.metadata(), limits::PARQUET_ROWS, limits::PARQUET_CHUNK)?;
        let names = builder.schema().fields().iter().map(|field| field.name().clone()).collect();
        let reader = guarded(|| builder.build()).map_err(unreadable)?.map_err(unreadable)?;
        Ok(Self { reader, header: Header { line: 1, names, ..Header::default() } })
    }
}

impl Rows for ParquetRows {
    fn header(&self) -> &Header {
        &self.header
    }

    fn each(&mut self, sink: &mut RowSink<'_>) -> Result<(), Fault> {
        let mut line = 0;
        // Levels of a damaged page may lead the library beyond its buffers, which it panics at.
        while let Some(batch) = guarded(|| self.reader.next()).map_err(unreadable)? {
            let batch: RecordBatch = batch.map_err(unreadable)?;
            let columns =
                batch.columns().iter().map(CellColumn::new).collect::<Result<Vec<_>, _>>()?;
            for row in 0..batch.num_rows() {
                line += 1;
                let cells = BatchRow { columns: &columns, row };
                let damage = Damage::of_length(&cells);
                sink(&RawRow { line, cells: &cells, raw: None, damage });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::array::Int32Array;
    use parquet::arrow::ArrowWriter;
    use parquet::arrow::arrow_reader::ArrowReaderMetadata;
    use std::sync::Arc;

    #[test]
    fn what_a_file_says_of_its_size_is_believed_when_it_is_too_large() {
        let numbers: ArrayRef = Arc::new(Int32Array::from(vec![7; 1000]));
        let batch = RecordBatch::try_from_iter([("n", numbers)]).unwrap();
        let mut file = tempfile::tempfile().unwrap();
        let mut writer = ArrowWriter::try_new(&mut file, batch.schema(), None).unwrap();
        for _ in 0..3 {
            writer.write(&batch).unwrap();
            writer.flush().unwrap();
        }
        writer.close().unwrap();
        let of = ArrowReaderMetadata::load(&file, Default::default()).unwrap();
        let limit = |most, unit| Limit { what: "a test", most, unit };
        let large = limit(1 << 20, "bytes");
        assert!(check_size(of.metadata(), limit(3000, "rows"), large).is_ok());
        let refused = check_size(of.metadata(), limit(2999, "rows"), large).unwrap_err();
        assert_eq!(refused.code, Code::FileTooLarge);
        assert_eq!(refused.what, "the file has 3000 rows; at most 2999 rows are read");
        let refused = check_size(of.metadata(), limit(3000, "rows"), limit(10, "bytes"));
        assert!(refused.unwrap_err().what.contains("unpacked; at most 10 bytes"));
    }
}
