//! The files of a book while they grow, all of one kind.

use arrow::array::{Array, ArrayRef, AsArray};
use arrow::datatypes::{DataType, Date32Type, Float64Type, Int64Type};
use arrow::record_batch::RecordBatch;
use jiff::ToSpan;
use jiff::civil::date;
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// How tables are written.
#[derive(Clone, Copy)]
pub enum Kind {
    Csv,
    Parquet,
}

enum Table {
    Csv(BufWriter<File>),
    Parquet(Box<ArrowWriter<File>>),
}

/// Open files by stem.
pub struct Files {
    dir: PathBuf,
    kind: Kind,
    open: BTreeMap<String, Table>,
}

impl Files {
    pub fn new(dir: &Path, kind: Kind) -> Self {
        Self { dir: dir.to_owned(), kind, open: BTreeMap::new() }
    }

    /// Appends rows to a file, which the first rows create.
    pub fn append(&mut self, stem: &str, rows: &RecordBatch) -> io::Result<()> {
        if !self.open.contains_key(stem) {
            let table = self.create(stem, rows)?;
            self.open.insert(stem.to_owned(), table);
        }
        match self.open.get_mut(stem) {
            Some(Table::Csv(file)) => write_csv(file, rows),
            Some(Table::Parquet(file)) => {
                file.write(rows)?;
                Ok(file.flush()?)
            }
            None => Ok(()),
        }
    }

    fn create(&self, stem: &str, rows: &RecordBatch) -> io::Result<Table> {
        Ok(match self.kind {
            Kind::Csv => {
                let mut file = BufWriter::new(File::create(self.dir.join(format!("{stem}.csv")))?);
                let schema = rows.schema();
                let names: Vec<&str> =
                    schema.fields().iter().map(|field| field.name().as_str()).collect();
                writeln!(file, "{}", names.join(","))?;
                Table::Csv(file)
            }
            Kind::Parquet => {
                let file = File::create(self.dir.join(format!("{stem}.parquet")))?;
                let settings =
                    WriterProperties::builder().set_compression(Compression::SNAPPY).build();
                Table::Parquet(Box::new(ArrowWriter::try_new(file, rows.schema(), Some(settings))?))
            }
        })
    }

    pub fn finish(self) -> io::Result<()> {
        for table in self.open.into_values() {
            match table {
                Table::Csv(mut file) => file.flush()?,
                Table::Parquet(file) => drop(file.close()?),
            }
        }
        Ok(())
    }
}

fn write_csv(out: &mut impl Write, rows: &RecordBatch) -> io::Result<()> {
    for row in 0..rows.num_rows() {
        for (place, column) in rows.columns().iter().enumerate() {
            if place > 0 {
                out.write_all(b",")?;
            }
            write_cell(out, column, row)?;
        }
        out.write_all(b"\n")?;
    }
    Ok(())
}

fn write_cell(out: &mut impl Write, column: &ArrayRef, row: usize) -> io::Result<()> {
    if column.is_null(row) {
        return Ok(());
    }
    match column.data_type() {
        DataType::Utf8 => out.write_all(column.as_string::<i32>().value(row).as_bytes()),
        DataType::Float64 => write!(out, "{}", column.as_primitive::<Float64Type>().value(row)),
        DataType::Int64 => write!(out, "{}", column.as_primitive::<Int64Type>().value(row)),
        DataType::Date32 => {
            let days = column.as_primitive::<Date32Type>().value(row);
            write!(out, "{}", date(1970, 1, 1).saturating_add(days.days()))
        }
        other => Err(io::Error::other(format!("no cell of type {other} is written"))),
    }
}
