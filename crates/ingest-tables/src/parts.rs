//! The rows of a table's files, put together.

use crate::columns::Columns;
use crate::table::LINE;
use polars::prelude::{Column, DataFrame, DataType, PolarsResult};
use records::TableSpec;

/// Column of the index of the file a row came from.
pub(crate) const FILE: &str = ".file";

/// Rows by file, in reading order.
pub(crate) struct Parts {
    spec: &'static TableSpec,
    /// Columns beyond the schema, in the order in which files first have them.
    extra: Vec<String>,
    parts: Vec<DataFrame>,
}

impl Parts {
    pub(crate) fn new(spec: &'static TableSpec) -> Self {
        Self { spec, extra: Vec::new(), parts: Vec::new() }
    }

    /// Takes the rows of the file of an index.
    pub(crate) fn add(&mut self, mut rows: DataFrame, file: u32) -> PolarsResult<()> {
        let beyond = rows
            .columns()
            .iter()
            .map(|column| column.name().as_str())
            .filter(|name| *name != LINE && self.spec.column(name).is_none());
        let new: Vec<String> = beyond
            .filter(|name| !self.extra.iter().any(|e| e == name))
            .map(str::to_owned)
            .collect();
        self.extra.extend(new);
        let index = vec![file; rows.height()];
        rows.with_column(Column::new(FILE.into(), index))?;
        self.parts.push(rows);
        Ok(())
    }

    /// One frame: the columns of the schema, those beyond it (null where a file has none), `.file`
    /// and `.line`.
    pub(crate) fn joined(self) -> PolarsResult<DataFrame> {
        let mut names: Vec<&str> = self.spec.columns.iter().map(|column| column.name).collect();
        names.extend(self.extra.iter().map(String::as_str));
        names.extend([FILE, LINE]);
        let mut whole: Option<DataFrame> = None;
        for mut part in self.parts {
            for name in &self.extra {
                if part.column(name).is_err() {
                    let rows = part.height();
                    part.with_column(Column::full_null(
                        name.as_str().into(),
                        rows,
                        &DataType::String,
                    ))?;
                }
            }
            let part = part.select(names.iter().copied())?;
            match &mut whole {
                Some(whole) => {
                    whole.vstack_mut(&part)?;
                }
                None => whole = Some(part),
            }
        }
        match whole {
            Some(mut whole) => {
                whole.rechunk_mut();
                Ok(whole)
            }
            None => {
                let mut none = Columns::new(self.spec).finish()?;
                none.with_column(Column::new(FILE.into(), Vec::<u32>::new()))?;
                none.select(names)
            }
        }
    }
}
