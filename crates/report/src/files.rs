//! Result files for programs and spreadsheets.

mod cells;
mod flat;
mod parquet;

pub use cells::{csv_line, csv_record, harmless};
pub use flat::{advice_csv, advice_json, laterals_json};
pub use parquet::advice_parquet;
