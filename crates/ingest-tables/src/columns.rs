//! Grows the typed columns of one table.

use crate::cell::value::Value;
use polars::prelude::{
    BooleanChunkedBuilder, ChunkedBuilder, Column, DataFrame, Float64Type, Int32Type, Int64Type,
    IntoSeries, PlSmallStr, PolarsResult, PrimitiveChunkedBuilder, StringChunkedBuilder,
    UInt32Type,
};
use records::{ColumnKind, TableSpec};
use std::borrow::Cow;

enum Builder {
    Text(StringChunkedBuilder),
    Number(PrimitiveChunkedBuilder<Float64Type>),
    Count(PrimitiveChunkedBuilder<Int64Type>),
    Date(PrimitiveChunkedBuilder<Int32Type>),
    Flag(BooleanChunkedBuilder),
}

/// The columns of one file while it is read.
pub(crate) struct Columns {
    spec: Vec<Builder>,
    extra: Vec<(String, StringChunkedBuilder)>,
    line: PrimitiveChunkedBuilder<UInt32Type>,
    rows: usize,
}

impl Builder {
    fn new(name: PlSmallStr, kind: ColumnKind) -> Self {
        match kind {
            ColumnKind::Text | ColumnKind::Word(_) => {
                Self::Text(StringChunkedBuilder::new(name, 0))
            }
            ColumnKind::Date | ColumnKind::DateOrYear => {
                Self::Date(PrimitiveChunkedBuilder::new(name, 0))
            }
            ColumnKind::Number => Self::Number(PrimitiveChunkedBuilder::new(name, 0)),
            ColumnKind::Count => Self::Count(PrimitiveChunkedBuilder::new(name, 0)),
            ColumnKind::Flag => Self::Flag(BooleanChunkedBuilder::new(name, 0)),
        }
    }

    /// Appends a value; one of another type, which no reader makes, becomes null.
    fn push<'t>(&mut self, value: Value, text: impl FnOnce() -> Cow<'t, str>) {
        match (self, value) {
            (Self::Text(column), Value::Text) => column.append_value(text().as_ref()),
            (Self::Text(column), Value::Word(word)) => column.append_value(word),
            (Self::Text(column), _) => column.append_null(),
            (Self::Number(column), Value::Number(value)) => column.append_value(value),
            (Self::Number(column), _) => column.append_null(),
            (Self::Count(column), Value::Count(value)) => column.append_value(value),
            (Self::Count(column), _) => column.append_null(),
            (Self::Date(column), Value::Date(value)) => column.append_value(value),
            (Self::Date(column), _) => column.append_null(),
            (Self::Flag(column), Value::Flag(value)) => column.append_value(value),
            (Self::Flag(column), _) => column.append_null(),
        }
    }

    fn finish(self) -> Column {
        match self {
            Self::Text(column) => column.finish().into_series(),
            Self::Number(column) => column.finish().into_series(),
            Self::Count(column) => column.finish().into_series(),
            Self::Date(column) => column.finish().into_date().into_series(),
            Self::Flag(column) => column.finish().into_series(),
        }
        .into()
    }
}

impl Columns {
    pub(crate) fn new(spec: &TableSpec) -> Self {
        let columns = spec.columns.iter().map(|column| {
            let name = PlSmallStr::from_static(column.name);
            Builder::new(name, column.kind)
        });
        Self {
            spec: columns.collect(),
            extra: Vec::new(),
            line: PrimitiveChunkedBuilder::new(".line".into(), 0),
            rows: 0,
        }
    }

    /// Position of an extra column; a new one is null in the rows so far.
    pub(crate) fn extra(&mut self, name: &str) -> usize {
        if let Some(position) = self.extra.iter().position(|(other, _)| other == name) {
            return position;
        }
        let mut column = StringChunkedBuilder::new(name.into(), self.rows);
        for _ in 0..self.rows {
            column.append_null();
        }
        self.extra.push((name.to_owned(), column));
        self.extra.len() - 1
    }

    /// Names of the extra columns, by position.
    pub(crate) fn extra_names(&self) -> impl Iterator<Item = &str> {
        self.extra.iter().map(|(name, _)| name.as_str())
    }

    /// Appends a row: values in schema order with the texts they stand for, and the extra texts.
    pub(crate) fn push<'t>(
        &mut self,
        line: u32,
        values: &[Value],
        text: impl Fn(usize) -> Cow<'t, str>,
        extra: impl Fn(usize) -> Cow<'t, str>,
    ) {
        for (position, column) in self.spec.iter_mut().enumerate() {
            let value = values.get(position).copied().unwrap_or(Value::Null);
            column.push(value, || text(position));
        }
        for (position, (_, column)) in self.extra.iter_mut().enumerate() {
            match extra(position) {
                text if text.is_empty() => column.append_null(),
                text => column.append_value(text.as_ref()),
            }
        }
        self.line.append_value(line);
        self.rows += 1;
    }

    pub(crate) fn finish(self) -> PolarsResult<DataFrame> {
        let mut columns: Vec<Column> = self.spec.into_iter().map(Builder::finish).collect();
        columns.extend(self.extra.into_iter().map(|(_, c)| Column::from(c.finish().into_series())));
        columns.push(self.line.finish().into_series().into());
        DataFrame::new(self.rows, columns)
    }
}
