//! Result files for programs and spreadsheets.

mod calendar;
mod cells;
mod flat;
mod parquet;
mod workplan;

pub use calendar::calendar_ics;
pub use cells::{csv_record, harmless};
pub use flat::{advice_csv, advice_json, laterals_json};
pub use parquet::advice_parquet;
pub use workplan::{workplan_csv, workplan_xlsx};
